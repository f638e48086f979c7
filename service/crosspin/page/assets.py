"""The style sheet, the scripts and the icon, as they are sent: each under a name that changes with its content."""

import gzip
from dataclasses import dataclass
from functools import cached_property
from hashlib import sha256
from pathlib import Path

_TYPES = {".css": "text/css; charset=utf-8", ".js": "text/javascript; charset=utf-8", ".svg": "image/svg+xml"}


@dataclass(frozen=True)
class Asset:
    """One file: its name, its media type, its text plain and compressed."""

    name: str
    media_type: str
    text: bytes

    @cached_property
    def digest(self) -> str:
        """Changes with the content."""
        return sha256(self.text).hexdigest()[:12]

    @cached_property
    def compressed(self) -> bytes:
        """The text in gzip format, the same for the same text."""
        return gzip.compress(self.text, mtime=0)


def read_assets() -> dict[str, Asset]:
    """Every file that pages link to, by name."""
    folder = Path(__file__).parent / "static"
    return {
        path.name: Asset(path.name, _TYPES[path.suffix], path.read_bytes())
        for path in sorted(folder.iterdir())
        if path.suffix in _TYPES
    }
