"""Mistakes with air and wiring that shops fear, each led into by an ask, and caught before anything is taken apart.

Clearances, tube sizes and feeds: common practice; threads: ASME B1.20.1 and ISO 7-1, from memory.
"""

import json
from pathlib import Path
from typing import Any

from api_client import seed_client

Answer = dict[str, Any]
HILL = json.loads((Path(__file__).parent.parent / "seed_data" / "asks" / "hill-patrol.json").read_text())


def answer(ask: Answer) -> Answer:
    response = seed_client().post("/v1/knock-on", json=ask)
    assert response.status_code == 200, response.text
    told: Answer = response.json()
    return told


def with_wish(at: str, part: str) -> Answer:
    return {**HILL, "fit": [*HILL["fit"], {"at": at, "part": part}]}


def test_no_port_drilled_before_the_gears_go_in() -> None:
    # a boss that was left undrilled: the drilling is planned, and before the ring gear and the carrier
    ask = {
        "vehicle": "farm-hauler",
        "fit": [
            {"at": "rear/housing", "part": "rh-845-ff-1550"},
            {"at": "rear/carrier", "part": "al-845-33"},
            {"at": "rear/air-fitting", "part": "af-npt18-6-s"},
        ],
    }
    told = answer(ask)
    assert told["verdict"] == "plan"
    work = [job["operation"] for job in told["work"]]
    assert "drillAndTapPort" in work
    later = [work.index(name) for name in ("setPinionDepth", "fitRing", "pressCarrierBearing") if name in work]
    assert later
    assert work.index("drillAndTapPort") < min(later)


def test_an_air_fitting_struck_by_the_link_at_full_bump() -> None:
    # 9 mm free beside the link; even the elbow of 6 mm leaves less than 10
    told = answer(with_wish("front/low-air-port", "af-npt18-6-e"))
    assert told["verdict"] == "contradiction"
    assert any("9 mm" in why and "6 mm" in why for why in told["why"])
    # left to itself the plan takes the upper port and closes the low one
    steps = {step["position"]: step["part"]["id"] for step in answer(HILL)["steps"] if step["part"]}
    assert steps["front/low-air-port"].startswith("pp-")


def test_an_inch_fitting_on_a_millimetre_system() -> None:
    told = answer({**with_wish("front/air-fitting", "af-npt18-14in-s"), "keep": [*HILL["keep"], "air-manifold"]})
    assert told["verdict"] == "contradiction"
    fit = seed_client().get("/v1/fit", params={"one": "al-tube-6", "other": "af-npt18-14in-s"}).json()
    assert fit["verdict"] == "clashes"
    assert any("6.35 mm" in line["sentence"] for line in fit["criteria"])


def test_a_tapered_thread_in_the_port_of_another_standard() -> None:
    # 28 threads at 55 degrees into 27 at 60: only by an adapter that has both
    told = answer(with_wish("front/air-fitting", "af-bspt18-6-e"))
    assert told["verdict"] == "plan"
    mended = next(m for m in told["modifications"] if m["adapter"] and m["position"].startswith("front/"))
    assert mended["adapter"]["id"] == "ta-npt18-bspt18"
    assert "1/8-28 BSPT" in mended["because"]


def test_a_compressor_on_an_output_or_wire_that_is_too_small() -> None:
    ask: Answer = {"vehicle": "hill-patrol", "fit": [{"at": "compressor", "part": "ac-110"}]}
    told = answer(ask)
    steps = {step["position"]: step for step in told["steps"]}
    # 56 A asks for a relay of 80, a fuse of 70 and a cable that loses no more than three percent
    assert steps["compressor-relay"]["part"]["id"] == "cy-80"
    assert steps["compressor-fuse"]["part"]["id"] == "cf-70"
    assert steps["compressor-cable"]["part"]["id"] == "cc-21"
    line = next(line for line in told["circuits"]["lines"] if line["position"] == "compressor")
    assert (line["supply"], line["output"]) == ("fromBattery", None)
    kept = answer({**ask, "keep": ["compressor-cable"]})
    assert kept["verdict"] == "contradiction"
    assert any("percent" in why for why in kept["why"])
