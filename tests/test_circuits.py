"""The circuits of a farm truck with air and loads: outputs, trips, fuses, wires, and what may run together.

Fuses and trips at four fifths, three percent lost for a motor and ten for the rest: ABYC E-11 from memory and common
practice.  Gauges by ASTM B258, copper 1.7241e-8 ohm m at 20 degrees, 0.393 % a kelvin, taken at 60 degrees.
"""

import json
import math
from decimal import Decimal
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from api_client import seed_client
from crosspin.answer.wiring import assign, least_setting, number_outputs

Answer = dict[str, Any]
ASK = Path(__file__).parent.parent / "seed_data" / "asks" / "farm-hauler.json"


def answer(ask: Answer) -> Answer:
    response = seed_client().post("/v1/knock-on", json=ask)
    assert response.status_code == 200, response.text
    told: Answer = response.json()
    return told


@cache
def plan() -> Answer:
    return answer(json.loads(ASK.read_text()))


def circuits() -> dict[str, Answer]:
    return {line["position"]: line for line in plan()["circuits"]["lines"]}


# Least copper of a vehicle cable in circular mils, SAE J1127 and J1128 (from memory); 5 to 12 % less than ASTM B258.
CABLE_MILS = {12: 5833, 10: 9343, 6: 24538, 4: 37360}


def warm_drop(current: float, length: float, gauge: int) -> float:
    """Volts lost there and back over `length` metres of a gauge of vehicle cable at 60 degrees."""
    area = CABLE_MILS[gauge] * math.pi / 4 * 0.0254**2
    solid = math.pi / 4 * (0.127 * math.pow(92, (36 - gauge) / 39)) ** 2
    assert 0.88 <= area / solid <= 0.95
    return current * length * 0.017241 / area * (1 + 0.00393 * 40)


@pytest.mark.parametrize(
    ("position", "output", "limit", "trip"),
    [
        ("light-bar", 1, 30, 25),  # 18 / 0.8 = 22.5
        ("work-lights", 2, 30, 25),  # 17 / 0.8 = 21.25
        ("beacon", 3, 15, 5),
        ("socket", 4, 15, 10),  # 6 / 0.8 = 7.5
        ("compressor-relay", 5, 15, 5),
        ("rear/locker-solenoid", 6, 15, 5),
    ],
)
def test_every_load_has_an_output_that_holds_it(position: str, output: int, limit: int, trip: int) -> None:
    line = circuits()[position]
    assert (line["output"], Decimal(line["output_limit"]), Decimal(line["trip"])) == (
        output,
        Decimal(limit),
        Decimal(trip),
    )
    assert line["switch"] == output
    assert line["verdict"] == "fits"


def test_the_module_is_full_but_not_overloaded() -> None:
    module = plan()["circuits"]["module"]
    # 18 + 17 + 3.5 + 6 + 0.2 + 0.4
    assert Decimal(module["total"]) == Decimal("45.1")
    assert (Decimal(module["limit"]), module["free"], module["verdict"]) == (Decimal(100), [], "fits")


def test_the_compressor_is_fed_at_the_battery() -> None:
    line = circuits()["compressor"]
    # 56 A is more than an output for 30 A holds; 56 / 0.8 = 70
    assert (line["supply"], line["output"], Decimal(line["fuse"])) == ("fromBattery", None, Decimal(70))
    assert Decimal(line["relay"]) >= 80
    assert Decimal(line["wire_carries"]) >= 70
    assert float(line["drop"]) == pytest.approx(warm_drop(56, 6, 4), abs=0.001) == pytest.approx(0.354, abs=0.001)
    assert float(line["drop_percent"]) == pytest.approx(100 * warm_drop(56, 6, 4) / 13.5, abs=0.05)
    # the next thinner cable, AWG 6, loses more than three percent of 13.5 V
    assert warm_drop(56, 6, 6) / 13.5 > 0.03
    steps = {step["position"]: step for step in plan()["steps"]}
    out = {ruled["part"]["id"] for ruled in steps["compressor-cable"]["ruled_out"]}
    assert steps["compressor-cable"]["part"]["id"] == "cc-21"
    assert "cc-13" in out


