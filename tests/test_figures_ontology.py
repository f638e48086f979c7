"""Figures as the ontology says them: nothing that could not be worked out is let in, and everything is in use."""

import re
from decimal import Decimal
from functools import cache
from pathlib import Path

import pytest
from pyoxigraph import Quad

from crosspin.figures.derive import FORMULAS
from crosspin.home import data_folder
from crosspin.knockon.ask import Ask
from crosspin.model.read import read_model
from crosspin.model.reader import BrokenOntology
from crosspin.model.schema import Model, Verdict
from crosspin.store.graph import DERIVED, ONTOLOGY, Facts, parse_text
from seed import seed_desk, seed_library

PREFIXES = """@prefix cp: <https://crosspin.example/def/> . @prefix unit: <http://qudt.org/vocab/unit/> .
@prefix rdfs: <http://www.w3.org/2000/01/rdf-schema#> . @prefix skos: <http://www.w3.org/2004/02/skos/core#> .
"""
SOUND = """cp:pegTrack a cp:Figure ; rdfs:label "peg track"@en ; skos:definition "How wide a peg stands."@en ;
  cp:figuredAt cp:BeamAxle ; cp:computedBy cp:trackWidth ; cp:decimals 1 ; cp:unit unit:MilliM ;
  cp:severity cp:informs ;
  cp:takes ( [ cp:asInput "faceWidth" ; cp:readsRole cp:HousingRole ; cp:readsFeature cp:mountFaces ;
               cp:readsDimension cp:faceWidth ]
             [ cp:asInput "offset" ; rdfs:label "offset"@en ; cp:constant 12 ; cp:unit unit:MilliM ] ) ;
  cp:atMost [ cp:constant 1700 ; cp:unit unit:MilliM ; cp:says "{value} is more than {limit}."@en ] . """


@cache
def shipped() -> list[Quad]:
    graph = seed_library().graph
    return [quad for name in (ONTOLOGY, DERIVED) for quad in graph.triples(name)]


def model_with(text: str) -> Model:
    """The shipped ontology with something more in it."""
    more = parse_text((PREFIXES + text).encode(), "text/turtle", "planted.ttl")
    return read_model(Facts([*shipped(), *more]), version="")


def test_a_sound_figure_is_let_in() -> None:
    found = model_with(SOUND)
    assert "pegTrack" in found.figures


@pytest.mark.parametrize(
    ("right", "wrong", "said"),
    [
        ("cp:computedBy cp:trackWidth", "cp:computedBy cp:guesswork", "which is no formula; known:"),
        ('cp:asInput "offset"', 'cp:asInput "ofset"', "it takes faceWidth, offset"),
        ('[ cp:asInput "offset" ; rdfs:label "offset"@en ; cp:constant 12 ; cp:unit unit:MilliM ]', "", "it takes"),
        ("cp:constant 12 ; cp:unit unit:MilliM", "cp:constant 12 ; cp:unit unit:DEG", "takes offset in DEG"),
        ("cp:constant 12 ; cp:unit unit:MilliM", "cp:constant 12", "in no unit, where the formula has MilliM"),
        ("cp:constant 12 ; cp:unit unit:MilliM", "cp:constant 12 , 13 ; cp:unit unit:MilliM", "several values"),
        ("cp:constant 12 ; cp:unit unit:MilliM", "cp:unit unit:MilliM ; cp:onlyOn cp:left", "from 0 places"),
        ("cp:constant 12 ; cp:unit unit:MilliM", "cp:readsFigure cp:hearsay", ["cp", "hearsay, which is no figure"][1]),
        ("cp:readsRole cp:HousingRole", "cp:readsRole cp:PegRole", "which is no role"),
        ("cp:readsRole cp:HousingRole", "cp:readsRole cp:CarrierRole", "takes no part that has it"),
        ("cp:readsDimension cp:faceWidth", "cp:readsDimension cp:rimOffset", "has no such dimension"),
        ("cp:readsFeature cp:mountFaces ;", "", "without a cp:readsFeature"),
        ("cp:decimals 1 ; cp:unit unit:MilliM", "cp:decimals 1 ; cp:unit unit:DEG", "is told in DEG"),
        ("cp:figuredAt cp:BeamAxle ;", "", "has no cp:figuredAt"),
        ("cp:constant 1700 ; cp:unit unit:MilliM", "cp:constant 1700 ; cp:unit unit:KiloGM", "its limit in KiloGM"),
        ("cp:constant 1700 ; cp:unit", "cp:constant 1700.05 ; cp:unit", "finer than its 1 decimals"),
        ("cp:constant 1700 ; cp:unit", "cp:constant 1700 ; cp:timesFactor 0.7 ; cp:unit", "write down what they"),
        ("cp:constant 1700 ; cp:unit", 'cp:constant "wide" ; cp:unit', "is no number"),
        ("{value} is more", "This is more", "does not say {value}"),
        ("cp:severity cp:informs", "cp:severity cp:informs ; cp:brings cp:luck", "which is no operation"),
        ("cp:severity cp:informs", "cp:severity cp:informs ; cp:whenRole cp:HousingRole", "without a cp:whenKind"),
        ("cp:constant 12 ; cp:unit unit:MilliM", "cp:readsFigure cp:pegTrack", "wait for each other in a circle"),
    ],
)
def test_a_figure_that_cannot_be_worked_out_is_refused_by_name(right: str, wrong: str, said: str) -> None:
    assert right in SOUND
    with pytest.raises(BrokenOntology, match=re.escape(said)) as refused:
        model_with(SOUND.replace(right, wrong))
    assert "pegTrack" in str(refused.value)


