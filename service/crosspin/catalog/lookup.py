"""Finding parts, kits and kinds by what somebody types: names, kinds, readings in any unit.

Parts stand in the full-text index of the snapshot.  Readings are interned, so a number is compared with the
few thousand that there are; those that match stand in the index as marks of the parts that have them.
"""

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from decimal import Decimal

from crosspin.catalog.catalog import Catalog
from crosspin.catalog.query_text import Term, terms
from crosspin.model.schema import Dimension, Kit, Model, Part, Value

_INCH = "IN"
_ALIASES = {'"': "in", "''": "in", "inch": "in", "inches": "in", "°": "deg", "degrees": "deg", "litres": "l"}
_MOST_MARKS = 2000  # of one term; more say nothing any more
_TOKENS = re.compile(r"[^\W_][\w./]*")


@dataclass(frozen=True, slots=True)
class Wanted:
    """A kind with readings that what was typed describes: "feature.dimension" to "33" or "3.9..4.1"."""

    kind: str
    readings: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Found:
    """What goes with what was typed; `more` where there are more parts than are told."""

    parts: tuple[Part, ...] = ()
    kits: tuple[Kit, ...] = ()
    kinds: tuple[Wanted, ...] = ()
    more: bool = False


@dataclass(frozen=True, slots=True)
class _Reading:
    """A reading that some parts have: `marks` stand in the index for the specs that have it."""

    feature: str
    dimension: Dimension
    value: Value
    words: frozenset[str]
    marks: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Test:
    """One condition on a part: its text has all these terms, or it has one of these readings."""

    texts: tuple[Term, ...]
    readings: tuple[_Reading, ...]


class Lookup:
    """The index of one catalog.  Safe to share between threads."""

    def __init__(self, model: Model, catalog: Catalog) -> None:
        self._model = model
        self._catalog = catalog
        symbols = {unit.symbol.casefold(): unit.id for unit in model.units.values()}
        self._units = symbols | {alias: symbols[name] for alias, name in _ALIASES.items() if name in symbols}
        own = {kind.id: _tokens([kind.label, *model.other_words.get(kind.id, ())]) for kind in model.kinds.values()}
        self._kind_words = {k.id: frozenset[str]().union(*(own[a] for a in k.ancestors)) for k in model.kinds.values()}
        self._own_words = own
        self._orderable = {kind for kind in model.kinds if catalog.count(model, kind)}
        self._readings = list(self._held())

    def _held(self) -> Iterator[_Reading]:
        """Every reading that some part has."""
        found: dict[tuple[str, str, Value], list[str]] = {}
        for feature, spec, mark in self._catalog.marks():
            for name, values in self._catalog.specs[spec].values.items():
                for value in values:
                    found.setdefault((feature, name, value), []).append(mark)
        for (feature, name, value), held_by in found.items():
            dimension = self._model.dimensions[name]
            said = [self._model.features[feature].label, dimension.label]
            said += [*self._model.other_words.get(feature, ()), *self._model.other_words.get(name, ())]
            yield _Reading(feature, dimension, value, _tokens(said), tuple(held_by))

    # ------------------------------------------------------------------ looking

    def find(self, text: str, limit: int = 20) -> Found:
        """What goes with everything typed, the last word also where it is only begun; nothing for no words.

        Parts that have the words whole come first, among them those that can be ordered, then by id.
        """
        typed = terms(text, self._units)
        if not typed:
            return Found()
        tests = self._tests(typed)
        rows = self._matching(tests, "", limit + 1)
        if len(rows) <= limit:
            rows = list(dict.fromkeys((*rows, *self._matching(tests, " *", limit + 1))))
        parts = [self._catalog.parts[part] for part in rows]
        exact = self._catalog.parts.get(text.strip())
        if exact is not None:
            parts = [exact, *(part for part in parts if part.id != exact.id)]
        return Found(
            parts=tuple(parts[:limit]),
            kits=tuple(kit for kit in self._catalog.kits.values() if _all_in(typed, f"{kit.id} {kit.label} kit")),
            kinds=tuple(self._wanted(tests)),
            more=len(parts) > limit,
        )

    def _tests(self, typed: list[Term]) -> list[_Test]:
        """The conditions; a word beside a number that speaks of its reading goes with the number."""
        tests: list[_Test] = []
        taken: set[int] = set()
        for index, term in enumerate(typed):
            if term.number is None:
                continue
            equal = [r for r in self._readings if _agrees(term, r, self._model)]
            bound = (index + 1, index - 1)
            for near in bound:
                if not 0 <= near < len(typed) or near in taken or typed[near].number is not None:
                    continue
                said = [r for r in equal if _begins(typed[near].text, r.words)]
                if said:
                    taken.update((index, near))
                    tests.append(_Test((term, typed[near]), tuple(said)))
                    break
            else:
                taken.add(index)
                tests.append(_Test((term,), tuple(equal)))
        for index, term in enumerate(typed):
            if index not in taken:
                coded = (r for r in self._readings if isinstance(r.value, str) and _coded(term.text, r.value))
                tests.append(_Test((term,), tuple(coded)))
        return tests

    def _matching(self, tests: list[_Test], ending: str, limit: int) -> list[str]:
        clauses = []
        for test in tests:
            texts = " AND ".join(f"({{name kind}} : {_phrases(term, ending)})" for term in test.texts)
            marks = sorted({mark for reading in test.readings for mark in reading.marks})[:_MOST_MARKS]
            has = f" OR (marks : ({' OR '.join(marks)}))" if marks else ""
            clauses.append(f"(({texts}){has})")
        return self._catalog.matching(" AND ".join(clauses), limit)

    # ------------------------------------------------------------------ kinds

    def _wanted(self, tests: list[_Test]) -> Iterator[Wanted]:
        """Kinds that the words name, with the readings that the numbers give; kinds by readings alone where no
        word names one."""
        numbers = [test for test in tests if test.texts[0].number is not None]
        words = [test.texts[0].text for test in tests if test.texts[0].number is None]
        told = 0
        for kind in sorted(self._model.kinds.values(), key=lambda k: (len(k.ancestors), k.id)):
            if words:
                if not all(_begins(word, self._kind_words[kind.id]) for word in words):
                    continue
                if not any(_begins(word, self._own_words[kind.id]) for word in words):
                    continue
            for readings in self._described(kind.id, numbers, by_words=bool(words)):
                if told < 8 and kind.id in self._orderable:
                    told += 1
                    yield Wanted(kind.id, readings)

    def _described(self, kind: str, numbers: list[_Test], by_words: bool) -> Iterator[tuple[tuple[str, str], ...]]:
        if not numbers:
            if by_words:
                yield ()
            return
        features = set(self._model.kinds[kind].features)
        inherited = {f for parent in self._model.kinds[kind].parents for f in self._model.kinds[parent].features}
        choices: list[list[tuple[str, str]]] = []
        for test in numbers:
            values: dict[str, set[Decimal]] = {}
            for reading in test.readings:
                fresh = by_words or reading.feature not in inherited
                if reading.feature in features and fresh and isinstance(reading.value, Decimal):
                    values.setdefault(f"{reading.feature}.{reading.dimension.id}", set()).add(reading.value)
            choices.append([(place, _range(held)) for place, held in sorted(values.items())])
        combined = list(_combined(choices)) if all(choices) else []
        together = [readings for readings in combined if len({place.partition(".")[0] for place, _ in readings}) == 1]
        yield from together or combined


