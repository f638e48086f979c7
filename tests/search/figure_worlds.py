"""Random small worlds with figures that decide: the worlds of `worlds`, figures over them with limits, and needs that
these trigger."""

from dataclasses import replace
from decimal import Decimal
from random import Random
from typing import Any

from hypothesis import strategies as st

from crosspin.model.figure import Figure, FigureInput, Formula, Gathering, Limit, Sense, Source
from crosspin.model.schema import Condition, FigureNeed, Model, Remedy, Scope, Severity
from search.worlds import World, sparse_worlds, worlds

FORMULAS = {"sumOfTwo": ("first", "second"), "difference": ("first", "second"), "quotient": ("first", "second")}
STATIONS = {"front": ("BeamAxle", "FrontAxle"), "rear": ("BeamAxle", "RearAxle")}


def figure_worlds(most_roles: int = 6, most_parts: int = 5) -> st.SearchStrategy[World]:
    """Random worlds with one to three figures."""
    return st.builds(with_figures, worlds(most_roles, most_parts), st.integers(0, 2**32))


def sparse_figure_worlds() -> st.SearchStrategy[World]:
    """The same where mostly figures alone tie positions together."""
    return st.builds(with_figures, sparse_worlds(), st.integers(0, 2**32))


def with_figures(world: World, seed: int) -> World:
    """The same world with figures drawn by this seed."""
    return replace(world, model=_Builder(world.model, Random(seed)).build())


class _Builder:
    def __init__(self, model: Model, random: Random) -> None:
        self.model = model
        self.random = random
        self.figures: dict[str, Figure] = {}

    def chance(self, percent: int) -> bool:
        return self.random.randrange(100) < percent

    def build(self) -> Model:
        cure = Remedy(
            id="cure",
            label="cure",
            definition="cure.",
            operation=self.random.choice(sorted(self.model.operations)),
            at_role=self.random.choice(sorted(self.model.roles)),
            lower=Decimal(-2) if self.chance(50) else None,
            upper=Decimal(2) if self.chance(50) else None,
        )
        for number in range(self.random.randrange(1, 4)):
            figure = self.figure(f"f{number}")
            self.figures[figure.id] = figure
        needs = {f"c{number}": self.need(f"c{number}") for number in range(self.random.randrange(0, 3))}
        layout = self.model.layouts["l"].model_copy(update={"stations": STATIONS})
        formulas = {name: Formula(id=name, label=name, definition=f"{name}.", expression=name) for name in FORMULAS}
        return self.model.model_copy(
            update={
                "figures": self.figures,
                "figure_needs": needs,
                "formulas": formulas,
                "layouts": {"l": layout},
                "remedies": {**self.model.remedies, "cure": cure},
            }
        )

    def figure(self, name: str) -> Figure:
        formula = self.random.choice(sorted(FORMULAS))
        words: dict[str, Any] = {}
        if self.chance(25):
            role = self.random.choice(sorted(self.model.roles))
            kinds = [k for k in self.model.kinds if self.model.roles[role].kind in self.model.kinds[k].ancestors]
            words = {"when_role": role, "when_kind": self.random.choice(kinds)}
        senses = self.random.sample(list(Sense), self.random.randrange(1, 3))
        return Figure(
            id=name,
            label=name,
            definition=f"{name}.",
            formula=formula,
            inputs=tuple(FigureInput(name=one, source=self.source()) for one in FORMULAS[formula]),
            decimals=self.random.choice([0, 0, 1, 2]),
            limits=tuple(self.limit(name, sense) for sense in senses),
            stations=(self.random.choice(["BeamAxle", "FrontAxle", "RearAxle"]),),
            planned_only=self.chance(10),
            safety_critical=self.chance(40),
            severity="hurtsSomeone",
            **words,
        )

    def limit(self, name: str, sense: Sense) -> Limit:
        constant = Decimal(self.random.randrange(-1, 6))
        source = self.source() if self.chance(30) else Source(label="limit", constants=(constant,))
        return Limit(
            id=f"{name}-{sense}",
            sense=sense,
            source=source,
            factor=Decimal(2) if self.chance(20) else Decimal(1),
            says="{value} {limit}",
            decides=self.chance(85),
            remedies=("cure",) if self.chance(30) else (),
        )

    def need(self, name: str) -> FigureNeed:
        role = self.random.choice(sorted(self.model.roles))
        lower, upper = sorted(Decimal(self.random.randrange(-1, 6)) for _ in range(2))
        low, high = self.random.choice([(lower, None), (None, upper), (lower, upper)])
        return FigureNeed(
            id=name,
            label=name,
            definition=f"{name}.",
            figure=self.random.choice(sorted(self.figures)),
            lower=low,
            upper=high,
            then_role=role,
            then=None if self.chance(25) else self.condition(role),
            scope=self.random.choice([Scope.SAME_AXLE, Scope.WHOLE_VEHICLE]),
            says="{value} {place}",
            severity=Severity.WARNS if self.chance(15) else Severity.COSTS_DEARLY,
        )

    def condition(self, role: str) -> Condition:
        kinds = [k for k in self.model.kinds if self.model.roles[role].kind in self.model.kinds[k].ancestors]
        kind = self.random.choice(kinds)
        features = self.model.kinds[kind].features
        if not features or self.chance(50):
            return Condition(kind=kind)
        return Condition(
            kind=kind,
            feature=self.random.choice(features),
            dimension="size",
            lower=Decimal(self.random.randrange(0, 3)),
        )

    def source(self) -> Source:
        # A quotient cut off at 28 digits and added to others could round otherwise than the exact fraction.
        earlier = sorted(f.id for f in self.figures.values() if f.formula != "quotient")
        if earlier and self.chance(25):
            return Source(label="", figures=(self.random.choice(earlier),), **self.manner())
        if self.chance(15):
            return Source(label="", constants=(Decimal(self.random.randrange(0, 3)),))
        roles = tuple(sorted(self.random.sample(sorted(self.model.roles), self.random.randrange(1, 3))))
        kind = self.model.kinds[self.model.roles[roles[0]].kind]
        feature = self.random.choice(kind.features)
        # A second role mostly has no such feature; a figure may name roles of which only one counts.
        return Source(label="", roles=roles, feature=feature, dimensions=(self.random.choice(["size", "low"]),),
                      **self.manner())  # fmt: skip

    def manner(self) -> dict[str, Any]:
        return {
            "gathers": self.random.choice(list(Gathering)),
            "as_received": self.chance(10),
            "where_none": Decimal(1) if self.chance(15) else None,
            "only_at": self.random.choice(["FrontAxle", "RearAxle"]) if self.chance(15) else None,
        }
