"""Whatever a plan leaves unknown, it says what to measure or look at; where nothing is unknown it asks for nothing."""

import random
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from shutil import copytree

import pytest

from crosspin.answer.desk import Desk
from crosspin.answer.plan import Measurement, Plan
from crosspin.catalog.library import Library
from crosspin.knockon.ask import Ask, Fit
from crosspin.knockon.proposal import Proposal
from crosspin.knockon.search import Searcher
from crosspin.model.schema import Model, Resource, Verdict
from crosspin.rules.prover import Proof, Prover
from seed import ROOT, orderable

# The seed vehicles are seen in almost everything, so a van is brought that is not; and electric lockers
# take a circuit here, so that a carrier that nobody has seen could.
WIRED = "@prefix cp: <https://crosspin.example/def/> . cp:ElectricLocker cp:hasFeature cp:loadCircuits ."
VAN = """
@prefix cp:      <https://crosspin.example/def/> .
@prefix layout:  <https://crosspin.example/id/layout/> .
@prefix part:    <https://crosspin.example/id/part/> .
@prefix vehicle: <https://crosspin.example/id/vehicle/> .
@prefix rdfs:    <http://www.w3.org/2000/01/rdf-schema#> .
vehicle:tool-van a cp:Vehicle ; cp:identifier "tool-van" ; rdfs:label "tool van, hardly looked at"@en ;
  cp:hasLayout layout:two-beam-axles ;
  cp:carries [ a cp:Placement ; cp:atPath "distribution-module" ; cp:holds part:dm-6-100 ] .
"""


@dataclass(frozen=True)
class Shop:
    """A desk, and the search and the proof behind it."""

    desk: Desk
    searcher: Searcher
    prover: Prover

    def told(self, ask: Ask) -> tuple[Plan, Proof] | None:
        """The plan as it is told, and what the rules prove of it; None where the wishes contradict each other."""
        found = self.searcher.propose(ask)
        if not isinstance(found, Proposal):
            return None
        plan = self.desk.ask(ask)
        assert isinstance(plan, Plan)
        return plan, self.prover.prove(ask, found)


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Shop:
    ontology = tmp_path_factory.mktemp("shop") / "ontology"
    copytree(ROOT / "ontology", ontology)
    (ontology / "packs" / "wired-lockers").mkdir()
    (ontology / "packs" / "wired-lockers" / "terms.ttl").write_text(WIRED)
    library = Library(ontology)
    library.import_folder(ROOT / "seed_data")
    library.import_text("van", VAN.encode(), "text/turtle")
    model, catalog = library.holdings.model, library.holdings.catalog
    return Shop(Desk(library), Searcher(model, catalog), Prover(library.graph, model, catalog))


def ends(model: Model, resource: Resource) -> set[tuple[str, str]]:
    """What a resource sums up, as a measurement names it."""
    pairs = (resource.draw_feature, resource.draw_dimension), (resource.supply_feature, resource.supply_dimension)
    return {(model.features[feature].label, model.dimensions[dimension].label) for feature, dimension in pairs}


def served(shop: Shop, plan: Plan, proof: Proof) -> Iterator[tuple[str, list[Measurement]]]:
    """Everything that the plan's cost counts as unknown, with the measurements that could settle it."""
    model, catalog = shop.desk.holdings.model, shop.desk.holdings.catalog
    layout = model.layouts[catalog.vehicles[plan.vehicle].layout]
    joints, pairings = {j.id: j for j in layout.joints}, {p.id: p for p in layout.pairings}
    for joint in proof.joints.values():
        if joint.judged and joint.verdict is Verdict.UNKNOWN:
            sides = {joints[joint.joint].left, joints[joint.joint].right}
            yield "joint", [m for m in plan.measurements if m.position in sides]
    for need in proof.needs.values():
        if need.verdict is Verdict.UNKNOWN and need.pairing in pairings:
            sides = {pairings[need.pairing].when, pairings[need.pairing].then}
            yield "need", [m for m in plan.measurements if m.position in sides]
        elif need.verdict is Verdict.UNKNOWN:  # of a figure, which waits for what it is worked out from
            yield "need of a figure", list(plan.measurements)
    for proved in proof.resources.values():
        if proved.judged and proved.verdict is Verdict.UNKNOWN:
            wanted = ends(model, model.resources[proved.resource])
            yield "resource", [m for m in plan.measurements if (m.feature, m.dimension) in wanted]
    for figure in proof.figures.values():
        if figure.verdict is Verdict.UNKNOWN and not figure.was_open:
            label = model.figures[figure.figure.partition("/")[0]].label
            yield "figure", [m for m in plan.measurements if label in m.why or m.why.startswith("The figure ")]