def _combined(choices: list[list[tuple[str, str]]]) -> Iterator[tuple[tuple[str, str], ...]]:
    """One reading for each number, none twice; those of one feature are preferred."""
    for first in choices[0]:
        readings = [first]
        for choice in choices[1:]:
            feature = first[0].partition(".")[0] + "."
            others = [other for other in choice if other[0] not in {place for place, _ in readings}]
            near = [other for other in others if other[0].startswith(feature)]
            readings += (near or others)[:1]
        if len(readings) == len(choices):
            yield tuple(readings)


def _range(values: Iterable[Decimal]) -> str:
    least, most = min(values), max(values)
    return f"{least:f}" if least == most else f"{least:f}..{most:f}"


def _tokens(texts: Iterable[str]) -> frozenset[str]:
    return frozenset(token.rstrip("./") for text in texts for token in _TOKENS.findall(text.casefold()))


def _begins(text: str, words: frozenset[str]) -> bool:
    """Whether every token of a term begins one of the words."""
    pieces = _TOKENS.findall(text)
    return bool(pieces) and all(any(word.startswith(piece) for word in words) for piece in pieces)


def _all_in(typed: list[Term], text: str) -> bool:
    words = _tokens([text])
    return all(_begins(term.text, words) for term in typed)


def _coded(text: str, code: str) -> bool:
    return len(text) > 1 and code.casefold().startswith(text)


def _agrees(term: Term, reading: _Reading, model: Model) -> bool:
    """Whether a reading is the number typed, in the unit typed, or in its own or inches where none was;
    decimals typed are taken as rounded."""
    held = reading.value
    if isinstance(held, str) or term.number is None:
        return False
    # Fewer decimals than these say too little to be taken as rounded where no unit was typed.
    scales = [(term.unit, 1)] if term.unit is not None else [(reading.dimension.unit, 2), (_INCH, 3)]
    for name, fewest in scales:
        unit = model.units.get(name) if name is not None else None
        if name is not None and (unit is None or unit.kept_in != reading.dimension.unit):
            continue
        factor = unit.factor if unit is not None else Decimal(1)
        if held == term.number * factor:
            return True
        if term.decimals and term.decimals >= fewest and round(held / factor, term.decimals) == term.number:
            return True
    return False


def _phrases(term: Term, ending: str) -> str:
    """How the text of a part may have a term: as typed, where `ending` says so also only begun, and a number also
    without idle noughts."""
    quoted = [f'"{term.text.replace(chr(34), "")}"{ending}']
    if term.number is not None and "/" not in term.text:
        quoted += [f'"{spelling}"' for spelling in (f"{term.number:f}",) if spelling != term.text]
    return quoted[0] if len(quoted) == 1 else f"({' OR '.join(quoted)})"
