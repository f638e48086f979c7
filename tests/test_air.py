"""The air supply of both workshop asks: what is bought, what must match, what is let down.

Tank, relief valve, drain and gauge: 29 CFR 1910.169.  Threads: ASME B1.20.1 and ISO 7-1 from memory.  Locker
pressures and clearances: common practice.
"""

import json
from decimal import Decimal
from functools import cache
from pathlib import Path
from typing import Any

from api_client import seed_client

Answer = dict[str, Any]
ASKS = Path(__file__).parent.parent / "seed_data" / "asks"


@cache
def plan(name: str) -> Answer:
    response = seed_client().post("/v1/knock-on", json=json.loads((ASKS / f"{name}.json").read_text()))
    assert response.status_code == 200, response.text
    told: Answer = response.json()
    return told


def steps(name: str) -> dict[str, Answer]:
    return {step["position"]: step for step in plan(name)["steps"]}


def fitted(position: str) -> str:
    found: str = steps("farm-hauler")[position]["part"]["id"]
    return found


def reading(part: str, place: str) -> str:
    feature, dimension = place.split(".")
    record = seed_client().get(f"/v1/parts/{part}").json()
    there = next(f for f in record["features"] if f["feature"] == feature)
    values: list[str] = next(r for r in there["readings"] if r["dimension"] == dimension)["values"]
    return values[0]


def test_a_tank_comes_with_all_that_makes_it_safe() -> None:
    for role in ("relief-valve", "tank-drain", "tank-hose", "check-valve", "intake-filter", "air-gauge"):
        assert steps("farm-hauler")[role]["action"] == "add"


def test_the_compressor_stops_below_the_relief_valve_and_that_opens_below_the_tanks_rating() -> None:
    stops = Decimal(reading(fitted("pressure-switch"), "switchPressure.cutOutPressure"))
    opens = Decimal(reading(fitted("relief-valve"), "reliefSetting.reliefPressure"))
    holds = Decimal(reading(fitted("air-tank"), "tankRating.workingPressureMost"))
    assert (stops, opens, holds) == (Decimal(145), Decimal(175), Decimal(200))
    assert stops < opens <= holds


def test_a_supply_above_the_lockers_window_gets_a_regulator() -> None:
    mended = next(m for m in plan("farm-hauler")["modifications"] if m["position"] == "pressure-switch")
    assert mended["adapter"]["id"] == "ar-90"
    # 90 psi lies in the locker's 80 to 105
    assert Decimal(80) <= Decimal(reading("ar-90", "regulatorOutlet.setPressure")) <= Decimal(105)
    assert "145 psi" in mended["because"]


def test_the_line_is_air_brake_tube_of_the_size_that_its_fitting_takes() -> None:
    line = fitted("rear/air-line")
    assert (reading(line, "lineBody.tubeClass"), reading(line, "lineBody.tubeInside")) == ("air-brake", "4")
    assert reading(line, "lineTube.tubeDiameter") == reading(fitted("rear/air-fitting"), "fittingSocket.tubeDiameter")


def test_a_port_that_nobody_recorded_is_looked_for_before_assembly() -> None:
    asked = {(m["position"], m["feature"]) for m in plan("farm-hauler")["measurements"]}
    assert ("rear/housing", "air port") in asked


def test_the_rescue_truck_keeps_its_supply_and_gains_one_valve_and_switch() -> None:
    stays = {step["position"] for step in plan("hill-patrol")["stays"]}
    kept = {"compressor", "pressure-switch", "air-manifold", "intake-filter", "check-valve", "air-gauge"}
    assert kept <= stays
    added = steps("hill-patrol")
    assert added["front/locker-solenoid"]["action"] == added["front/locker-switch"]["action"] == "add"


def test_air_cautions_come_with_the_work() -> None:
    told = {caution["id"] for caution in plan("farm-hauler")["cautions"]}
    assert {"airTankCaution", "airBlowCaution", "electricsCaution"} <= told