def test_a_constant_limit_may_have_all_decimals_of_its_figure_and_a_reading_a_factor() -> None:
    assert "pegTrack" in model_with(SOUND.replace("cp:constant 1700 ;", "cp:constant 1700.50 ;")).figures
    reading = "cp:readsRole cp:HousingRole ; cp:readsFeature cp:mountFaces ; cp:readsDimension cp:faceWidth"
    limit = SOUND.replace("cp:constant 1700 ; cp:unit unit:MilliM", f"{reading} ; cp:timesFactor 1.25")
    assert "pegTrack" in model_with(limit).figures


CURED = SOUND.replace("cp:informs", "cp:hurtsSomeone").replace(
    "[ cp:constant 1700", "[ cp:hasRemedy cp:clockForks ; cp:constant 1700"
)


def test_work_that_two_figures_ask_for_would_be_paid_for_twice() -> None:
    with pytest.raises(BrokenOntology, match="cp:casterAimed and cp:pegTrack both have the remedy cp:clockForks"):
        model_with(CURED)
    model_with(CURED.replace("cp:BeamAxle", "cp:FixedAxle"))  # steering ends are clocked at the other axle
    met = CURED.replace("cp:constant 1700", "cp:isMetIn cp:settingPhase ; cp:constant 1700")
    assert model_with(met).figures["pegTrack"].deciding == ()
    stated = CURED.replace("cp:BeamAxle", "cp:FixedAxle ; cp:inState cp:atBump , cp:atDroop")
    with pytest.raises(BrokenOntology, match="cp:pegTrack would be paid for once a state by cp:clockForks"):
        model_with(stated)


def test_figures_for_two_kinds_of_part_in_one_place_may_share_work() -> None:
    cured = {f.id for f in model_with("").figures.values() for limit in f.deciding if "turnPinion" in limit.remedies}
    assert cured == {"pinionAim", "angleMismatch"}


def test_a_reading_of_which_there_are_many_must_be_gathered() -> None:
    text = SOUND.replace("cp:trackWidth", "cp:asRead").replace(
        SOUND[SOUND.index("  cp:takes") : SOUND.index("  cp:atMost")],
        '  cp:takes ( [ cp:asInput "value" ; cp:readsRole cp:GearboxRole ; cp:readsFeature cp:gearSteps ;'
        " cp:readsDimension cp:gearStep ] ) ;",
    )
    with pytest.raises(BrokenOntology, match="without cp:gathers"):
        model_with(text)


def test_units_that_do_not_go_together_are_refused() -> None:
    text = (
        SOUND.replace("cp:trackWidth", "cp:difference")
        .replace('"faceWidth"', '"first"')
        .replace('"offset" ;', '"second" ;')
    )
    assert "pegTrack" in model_with(text).figures
    with pytest.raises(BrokenOntology, match="DEG and MilliM together"):
        model_with(text.replace("cp:constant 12 ; cp:unit unit:MilliM", "cp:constant 12 ; cp:unit unit:DEG"))


