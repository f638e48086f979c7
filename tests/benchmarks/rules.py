"""(c) The rules on one plan and on a thousand builds, beside pySHACL.

All are given the same triples: what the ontology says that the builds mention, the parts, and the build; and what they
derive is compared triple by triple.  Only running the rules is timed, not the loading.  A thousand builds are one
vehicle as received with one other part at one position each; pySHACL is timed on a few of them.
"""

from collections.abc import Callable, Iterable
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass
from decimal import Decimal
from functools import partial
from random import Random
from statistics import median
from time import perf_counter
from typing import Any

from pyoxigraph import NamedNode, Quad, Triple

from benchmarks.clock import Stopped, limited
from benchmarks.rows import Row
from crosspin.answer.desk import Desk
from crosspin.catalog.catalog import Catalog
from crosspin.knockon.ask import Ask
from crosspin.knockon.proposal import Choice, Cost, Proposal, State
from crosspin.knockon.search import Searcher
from crosspin.model.schema import Model, Vehicle
from crosspin.rules.plan_graph import PlanGraph, Written
from crosspin.rules.reasoner import Origin, Reasoner
from crosspin.rules.second_engine import Fact, as_rdflib, fact, facts, quick_queries, without_early_shapes
from crosspin.store.graph import DERIVED, ONTOLOGY, GraphStore
from crosspin.vehicle.received import received_part

BUILDS = 1000
PLAN = "one plan"
MANY = "a thousand builds"
FEW = 1
"""Builds that pySHACL is timed on."""
CHECKED = 20
"""Builds on which our runner is held to itself reasoning anew."""


@dataclass(frozen=True)
class Ran:
    """Seconds for the rules, and what they derived."""

    seconds: float
    derived: set[Fact]


def swapped(model: Model, catalog: Catalog, vehicle: Vehicle, count: int) -> list[Proposal]:
    """The vehicle as received with one other catalog part at one position, `count` times."""
    random = Random(20_265)
    layout = model.layouts[vehicle.layout]
    received = {p.path: received_part(model, catalog, vehicle, p) for p in layout.positions}
    still = {path: Choice(State.RECEIVED, None if part is None else part.id) for path, part in received.items()}
    filled = sorted(path for path, part in received.items() if part is not None)
    kinds = {p.path: model.roles[p.role].kind for p in layout.positions}
    found: list[Proposal] = []
    while len(found) < count:
        path = random.choice(filled)
        sold = [alike.cheapest.part for alike in catalog.classes(model, kinds[path])]
        if sold:
            choices = still | {path: Choice(State.FRESH, random.choice(sold))}
            found.append(Proposal(choices, {}, (), Cost(0, 0, 0, 0, Decimal(0)), {}, frozenset(), {}, {}))
    return found


def ground(graph: GraphStore) -> list[Quad]:
    """The ontology and what was derived from it when it was read."""
    return [
        quad
        for name in (ONTOLOGY, DERIVED)
        for quad in graph.quads.quads_for_pattern(None, None, None, NamedNode(name))
    ]


def given(written: Written) -> list[Triple]:
    """The build and its parts."""
    return list(dict.fromkeys([*written.build, *(t for part in written.parts.values() for t in part)]))


def ours(reasoner: Reasoner, written: Written) -> Ran:
    """Our runner."""
    started = perf_counter()
    derived = reasoner.derive(written)
    seconds = perf_counter() - started
    return _ran(reasoner, written, seconds, (quad for _, quads in derived for quad in quads))


def ours_from(reasoner: Reasoner, origin: Origin, written: Written) -> Ran:
    """Our runner, where it has reasoned about the vehicle as received before."""
    if not reasoner.is_near(written, origin.written):
        return ours(reasoner, written)
    started = perf_counter()
    beside = reasoner.difference(origin, written, lambda _: ())
    seconds = perf_counter() - started
    gone = set(beside.less)
    return _ran(reasoner, written, seconds, [*(quad for quad in origin.holds if quad not in gone), *beside.more])