def asks(shop: Shop) -> Iterator[Ask]:
    """One or two parts at random, mostly into a vehicle that is seen in part; then every load for the van."""
    chance = random.Random(20261127)
    model, catalog = shop.desk.holdings.model, shop.desk.holdings.catalog
    for index in range(40):
        names = ("orchard-runabout", "tool-van", "orchard-runabout", chance.choice(list(catalog.vehicles)))
        vehicle = catalog.vehicles[names[index % 4]]
        fits: dict[str, Fit] = {}
        while len(fits) < 1 + index % 2:
            position = chance.choice(model.layouts[vehicle.layout].positions)
            candidates = orderable(shop.desk.library, model.roles[position.role].kind)
            if candidates:
                fits[position.path] = Fit(at=position.path, part=chance.choice(candidates))
        yield Ask(vehicle=vehicle.id, fit=tuple(fits.values()))
    loads = {resource.draw_feature for resource in model.resources.values()}
    for position in model.layouts[catalog.vehicles["tool-van"].layout].positions:
        kind = model.roles[position.role].kind
        if loads & set(model.kinds[kind].features) and orderable(shop.desk.library, kind):
            yield Ask(vehicle="tool-van", fit=(Fit(at=position.path, kind=kind),))


def test_every_unknown_has_a_measurement_and_no_plan_asks_for_more(shop: Shop) -> None:
    seen = Counter[str]()
    for ask in asks(shop):
        found = shop.told(ask)
        if found is None:
            continue
        plan, proof = found
        unknown = list(served(shop, plan, proof))
        assert len(unknown) == plan.cost.unknowns
        assert [what for what, lines in unknown if not lines] == []
        # The plan of the circuits may wait for a reading that no joint, need or sum waits for.
        others = [line for line in plan.measurements if line.why != "The plan of the circuits waits for it."]
        if unknown:
            assert others
        else:  # a figure that was not known as received waits too, and counts for nothing
            assert all(line.why.startswith("The figure ") for line in others)
        seen.update(what for what, _ in unknown)
    assert {"joint", "need", "resource"} <= seen.keys()


def test_a_place_that_nobody_has_seen_is_to_be_looked_at(shop: Shop) -> None:
    """Neither carrier was seen; either could be an electric locker."""
    model = shop.desk.holdings.model
    assert "loadCircuits" in model.kinds["ElectricLocker"].features
    assert "loadCircuits" not in model.kinds[model.roles["CarrierRole"].kind].features
    found = shop.told(Ask(vehicle="orchard-runabout", fit=(Fit(at="light-bar", kind="LightBar"),)))
    assert found is not None
    plan, proof = found
    assert proof.resources["switchedCircuits"].verdict is Verdict.UNKNOWN
    counts = model.dimensions["circuitCount"]
    for place in ("front carrier", "rear carrier"):
        at = place.replace(" ", "/")
        (line,) = [m for m in plan.measurements if m.position == at and m.dimension == counts.label]
        assert line.how == f"Look at what stands at the {place}. {counts.how_to_measure}"
        assert line.why == "The sum of switched circuits waits for it."
