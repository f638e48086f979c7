"""What somebody types into the search box, taken apart: numbers with their units, and words."""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal

from crosspin.figures.exact import parse_number

_NUMBER = r"\d+(?:[.,]\d+)?(?:/\d+)?"
_GLUED = re.compile(rf"({_NUMBER})(\D[^\d]*)?")
_WORD = re.compile(r"[^\s,;:()]+(?:,\d+)?")
_BY = re.compile(r"(?<=\d)[x×](?=\d)|(?<=\d)r(?=\d)|(?<=\s)[x×](?=\s)")  # 6x139.7, 265/70r17, 6 x 139.7
_UNSAID = re.compile(r"[\x00-\x1f\x7f]")  # control characters; the text index takes none
_MOST_TERMS = 12


@dataclass(frozen=True, slots=True)
class Term:
    """One thing typed: its text and, where it is a number, its value, unit (None where none is said) and how
    many decimals were typed (None for a fraction, which is exact)."""

    text: str
    number: Decimal | None = None
    unit: str | None = None
    decimals: int | None = None


def terms(text: str, units: Mapping[str, str]) -> list[Term]:
    """The terms of a query; `units` leads from what a unit is called, in lower case, to its id."""
    words = _joined([word.strip("'") for word in _WORD.findall(_split(_UNSAID.sub(" ", text.casefold())))])
    found: list[Term] = []
    for word in words:
        last = found[-1] if found else None
        if last is not None and last.number is not None and last.unit is None and word in units:
            found[-1] = Term(last.text, last.number, units[word], last.decimals)
        elif word.strip("-./"):
            found.append(_term(word, units))
    return found[:_MOST_TERMS]


def _split(text: str) -> str:
    """The text with sizes taken apart, but not the sizes of metric threads (m10x1.25)."""
    return " ".join(word if re.match(r"m\d", word) else _BY.sub(" ", f" {word} ") for word in text.split())


def _joined(words: Iterable[str]) -> list[str]:
    """The words with "3", "1/8" made one again."""
    joined: list[str] = []
    for word in words:
        fraction = re.fullmatch(r"(\d+)/(\d+)(\D*)", word)
        if fraction and joined and joined[-1].isdecimal() and int(fraction[1]) < int(fraction[2]):
            joined[-1] += f"-{word}"
        else:
            joined.append(word)
    return joined


def _term(word: str, units: Mapping[str, str]) -> Term:
    mixed = re.fullmatch(r"(\d+)-(\d+/\d+)(\D*)", word)
    glued = _GLUED.fullmatch(word)
    if mixed:
        number, rest = f"{mixed[1]} {mixed[2]}", mixed[3]
    elif glued:
        number, rest = glued[1].replace(",", "."), glued[2] or ""
    else:
        return Term(word)
    unit = units.get(rest.strip("-")) if rest else None
    if rest and unit is None:
        return Term(word)
    try:
        value = parse_number(number)
    except ValueError:
        return Term(word)
    return Term(number, value, unit, None if "/" in number else len(number.partition(".")[2]))