@pytest.mark.parametrize(
    ("position", "current", "length", "gauge"), [("light-bar", 18, 9, 10), ("work-lights", 8.5, 12, 12)]
)
def test_light_wires_lose_less_than_ten_percent(position: str, current: float, length: float, gauge: int) -> None:
    line = circuits()[position]
    assert f"AWG {gauge}, {length} m" in line["wire"]
    assert float(line["drop"]) == pytest.approx(warm_drop(current, length, gauge), abs=0.001)
    assert float(line["drop_percent"]) == pytest.approx(100 * warm_drop(current, length, gauge) / 13.5, abs=0.05)
    assert Decimal(line["trip"]) <= Decimal(line["wire_carries"])


def test_what_the_alternator_cannot_feed_together_is_locked_out() -> None:
    told = plan()["circuits"]["alternator"]
    # 58 and radio 8, lights 18 and 17, beacon 3.5, socket 6, compressor 56
    assert {name: Decimal(told[name]) for name in ("idle", "fast_idle", "at_rest", "all_on", "together")} == {
        "idle": Decimal("82.5"),
        "fast_idle": Decimal(135),
        "at_rest": Decimal("110.5"),
        "all_on": Decimal("166.5"),
        "together": Decimal("131.5"),
    }
    assert told["locked_out"] == ["light bar", "work lights"]
    assert any("1500 rpm" in sentence for sentence in told["sentences"])


def test_a_locker_and_a_motor_are_interlocked_and_latch_off() -> None:
    interlocks = " ".join(plan()["circuits"]["interlocks"])
    assert "low range" in interlocks
    assert "pressure switch" in interlocks
    assert any("stay off" in note for note in circuits()["socket"]["notes"])
    assert "latchOffCheck" in {check["id"] for check in plan()["checks"]}


def test_what_is_not_recorded_is_asked_for_and_not_said_to_fit() -> None:
    ask = json.loads(ASK.read_text())
    for wish in ask["fit"]:
        if wish["at"] == "distribution-module":
            wish["part"] = "dm-6-u"
    told = answer(ask)
    lines = {line["position"]: line for line in told["circuits"]["lines"]}
    assert lines["light-bar"]["verdict"] == "unknown"
    assert told["circuits"]["verdict"] == "unknown"
    assert ("distribution-module", "trip setting") in {(m["position"], m["dimension"]) for m in told["measurements"]}


def test_a_plan_that_touches_no_circuit_tells_none() -> None:
    assert answer({"vehicle": "farm-hauler", "fit": [{"at": "pitman-arm", "part": "pa-640-flat"}]})["circuits"] is None


def test_outputs_serve_as_many_loads_as_can_be_served() -> None:
    outputs = number_outputs([(1, Decimal(30)), (2, Decimal(15))])
    share = Decimal("0.8")
    # small ones first in the list do not take the strong output from the large one
    given = assign({"a": Decimal(1), "b": Decimal(2), "c": Decimal(20)}, outputs, share)
    assert {name: output.number for name, output in given.items()} == {"a": 2, "b": 3, "c": 1}
    assert set(assign({"a": Decimal(20), "b": Decimal(13)}, outputs, share)) == {"a"}
    # exactly four fifths holds, a hair more does not
    assert assign({"a": Decimal(24)}, outputs, share)["a"].number == 1
    assert assign({"a": Decimal("24.01")}, outputs, share) == {}


def test_a_trip_is_the_least_that_leaves_a_fifth() -> None:
    settings = [Decimal(s) for s in (5, 10, 15)]
    assert least_setting(Decimal(8), settings, Decimal("0.8")) == 10
    assert least_setting(Decimal("8.01"), settings, Decimal("0.8")) == 15
    assert least_setting(Decimal("12.01"), settings, Decimal("0.8")) is None
