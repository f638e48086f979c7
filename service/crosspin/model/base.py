"""What every record of the model is built on."""

from pydantic import BaseModel, ConfigDict


class Frozen(BaseModel):
    """Base of every record: immutable, hashable, no unknown fields."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class Term(Frozen):
    """A named thing of the ontology."""

    id: str
    label: str
    definition: str
