"""What everything told is built on."""

from pydantic import BaseModel, ConfigDict


class Told(BaseModel):
    """Base of everything told."""

    model_config = ConfigDict(frozen=True, extra="forbid")