def _ran(reasoner: Reasoner, written: Written, seconds: float, derived: Iterable[Quad]) -> Ran:
    found = facts(derived) | facts(reasoner.about_parts(written))
    return Ran(seconds, found - facts(given(written)))


def pyshacl_on(peer: "Peer", quads: list[Quad], triples: list[Triple]) -> Ran:
    """pySHACL over a data graph, with the help that it is given."""
    from pyshacl import shacl_rules

    shapes = as_rdflib(quads)
    data = peer.graph([*quads, *triples])
    before = set(data)
    with peer.help():
        started = perf_counter()
        shacl_rules(data, shacl_graph=shapes, advanced=True, inplace=True)
        seconds = perf_counter() - started
    return Ran(seconds, {fact(*triple) for triple in set(data) - before})


def over_oxigraph(triples: Iterable[Triple | Quad]) -> Any:
    """rdflib's face over an Oxigraph store in memory."""
    import rdflib
    from oxrdflib import OxigraphStore
    from pyoxigraph import Store
    from rdflib.graph import DATASET_DEFAULT_GRAPH_ID

    store = Store()
    store.bulk_extend(Quad(t.subject, t.predicate, t.object) for t in triples)
    return rdflib.Graph(OxigraphStore(store=store), DATASET_DEFAULT_GRAPH_ID)


@dataclass(frozen=True)
class Peer:
    """pySHACL over a graph of some make; `help` is what is done to make its queries quick."""

    graph: Callable[[Iterable[Triple | Quad]], Any]
    help: Callable[[], AbstractContextManager[None]]


PEERS: dict[str, Peer] = {
    "pySHACL on rdflib": Peer(as_rdflib, nullcontext),
    "pySHACL on rdflib, helped": Peer(as_rdflib, quick_queries),
    "pySHACL over Oxigraph, helped": Peer(over_oxigraph, quick_queries),
}


def measure(desk: Desk, ask: Ask, size: int, builds: int = BUILDS) -> list[Row]:
    """Rows for one plan and for many builds, over the catalog as it is."""
    holdings, graph = desk.holdings, desk.library.graph
    model, catalog = holdings.model, holdings.catalog
    plans = PlanGraph(model, catalog)
    vehicle = catalog.vehicles[ask.vehicle]
    proposal = Searcher(model, catalog).propose(ask)
    assert isinstance(proposal, Proposal), "the ask has no plan"
    plan = plans.proposed(vehicle, proposal)
    cold = [ours(Reasoner(graph, 1), plan) for _ in range(3)]
    reasoner = Reasoner(graph, 1)
    many = [plans.proposed(vehicle, one) for one in swapped(model, catalog, vehicle, builds)]
    started = perf_counter()
    origin = reasoner.origin(plans.unchanged(vehicle))
    began = perf_counter() - started
    ran = [ours_from(reasoner, origin, one) for one in many]
    assert all(one.derived == ours(reasoner, two).derived for one, two in zip(ran[:CHECKED], many, strict=False))
    first = ran[:FEW]
    rows = [
        Row("c", PLAN, "ours", size, median(ran.seconds for ran in cold)),
        Row("c", MANY, "ours", size, (began + sum(one.seconds for one in ran)) / builds * BUILDS),
    ]
    quads = without_early_shapes(ground(graph))
    for name in PEERS:
        for case, asked, expected in ((PLAN, [plan], cold[:1]), (MANY, many[:FEW], first)):
            found = limited(partial(_all, name, quads, asked))
            if isinstance(found, Stopped):
                rows.append(Row("c", case, name, size, None, f"{found.why} for one build"))
                continue
            assert [one.derived for one in found] == [one.derived for one in expected], f"{name} differs at {case}"
            each = sum(one.seconds for one in found) / len(found)
            note = "" if case == PLAN else f"timed on {FEW}, times {BUILDS // FEW}"
            rows.append(Row("c", case, name, size, each if case == PLAN else each * BUILDS, note))
    return rows


def _all(name: str, quads: list[Quad], builds: list[Written]) -> list[Ran]:
    return [pyshacl_on(PEERS[name], quads, given(build)) for build in builds]
