"""(a) One hop: which installed parts do not mate with this one, and which catalog parts would.

For one part at one position of a vehicle: the joints there at which the installed part does not fit, and for each
joint kind of these the cheapest catalog parts that do, each with its price.  The peers are asked in SPARQL, one
query for each joint kind, written from the model: specs that go together first, by the values of their dimensions,
then the parts that have these specs, so that every engine may use its indexes.  rdflib gets its queries prepared.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fnmatch import fnmatchcase
from functools import partial
from typing import Any

import pyoxigraph as ox

from benchmarks.clock import Stopped, Timed, limited, timed
from benchmarks.rows import Row
from crosspin.answer.desk import Desk
from crosspin.answer.fit import fitting
from crosspin.catalog.catalog import Catalog
from crosspin.knockon.ask import Ask
from crosspin.model.records import part_triples, spec_triples
from crosspin.model.schema import Comparator, Criterion, Joint, JointKind, Model, Verdict
from crosspin.model.terms import DEF, ID, term, thing

MOST = 20
"""Catalog parts that are named for one joint kind."""

Offer = tuple[str, Decimal]
Misfits = frozenset[tuple[str, str]]
"""Joint kind, position."""


@dataclass(frozen=True)
class Hop:
    """A part at a position of a vehicle."""

    vehicle: str
    position: str
    part: str


@dataclass(frozen=True)
class Answer:
    """What does not mate, and what would, by joint kind."""

    misfits: Misfits
    offers: dict[str, tuple[Offer, ...]]


def hops(model: Model, catalog: Catalog, asks: Sequence[Ask], most: int = 8) -> list[Hop]:
    """What the asks fit by id, each at the first position that it is asked for."""
    found = []
    for ask in asks:
        layout = model.layouts[catalog.vehicles[ask.vehicle].layout]
        paths = sorted(position.path for position in layout.positions)
        for fit in ask.fit:
            if fit.part is not None:
                found.append(Hop(ask.vehicle, next(p for p in paths if fnmatchcase(p, fit.at)), fit.part))
    return found[:: max(1, len(found) // most)][:most]


@dataclass(frozen=True)
class Meeting:
    """A joint at the position: its kind, which hand the part is, and what stands at the other end."""

    joint: Joint
    kind: JointKind
    is_left: bool
    there: str
    other: str

    @property
    def key(self) -> tuple[str, bool]:
        """What a query depends on."""
        return self.kind.id, self.is_left


def meetings(model: Model, catalog: Catalog, hop: Hop) -> list[Meeting]:
    """The joints that the part makes with installed parts."""
    vehicle = catalog.vehicles[hop.vehicle]
    own = model.kinds[catalog.parts[hop.part].kind].ancestors
    found = []
    for joint in model.layouts[vehicle.layout].joints:
        if hop.position not in (joint.left, joint.right):
            continue
        kind = model.joint_kinds[joint.joint_kind]
        is_left = joint.left == hop.position
        there = joint.right if is_left else joint.left
        other = vehicle.parts.get(there)
        sides = (kind.left_kind, kind.right_kind) if is_left else (kind.right_kind, kind.left_kind)
        if other is not None and sides[0] in own and sides[1] in model.kinds[catalog.parts[other].kind].ancestors:
            found.append(Meeting(joint, kind, is_left, there, other))
    return found


def ours(desk: Desk, hop: Hop) -> Answer:
    """What the desk says of installed parts, and what the classes of parts alike offer instead."""
    holdings = desk.holdings
    model, catalog = holdings.model, holdings.catalog
    there = {(m.kind.id, m.there) for m in meetings(model, catalog, hop)}
    misfits = frozenset(
        (mate.joint_kind, str(mate.position))
        for mate in desk.mates(hop.part, hop.vehicle)
        if mate.verdict is not Verdict.FITS and (mate.joint_kind, mate.position) in there
    )
    part = catalog.parts[hop.part]
    found = {}
    for meeting in meetings(model, catalog, hop):
        kind = meeting.kind
        if (kind.id, meeting.there) in misfits:
            classes = fitting(model, catalog, kind, part, meeting.is_left)
            found[kind.id] = tuple((o.part, o.money) for o in catalog.offers(classes, MOST))
    return Answer(misfits, dict(sorted(found.items())))


# ---------------------------------------------------------------------- SPARQL


def _number(value: Decimal | str) -> str:
    return f'"{value}"' if isinstance(value, str) else f'"{value:f}"^^<http://www.w3.org/2001/XMLSchema#decimal>'


def _single(spec: str, dimension: str, name: str) -> str:
    """The one value of a dimension; nothing where sources disagree."""
    at = f"<{term(dimension)}>"
    return f"?{spec} {at} ?{name} . FILTER NOT EXISTS {{ ?{spec} {at} ?{name}_2 . FILTER(?{name}_2 != ?{name}) }}"


def _criterion(number: int, criterion: Criterion) -> str:
    """The pattern that holds where a criterion is met, for `?l` and `?r`, the specs of both sides."""
    a, b, c = (f"{name}{number}" for name in "abc")
    lines = [_single("l", criterion.left, a)]
    if criterion.comparator is Comparator.IS_ONE_OF and criterion.right is not None:
        return "\n".join([*lines, f"?r <{term(criterion.right)}> ?{b} . FILTER(?{a} = ?{b})"])
    if criterion.right is None:
        assert criterion.constant is not None
        right = _number(criterion.constant)
    else:
        lines.append(_single("r", criterion.right, b))
        right = f"?{b}"
    match criterion.comparator:
        case Comparator.WITHIN_RANGE:
            assert criterion.right_high is not None
            lines.append(_single("r", criterion.right_high, c))
            lines.append(f"FILTER({right} <= ?{a} && ?{a} <= ?{c})")
        case Comparator.DIFFERENCE_WITHIN:
            lines += _bounds(f"(?{a} - {_number(criterion.right_factor)} * {right})", criterion, "")
        case Comparator.PERCENT_WITHIN:
            lines += _bounds(f"(100 * (?{a} - {right}))", criterion, f" * {right}")
        case _:
            lines.append(f"FILTER(?{a} = {right})")
    return "\n".join(lines)


def _bounds(value: str, criterion: Criterion, times: str) -> Iterator[str]:
    if criterion.lower is not None:
        yield f"FILTER({value} >= {_number(criterion.lower)}{times})"
    if criterion.upper is not None:
        yield f"FILTER({value} <= {_number(criterion.upper)}{times})"


def _pattern(model: Model, meeting: Meeting, one: str, other: str | None) -> tuple[str, str]:
    """What holds of two specs that go together, and of the part that has the other spec."""
    kind = meeting.kind
    mine, theirs = ("l", "r") if meeting.is_left else ("r", "l")
    features = (kind.left_feature, kind.right_feature)[:: 1 if meeting.is_left else -1]
    part = "?other" if other is None else f"<{other}>"
    criteria = "\n".join(_criterion(i, criterion) for i, criterion in enumerate(kind.constraining))
    lacks = f"FILTER NOT EXISTS {{ <{one}> <{DEF}lacks> <{term(features[0])}> }}\n"
    lacks += f"FILTER NOT EXISTS {{ {part} <{DEF}lacks> <{term(features[1])}> }}"
    if not kind.constraining:
        return "", ""
    feature_kind = model.features[features[1]].feature_kind
    specs = f"<{one}> <{term(features[0])}> ?{mine} . ?{theirs} a <{term(feature_kind)}> .\n{criteria}"
    if other is None:
        specs = f"{{ SELECT DISTINCT ?{theirs} WHERE {{ {specs} }} }}"
    return specs, f"{part} <{term(features[1])}> ?{theirs} .\n{lacks}"


def fits(model: Model, meeting: Meeting, one: str) -> str:
    """One row where the installed part fits this one, else none."""
    other = thing("part", meeting.other)
    specs, parts = _pattern(model, meeting, one, other)
    return f"SELECT ?kind WHERE {{ {parts}\n{specs}\n<{other}> <{DEF}ofKind> ?kind . }} LIMIT 1"


def offers(model: Model, meeting: Meeting, one: str) -> str:
    """The cheapest catalog parts that fit this one, with their prices."""
    specs, parts = _pattern(model, meeting, one, None)
    kind = meeting.kind.right_kind if meeting.is_left else meeting.kind.left_kind
    sold = f"?other a <{term(kind)}> ; <{DEF}price> ?price ."
    return f"SELECT ?other ?price WHERE {{ {specs}\n{sold}\n{parts} }} ORDER BY ?price STR(?other) LIMIT {MOST}"


Engine = Callable[[str], list[tuple[str, ...]]]
"""The rows of a query, as text."""


def by_sparql(model: Model, catalog: Catalog, hop: Hop, engine: Engine) -> Answer:
    """What an engine says."""
    one = thing("part", hop.part)
    misfits = [m for m in meetings(model, catalog, hop) if not engine(fits(model, m, one))]
    found = {}
    for name, meeting in sorted({m.kind.id: m for m in misfits}.items()):
        rows = engine(offers(model, meeting, one))
        found[name] = tuple((part.removeprefix(ID + "part/"), Decimal(price)) for part, price in rows)
    return Answer(frozenset((m.kind.id, m.there) for m in misfits), found)


def triples(model: Model, catalog: Catalog) -> Iterator[ox.Triple]:
    """The parts and specs as they stand in the graph."""
    for spec in catalog.specs.values():
        yield from spec_triples(spec, model)
    for part in catalog.parts.values():
        yield from part_triples(part, model)


def _store(data: Iterable[ox.Triple]) -> ox.Store:
    store = ox.Store()
    store.bulk_extend(ox.Quad(t.subject, t.predicate, t.object) for t in data)
    store.optimize()
    return store


def pyoxigraph(data: Iterable[ox.Triple]) -> Engine:
    """Oxigraph by itself, everything in one graph."""
    store = _store(data)

    def rows(text: str) -> list[tuple[str, ...]]:
        found: Any = store.query(text)
        return [tuple(node.value for node in row) for row in found]

    return rows


def rdflib_alone(data: Iterable[ox.Triple]) -> Engine:
    """rdflib with its own store in memory, every query prepared the first time it is asked."""
    from rdflib.plugins.sparql import prepareQuery

    from crosspin.rules.second_engine import as_rdflib

    graph = as_rdflib(data)
    prepared: dict[str, Any] = {}

    def rows(text: str) -> list[tuple[str, ...]]:
        if text not in prepared:
            prepared[text] = prepareQuery(text)
        found: Any = graph.query(prepared[text])
        return [tuple(map(str, row)) for row in found]

    return rows


def rdflib_over_oxigraph(data: Iterable[ox.Triple]) -> Engine:
    """rdflib's face over an Oxigraph store, as the package oxrdflib makes it: the store answers the query."""
    import rdflib
    from oxrdflib import OxigraphStore
    from rdflib.graph import DATASET_DEFAULT_GRAPH_ID

    graph = rdflib.Graph(OxigraphStore(store=_store(data)), DATASET_DEFAULT_GRAPH_ID)

    def rows(text: str) -> list[tuple[str, ...]]:
        found: Any = graph.query(text)
        return [tuple(map(str, row)) for row in found]

    return rows


