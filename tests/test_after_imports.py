"""A desk that takes an import in keeps what is still right, and answers as one that was opened afterwards."""

from benchmarks.asks import shipped
from crosspin.answer.desk import Desk
from crosspin.answer.plan import Plan
from crosspin.knockon.ask import Ask, Fit
from seed import own_desk

SHAFTS = """id,label,price,stock,lacks,innerSpline.toothCount,innerSpline.diametralPitch,innerSpline.pressureAngle,\
innerSpline.engagedLength,yokeEar.capDiameter,yokeEar.capSpan,yokeEar.clipStyle,sealSurface.sealDiameter,\
shaftSpan.shaftLength,shaftMetal.shaftYield
,,EUR,,,,per-in,deg,mm,in,in,,mm,mm,MPa
"""
SHAFT = "own-shaft,Inner shaft of our own,{price},6,,{teeth},24,45,42,1.21,3.7,full-circle,38.1,562,1100\n"
RINGS = "id,label,price,stock,lacks,ringOutside.pilotDiameter,ringInside.centreBore\n,,EUR,,,mm,mm\n"
RING = "own-ring,Centring ring of our own,{price},20,,108,106.1\n"
TRUCK = """@prefix cp: <https://crosspin.example/def/> . @prefix part: <https://crosspin.example/id/part/> .
@prefix layout: <https://crosspin.example/id/layout/> . @prefix vehicle: <https://crosspin.example/id/vehicle/> .
@prefix rdfs: <http://www.w3.org/2000/01/rdf-schema#> .
vehicle:own-truck a cp:Vehicle ; cp:identifier "own-truck" ; rdfs:label "truck of our own, hardly looked at"@en ;
  cp:hasLayout layout:two-beam-axles ; cp:listsAll false ;
  cp:carries [ a cp:Placement ; cp:atPath "front/left/inner-shaft" ; cp:holds part:own-shaft ] .
"""
PATROL, HAULER = shipped()["hill-patrol"], shipped()["farm-hauler"]
OWN = Ask(vehicle="own-truck", fit=(Fit(at="front/carrier", part="al-895-33"),))


def told(desk: Desk, ask: Ask) -> str:
    return desk.ask(ask).model_dump_json()


def parts_of(desk: Desk, ask: Ask) -> set[str]:
    """What the plan orders, adapters included."""
    plan = desk.ask(ask)
    assert isinstance(plan, Plan)
    return {line.id for line in plan.order}


def test_after_every_import_answers_are_those_of_a_desk_opened_anew() -> None:
    with own_desk() as desk:
        for ask in (PATROL, HAULER):
            desk.ask(ask)
        imports = (
            (PATROL, "InnerShaft", SHAFTS + SHAFT.format(price=100, teeth=33), True),
            (PATROL, "InnerShaft", SHAFTS + SHAFT.format(price=400, teeth=33), False),
            (PATROL, "InnerShaft", SHAFTS + SHAFT.format(price=100, teeth=29), False),
            (HAULER, "CentringRing", RINGS + RING.format(price="2.00"), True),
            (HAULER, "CentringRing", RINGS + RING.format(price="9.00"), False),
            (PATROL, "InnerShaft", SHAFTS, False),
        )
        for ask, kind, text, comes_in in imports:
            desk.import_text(kind, text.encode(), "text/csv", kind)
            assert any(name.startswith("own-") for name in parts_of(desk, ask)) is comes_in
            assert told(desk, ask) == told(Desk.open(desk.library.folder), ask)


def test_a_vehicle_is_reasoned_about_anew_where_a_part_that_it_came_with_is_described_otherwise() -> None:
    answers = []
    with own_desk() as desk:
        desk.import_text("shafts", (SHAFTS + SHAFT.format(price=100, teeth=33)).encode(), "text/csv", "InnerShaft")
        desk.import_text("truck", TRUCK.encode(), "text/turtle")
        for teeth in (33, 27, 33):
            text = SHAFTS + SHAFT.format(price=100, teeth=teeth)
            desk.import_text("shafts", text.encode(), "text/csv", "InnerShaft")
            answers.append(told(desk, OWN))
            assert answers[-1] == told(Desk.open(desk.library.folder), OWN)
    assert answers[0] != answers[1]
