"""What only warns or informs is reported and never buys a part.

Which findings a shop only warns of is common practice, no published source.
"""

from api_client import seed_client
from crosspin.answer.plan import Plan
from crosspin.answer.text import tell_text
from crosspin.knockon.ask import Ask, Fit
from crosspin.model.records import cp
from crosspin.model.schema import Severity
from crosspin.page.address import address_of
from page_client import get
from seed import own_desk, seed_desk, seed_library
from told_plan import Told, ask_of, written_ask

WIDE = {"front/housing": "fh-895-hp-1640-b"}
SENTENCE = (
    "One axle is 1640 mm wide over its mounting faces, the other 1550 mm, more than 60 mm apart: even it out by the "
    "offset of the wheels first. Local law may limit the track and how far a wheel stands out."
)
UNEVEN = """
@prefix cp:      <https://crosspin.example/def/> .
@prefix layout:  <https://crosspin.example/id/layout/> .
@prefix part:    <https://crosspin.example/id/part/> .
@prefix vehicle: <https://crosspin.example/id/vehicle/> .
@prefix rdfs:    <http://www.w3.org/2000/01/rdf-schema#> .
vehicle:uneven a cp:Vehicle ; cp:identifier "uneven" ; rdfs:label "truck that came with a wide front axle"@en ;
  cp:hasLayout layout:two-beam-axles ;
  cp:carries [ a cp:Placement ; cp:atPath "front/housing" ; cp:holds part:fh-895-hp-1640-b ] ,
    [ a cp:Placement ; cp:atPath "rear/housing" ; cp:holds part:rh-96-sf-1550 ] .
"""


def test_a_wide_front_axle_buys_no_rear_axle() -> None:
    told = Told(ask_of("hill-patrol", WIDE))
    assert told.stays["rear/housing"]["action"] == "keep"
    (warning,) = told.plan["warnings"]
    assert warning == {
        "id": "mountFacesAlike/front/housing--rear/housing",
        "rule": "mountFacesAlike-faceWidth",
        "sentence": SENTENCE,
        "severity": "warns",
        "safety_critical": False,
        "was_so_already": False,
        "evidence": ["Common practice"],
    }


def test_an_axle_of_the_usual_width_warns_of_nothing() -> None:
    # 1600 mm less 1550 mm is less than the 60 mm that are taken
    assert Told(ask_of("hill-patrol", {"front/housing": "fh-895-hp-1600-b"})).plan["warnings"] == []


def test_the_page_and_the_text_have_the_warning() -> None:
    ask = Ask(vehicle="hill-patrol", fit=tuple(Fit(at=at, part=part) for at, part in WIDE.items()))
    assert SENTENCE in get(address_of(ask).href()).text
    plan = seed_desk().ask(ask)
    assert isinstance(plan, Plan)
    section = tell_text(plan).partition("\nWORTH KNOWING\n")[2].partition("\n\n")[0]
    assert " ".join(section.split()) == f"! {SENTENCE} (Common practice)"


def test_a_pair_of_parts_takes_no_clash_from_a_warning() -> None:
    fit = seed_client().get("/v1/fit", params={"one": "fh-895-hp-1640-r", "other": "rh-96-sf-1550"}).json()
    assert fit["verdict"] == "fits"
    lines = [line for line in fit["criteria"] if line["criterion"] == "mountFacesAlike-faceWidth"]
    assert {(line["verdict"], line["severity"]) for line in lines} == {("clashes", "warns")}


def test_a_need_that_only_warns_is_reported_and_not_bought() -> None:
    told = Told(ask_of("hill-patrol", {"pressure-receiver": "pr-434-a"}))
    assert [step["position"] for step in told.plan["steps"]] == ["pressure-receiver"]
    assert {warning["rule"] for warning in told.plan["warnings"]} == {"receiverNeedsPressureSensors"}
    sensors = {"front/left", "front/right", "rear/left", "rear/right"}
    named = {warning["id"].rpartition("--")[2].removesuffix("/pressure-sensor") for warning in told.plan["warnings"]}
    assert named == sensors


def test_what_was_so_already_is_said_to_be_so() -> None:
    with own_desk() as desk:
        desk.import_text("uneven", UNEVEN.encode(), "text/turtle")
        plan = desk.ask(Ask(vehicle="uneven", fit=(Fit(at="pressure-receiver", part="pr-434-a"),)))
        assert isinstance(plan, Plan)
        (width,) = (warning for warning in plan.warnings if warning.rule == "mountFacesAlike-faceWidth")
        assert (width.was_so_already, width.sentence) == (True, SENTENCE)
        assert not any("mounting faces" in discrepancy.sentence for discrepancy in plan.discrepancies)
        assert "It was so already." in tell_text(plan)


def test_the_model_and_the_rules_hold_plans_to_the_same() -> None:
    library = seed_library()
    model, graph = library.holdings.model, library.graph
    held = {quad.subject for quad in graph.quads.quads_for_pattern(None, cp("constrains"), None)}
    weighed: dict[str, Severity] = {rule.id: rule.severity for rule in model.needs.values()}
    weighed |= {rule.id: rule.severity for rule in model.renewals.values()}
    weighed |= {rule.id: rule.severity for rule in model.resources.values()}
    weighed |= {criterion.id: criterion.severity for kind in model.joint_kinds.values() for criterion in kind.criteria}
    assert {name for name, severity in weighed.items() if severity.constrains} == {
        name for name in weighed if cp(name) in held
    }
    assert not weighed["mountFacesAlike-faceWidth"].constrains
    # every severity says in the ontology, too, whether it holds plans
    binding = {quad.subject for quad in graph.quads.quads_for_pattern(None, cp("holdsPlans"), None)}
    assert binding == {cp(severity) for severity in Severity if severity.constrains}


def test_a_figure_that_no_plan_is_held_to_only_warns_in_words() -> None:
    # the front track of the shipped ask is 50 mm wider than the rear one, which 40 mm only warns of
    plan = seed_desk().ask(Ask.model_validate(written_ask("hill-patrol"), strict=False))
    assert isinstance(plan, Plan)
    rows = [row for row in tell_text(plan).splitlines() if "track, front less rear" in row]
    assert rows == ["  = track, front less rear: 0 -> 50 mm: warns (at least -40 mm and at most 40 mm)"]
