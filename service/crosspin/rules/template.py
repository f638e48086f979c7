"""Starts packs: a copy of the template, named after its folder, that passes every check."""

import re
from pathlib import Path

_TEMPLATE = Path(__file__).resolve().parent / "pack_template"
_NAME = re.compile(r"[a-z][a-z0-9]*(-[a-z0-9]+)*")


def start_pack(folder: Path) -> list[Path]:
    """Write the template into a new folder, and say which files that are.

    Raises ValueError where the name of the folder makes no term, FileExistsError where something is there.
    """
    name = folder.name
    if not _NAME.fullmatch(name):
        raise ValueError("the folder's name makes no term. Name it in lower case with hyphens, like tow-hook")
    words = name.split("-")
    kind = "".join(word.capitalize() for word in words)
    text = " ".join(words)
    tokens = {
        "@Kind@": kind,
        "@kind@": kind[0].lower() + kind[1:],
        "@Words@": text.capitalize(),
        "@words@": text,
        "@code@": name,
    }
    folder.mkdir(parents=True)
    written = []
    for source in sorted(path for path in _TEMPLATE.rglob("*") if path.is_file()):
        target = folder / _filled(source.relative_to(_TEMPLATE).as_posix(), tokens)
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_text(_filled(source.read_text(encoding="utf-8"), tokens), encoding="utf-8")
        written.append(target)
    return written


def _filled(text: str, tokens: dict[str, str]) -> str:
    for token, value in tokens.items():
        text = text.replace(token, value)
    return text