def test_a_derived_reading_must_give_its_formula_what_it_takes() -> None:
    wrong = 'cp:pegSlope a cp:Dimension ; rdfs:label "peg slope"@en ; skos:definition "A slope."@en ;'
    wrong += ' cp:ofFeatureKind cp:PinionPlace ; cp:datatype "decimal" ; cp:howToMeasure "Lay a gauge on it."@en ;'
    wrong += " cp:unit unit:DEG ; cp:derivedBy cp:slopeAngle ; cp:derivedFrom ( cp:pinionHeight ) ."
    with pytest.raises(BrokenOntology, match="1 inputs, not 2"):
        model_with(wrong)
    with pytest.raises(BrokenOntology, match="takes cp:angleSum in DEG"):
        model_with(wrong.replace("( cp:pinionHeight )", "( cp:pinionHeight cp:angleSum )"))


def test_a_formula_has_a_calculation_and_a_calculation_a_formula() -> None:
    with pytest.raises(BrokenOntology, match=r"cp:magic .* add the other"):
        model_with('cp:magic a cp:Formula ; rdfs:label "m"@en ; skos:definition "M."@en ; cp:expression "1" .')


# ---------------------------------------------------------------------- everything is in use


def test_every_formula_is_held_to_a_worked_example() -> None:
    files = sorted(Path(__file__).parent.glob("test_figures_*.py"))
    tried = {name for path in files for name in re.findall(r'work\(\s*"(\w+)"', path.read_text(encoding="utf-8"))}
    assert sorted(FORMULAS.keys() - tried) == []


ASKS = (
    (data_folder("seed_data") / "asks" / "hill-patrol.json").read_text(encoding="utf-8"),
    (data_folder("seed_data") / "asks" / "farm-hauler.json").read_text(encoding="utf-8"),
    '{"vehicle": "trail-wagon", "fit": [{"at": "front/carrier", "part": "al-895-33"}]}',
    '{"vehicle": "farm-hauler", "fit": [{"at": "beacon", "part": "be-35"}]}',
    '{"vehicle": "farm-hauler", "fit": [{"at": "front/carrier", "kind": "LimitedSlip"}]}',
    '{"vehicle": "hill-patrol", "fit": [{"at": "rear/*/wheel-spacer", "part": "wsp-30-6x1397"}]}',
    '{"vehicle": "hill-patrol", "fit": [{"at": "rear/vent-hose", "part": "vh-8-2500"}]}',
)


@cache
def known() -> dict[str, set[Decimal]]:
    """Every value that a figure comes to in some answer, as received or as planned."""
    found: dict[str, set[Decimal]] = {}
    for ask in ASKS:
        told = seed_desk().ask(Ask.model_validate_json(ask))
        assert told.verdict == "plan"
        for line in told.figures:
            values = {value for value in (line.before, line.after) if value is not None}
            found.setdefault(line.figure, set()).update(values)
    return found


def test_every_figure_comes_to_a_number_in_some_answer() -> None:
    model = seed_desk().holdings.model
    assert sorted(name for name in model.figures if not known().get(name)) == []


def test_every_example_is_told_the_same_twice() -> None:
    first, second = (seed_desk().ask(Ask.model_validate_json(ASKS[1])) for _ in range(2))
    assert first.verdict == "plan"
    assert second.verdict == "plan"
    assert first.figures == second.figures
    assert first.speeds == second.speeds


def test_what_nobody_looked_at_is_never_within_limits() -> None:
    # the runabout has blank readings and unseen parts: nothing that rests on them may fit
    told = seed_desk().ask(
        Ask.model_validate_json('{"vehicle": "orchard-runabout", "fit": [{"at": "rear/carrier", "part": "ls-74-26"}]}')
    )
    assert told.verdict == "plan"
    unknown = [line for line in told.figures if line.after is None]
    assert unknown
    assert {line.verdict for line in unknown} == {Verdict.UNKNOWN}
    assert all(" not known: " in line.sentence for line in unknown)
    moved = {i.label for line in unknown if line.moved for i in line.inputs if i.after is None}
    assert moved
    asked = {(m.position, m.dimension) for m in told.measurements}
    assert ("shell", "axle load") in asked or ("engine", "peak torque") in asked
    waiting = [line for line in told.figures if line.verdict is Verdict.UNKNOWN and line.after is not None]
    assert all(any(limit.value is None for limit in line.limits) for line in waiting)