PEERS: dict[str, Callable[[Iterable[ox.Triple]], Engine]] = {
    "pyoxigraph": pyoxigraph,
    "rdflib over Oxigraph": rdflib_over_oxigraph,
    "rdflib": rdflib_alone,
}


def measure(desk: Desk, asks: Sequence[Ask], size: int, stopped: set[str]) -> list[Row]:
    """Seconds for one hop, the mean of several; engines in `stopped` are left out, and who is stopped now joins."""
    model, catalog = desk.holdings.model, desk.holdings.catalog
    asked = hops(model, catalog, asks)
    mine = timed(lambda: [ours(desk, hop) for hop in asked])
    rows = [Row("a", "", "ours", size, mine.seconds / len(asked))]
    for name in PEERS:
        if name in stopped:
            rows.append(Row("a", "", name, size, None, "left out"))
            continue
        found = limited(partial(_peer, name, model, catalog, asked))
        if isinstance(found, Stopped):
            stopped.add(name)
            rows.append(Row("a", "", name, size, None, f"{found.why}, loading included"))
            continue
        assert found.answer == mine.answer, f"{name} answers something else at {size} parts"
        rows.append(Row("a", "", name, size, found.seconds / len(asked)))
    return rows


def _peer(name: str, model: Model, catalog: Catalog, asked: Sequence[Hop]) -> Timed[list[Answer]]:
    engine = PEERS[name](triples(model, catalog))
    return timed(lambda: [by_sparql(model, catalog, hop, engine) for hop in asked])
