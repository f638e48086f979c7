"""A plan as the service tells it, for tests that look lines up by position."""

import json
from functools import cached_property
from pathlib import Path
from typing import Any

from api_client import seed_client

Answer = dict[str, Any]
ASKS = Path(__file__).parent.parent / "seed_data" / "asks"


def answer(ask: Answer) -> Answer:
    """What the service says to an ask, plan or contradiction."""
    response = seed_client().post("/v1/knock-on", json=ask)
    assert response.status_code == 200, response.text
    told: Answer = response.json()
    return told


def written_ask(name: str) -> Answer:
    """One of the asks of the seed data."""
    ask: Answer = json.loads((ASKS / f"{name}.json").read_text())
    return ask


def reading(part_id: str, place: str) -> list[str]:
    """The values of "feature.dimension" on a part; none where it is not recorded."""
    feature, dimension = place.split(".")
    record = seed_client().get(f"/v1/parts/{part_id}").json()
    readings = [r for f in record["features"] if f["feature"] == feature for r in f["readings"]]
    found: list[str] = next((r["values"] for r in readings if r["dimension"] == dimension), [])
    return found


def ask_of(vehicle: str, fits: dict[str, str], *keeps: str) -> Answer:
    """An ask for parts by position."""
    return {"vehicle": vehicle, "fit": [{"at": at, "part": part} for at, part in fits.items()], "keep": list(keeps)}


def contradiction(ask: Answer) -> Answer:
    """The answer to an ask that cannot be had."""
    told = answer(ask)
    assert told["verdict"] == "contradiction"
    return told


class Told:
    """A plan with its lines by position."""

    def __init__(self, ask: Answer) -> None:
        self.plan = answer(ask)
        assert self.plan["verdict"] == "plan", self.plan.get("why")

    @cached_property
    def steps(self) -> dict[str, Answer]:
        return {step["position"]: step for step in self.plan["steps"]}

    @cached_property
    def stays(self) -> dict[str, Answer]:
        return {step["position"]: step for step in self.plan["stays"]}

    def part(self, position: str) -> str:
        found: str = self.steps[position]["part"]["id"]
        return found

    def why(self, position: str) -> str:
        """Every reason for the step at a position."""
        step = self.steps[position]
        return " ".join(reason["sentence"] for reason in (*step["reasons"], *step["also_because"]))

    def why_not(self, position: str, candidate: str) -> str:
        """Why a candidate is ruled out at a position."""
        out = {line["part"]["id"]: line["because"] for line in self.steps[position]["ruled_out"]}
        return " ".join(out[candidate])

    def remedies(self, position: str) -> list[tuple[str, str | None]]:
        """What is done to the part at a position to make it go together, with the adapter part."""
        lines = [m for m in self.plan["modifications"] if m["position"] == position]
        return [(m["remedy"], m["adapter"] and m["adapter"]["id"]) for m in lines]

    def measured(self) -> set[tuple[str, str]]:
        """Position and dimension of what must be measured first."""
        return {(m["position"], m["dimension"]) for m in self.plan["measurements"]}

    def work(self) -> list[str]:
        return [line["operation"] for line in self.plan["work"]]

    def checks(self) -> set[str]:
        return {check["id"] for check in self.plan["checks"]}

    def cautions(self) -> set[str]:
        return {caution["id"] for caution in self.plan["cautions"]}

    def uses(self) -> str:
        """Everything that is used up, in one text."""
        return " ".join(use for line in self.plan["work"] for use in line["uses"])


def figure(told: Told, name: str) -> Answer:
    """The line of a figure, by its name and place."""
    (line,) = (line for line in told.plan["figures"] if line["id"] == name)
    found: Answer = line
    return found


def before_and_after(told: Told, name: str) -> tuple[float, float]:
    """What a figure came to on the vehicle as received and comes to with the plan."""
    line = figure(told, name)
    return float(line["before"]), float(line["after"])
