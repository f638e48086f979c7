"""Random small worlds, as the plain objects that the search reads.

Sizes and likelihoods are drawn by hypothesis, so that a failing world shrinks; what fills them comes from
a seeded generator, which is quick.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from random import Random
from typing import Any

from hypothesis import strategies as st

from crosspin.catalog.catalog import Catalog
from crosspin.catalog.snapshot import in_memory
from crosspin.knockon.ask import Ask, Fit, ReadingWish
from crosspin.model.labour import Operation, Repeat
from crosspin.model.schema import (
    Comparator,
    Condition,
    Criterion,
    Datatype,
    Dimension,
    Feature,
    FeatureKind,
    Function,
    Joint,
    JointKind,
    Kind,
    Kit,
    KitLine,
    Layout,
    Model,
    Need,
    Pairing,
    Part,
    Position,
    Remedy,
    Renewal,
    Resource,
    Role,
    Scope,
    Severity,
    Shop,
    Spec,
    Value,
    Vehicle,
)

NUMBERS = ("size", "low", "high")
STYLES = ("red", "blue", "green")
DIMENSIONS = (*NUMBERS, "style", "accepts")
FEATURE_KIND = "face"


@dataclass(frozen=True)
class World:
    """One ontology, one catalog and one ask about its only vehicle."""

    model: Model
    catalog: Catalog
    ask: Ask


@dataclass(frozen=True)
class Shape:
    """How large a world is and how often it is what; likelihoods in percent."""

    seed: int
    roles: int
    twice: int
    parts: int
    joints: int
    needs: int
    renewals: int
    resources: int
    spread: int
    gaps: int
    wishes: int
    keeps: int
    removes: int
    light: int
    functions: int
    covered: int


def shapes(most_roles: int = 7, most_parts: int = 7) -> st.SearchStrategy[Shape]:
    """Shapes of worlds; brute force wants smaller ones than the solver."""
    return st.builds(
        Shape,
        seed=st.integers(0, 2**32),
        roles=st.integers(3, most_roles),
        twice=st.sampled_from([0, 40]),
        parts=st.integers(2, most_parts),
        joints=st.integers(2, 7),
        needs=st.integers(0, 3),
        renewals=st.integers(0, 2),
        resources=st.integers(0, 2),
        spread=st.integers(2, 4),
        gaps=st.sampled_from([0, 5, 20]),
        wishes=st.integers(1, 3),
        keeps=st.sampled_from([0, 0, 1, 2]),
        removes=st.sampled_from([20, 20, 60]),
        light=st.sampled_from([0, 20, 50]),
        functions=st.integers(0, 3),
        covered=st.sampled_from([0, 40, 80]),
    )


def worlds(most_roles: int = 7, most_parts: int = 7) -> st.SearchStrategy[World]:
    """Random worlds."""
    return shapes(most_roles, most_parts).map(build)


def sparse_worlds(most_roles: int = 6, most_parts: int = 4) -> st.SearchStrategy[World]:
    """Random worlds with one wish and little that holds parts together, so that most positions stay as received."""
    few = st.tuples(st.integers(0, 3), st.integers(0, 1), st.integers(0, 1))
    return st.builds(
        lambda shape, rules: replace(
            shape, wishes=1, joints=rules[0], needs=rules[1], renewals=rules[2], resources=0, functions=0
        ),
        shapes(most_roles, most_parts),
        few,
    ).map(build)


def build(shape: Shape) -> World:
    """The world of a shape; always the same one."""
    return _Builder(shape).build()


def with_parts(world: World, parts: Mapping[str, Part]) -> World:
    """The same world with another catalog of parts."""
    catalog = world.catalog
    other = in_memory(parts.values(), catalog.specs.values(), catalog.kits.values(), catalog.vehicles.values())
    return replace(world, catalog=other)


def shuffled(world: World, seed: int) -> World:
    """The same world with every table of the catalog in another order."""
    random = Random(seed)

    def mix(table: Mapping[str, Any]) -> list[Any]:
        items = list(table.values())
        random.shuffle(items)
        return items

    catalog = world.catalog
    mixed = in_memory(mix(catalog.parts), mix(catalog.specs), mix(catalog.kits), mix(catalog.vehicles))
    return replace(world, catalog=mixed)


def _term(name: str) -> dict[str, Any]:
    return {"id": name, "label": name, "definition": f"{name}."}


class _Builder:
    def __init__(self, shape: Shape) -> None:
        self.shape = shape
        self.random = Random(shape.seed)
        self.specs: dict[str, Spec] = {}

    def chance(self, percent: int) -> bool:
        return self.random.randrange(100) < percent

    def pick(self, options: Any) -> Any:
        return self.random.choice(list(options))

    def build(self) -> World:
        self.functions = {f"f{i}": self.make_function(f"f{i}") for i in range(self.shape.functions)}
        self.kinds = self.make_kinds()
        self.roles = self.make_roles()
        self.positions = self.make_positions()
        self.operations = {
            name: Operation(
                **_term(name),
                text=name,
                hours=Decimal(self.random.randrange(0, 9)) / 4,
                phase="p",
                repeat=Repeat.EACH_PART,
            )
            for name in ("drill", "notch")
        }
        self.remedies = self.make_remedies()
        self.joint_kinds = {f"j{i}": self.make_joint_kind(f"j{i}") for i in range(self.shape.joints)}
        self.needs = {f"n{i}": self.make_need(f"n{i}") for i in range(self.shape.needs)}
        self.renewals = {f"w{i}": self.make_renewal(f"w{i}") for i in range(self.shape.renewals)}
        resources = {f"s{i}": self.make_resource(f"s{i}") for i in range(self.shape.resources)}
        layout = self.make_layout()
        dimensions = {name: self.make_dimension(name) for name in sorted(DIMENSIONS)}
        model = Model(
            version="1",
            shop=Shop(currency="EUR", hourly_rate=Decimal(self.pick(["0", "80", "62.5"]))),
            kinds=self.kinds,
            feature_kinds={FEATURE_KIND: FeatureKind(**_term(FEATURE_KIND), dimensions=tuple(sorted(DIMENSIONS)))},
            features={
                name: Feature(**_term(name), feature_kind=FEATURE_KIND)
                for name in sorted({f for kind in self.kinds.values() for f in kind.features})
            },
            dimensions=dimensions,
            roles=self.roles,
            joint_kinds=self.joint_kinds,
            needs=self.needs,
            renewals=self.renewals,
            resources=resources,
            remedies=self.remedies,
            consequences={},
            operations=self.operations,
            consumables={},
            checks={},
            cautions={},
            evidence={},
            layouts={"l": layout},
            functions=self.functions,
        )
        parts = self.make_parts()
        vehicle = self.make_vehicle(parts)
        kits = self.make_kits(parts)
        catalog = in_memory(parts.values(), self.specs.values(), kits.values(), [vehicle])
        return World(model, catalog, self.make_ask(catalog))

    def make_function(self, name: str) -> Function:
        scope = self.pick([Scope.SAME_AXLE, Scope.WHOLE_VEHICLE])
        return Function(**_term(name), scope=scope, says="{part}", says_lost="{place}", says_gained="{place}")

    def some_functions(self, percent: int) -> tuple[str, ...]:
        return tuple(name for name in self.functions if self.chance(percent))

    def make_kinds(self) -> dict[str, Kind]:
        """One kind per role with two features, sometimes a narrower one with a third; and an adapter kind."""
        kinds = {}
        for i in range(self.shape.roles):
            name = f"k{i}"
            features = (f"{name}a", f"{name}b")
            functions = self.some_functions(10)
            kinds[name] = Kind(
                **_term(name), parents=("Part",), ancestors=("Part", name), features=features, functions=functions
            )
            if self.chance(40):
                sub = f"{name}x"
                kinds[sub] = Kind(
                    **_term(sub),
                    parents=(name,),
                    ancestors=("Part", name, sub),
                    features=(*features, f"{sub}c"),
                    functions=tuple(sorted({*functions, *self.some_functions(30)})),
                    under=self.some_of_the_others(i),
                )
        kinds["adapter"] = Kind(
            **_term("adapter"), parents=("Part",), ancestors=("Part", "adapter"), features=("inner", "outer")
        )
        kinds["Part"] = Kind(**_term("Part"), parents=(), ancestors=("Part",), features=())
        return dict(sorted(kinds.items()))

    def make_roles(self) -> dict[str, Role]:
        return {
            f"r{i}": Role(
                **_term(f"r{i}"),
                code=f"r{i}",
                kind=f"k{i}",
                stations=("FrontAxle",),
                may_be_empty=self.chance(50),
                under=self.some_of_the_others(i),
                within=f"r{self.random.randrange(i)}" if i and self.chance(self.shape.covered // 3) else None,
            )
            for i in range(self.shape.roles)
        }

    def make_positions(self) -> list[Position]:
        positions = []
        for role in self.roles:
            places = [("front", None)]
            if self.chance(self.shape.twice):
                places = self.pick([[("front", None), ("rear", None)], [("front", "left"), ("front", "right")]])
            for station, side in places:
                path = "/".join(filter(None, (station, side, role)))
                positions.append(Position(path=path, role=role, station=station, side=side))
        return positions

    def make_dimension(self, name: str) -> Dimension:
        number = name in NUMBERS
        return Dimension(
            **_term(name),
            feature_kind=FEATURE_KIND,
            datatype=Datatype.DECIMAL if number else Datatype.CODE,
            unit="MilliM" if number else None,
            how_to_measure="Look.",
            many=name == "accepts",
            codes=() if number else STYLES,
        )

    def severity(self) -> Severity:
        """One that a plan is held to, or, now and then, one that only warns or informs."""
        light = self.chance(self.shape.light)
        return Severity(self.pick([s for s in Severity if s.constrains is not light]))

    def number(self) -> Decimal:
        """A small whole number, now and then a half more."""
        return Decimal(self.random.randrange(self.shape.spread)) + (Decimal("0.5") if self.chance(10) else 0)

    def make_criterion(self, name: str, remedies: tuple[str, ...] = ()) -> Criterion:
        words: dict[str, Any] = {
            "id": name,
            "says_clash": "{left}, {right}",
            "safety_critical": self.chance(40),
            "severity": self.severity(),
            "remedies": remedies,
        }
        comparator = self.pick(Comparator)
        if comparator is Comparator.EQUALS:
            dimension = self.pick(["size", "style"])
            if self.chance(25):
                constant: Value = self.number() if dimension == "size" else self.pick(STYLES)
                return Criterion(left=dimension, comparator=comparator, constant=constant, **words)
            return Criterion(left=dimension, comparator=comparator, right=dimension, **words)
        if comparator is Comparator.WITHIN_RANGE:
            return Criterion(left="size", comparator=comparator, right="low", right_high="high", **words)
        if comparator is Comparator.IS_ONE_OF:
            return Criterion(left="style", comparator=comparator, right="accepts", **words)
        lower = Decimal(self.random.randrange(-2, 2)) if self.chance(80) else None
        upper = (lower or Decimal(0)) + self.random.randrange(0, 4) if lower is None or self.chance(60) else None
        factor = Decimal(1)
        if comparator is Comparator.PERCENT_WITHIN:
            lower = None if lower is None else lower * 30
            upper = None if upper is None else upper * 30
        elif self.chance(30):
            factor = Decimal(2)
        if self.chance(20):
            words["constant"] = self.number()
        else:
            words["right"] = self.pick(["size", "low"])
        return Criterion(left="size", comparator=comparator, right_factor=factor, lower=lower, upper=upper, **words)

    def make_remedies(self) -> dict[str, Remedy]:
        plain = Remedy(
            **_term("bore"),
            operation=self.pick(self.operations),
            lower=Decimal(-2) if self.chance(50) else None,
            upper=Decimal(1) if self.chance(50) else None,
        )
        coded = Remedy(**_term("paint"), operation=self.pick(self.operations), left_code=self.pick(STYLES))
        ring = Remedy(
            **_term("ring"),
            operation=self.pick([None, *self.operations]),
            adapter_kind="adapter",
            adapter_left_feature="outer",
            adapter_right_feature="inner",
            adapter_left_criterion=self.make_criterion("ring-left"),
            adapter_right_criterion=self.make_criterion("ring-right"),
            lower=Decimal(-1) if self.chance(30) else None,
        )
        return {r.id: r for r in (plain, coded, ring)}

    def side(self, kind: str) -> str:
        """The kind of a role or a narrower one."""
        below = [k for k in self.kinds if kind in self.kinds[k].ancestors]
        return str(self.pick(below)) if self.chance(30) else kind

    def make_joint_kind(self, name: str) -> JointKind:
        # The first joints make a chain of the roles, so that one change can drag others along.
        names, number = list(self.roles), int(name[1:])
        chained = number + 1 < len(names)
        left = names[number] if chained else self.pick(names)
        right = names[number + 1] if chained else self.pick(names)
        left_kind, right_kind = self.side(self.roles[left].kind), self.side(self.roles[right].kind)
        criteria = []
        for i in range(self.random.randrange(1, 3)):
            remedies = tuple(sorted(r for r in self.remedies if self.chance(25)))
            criteria.append(self.make_criterion(f"{name}-{i}", remedies))
        return JointKind(
            **_term(name),
            left_role=left,
            right_role=right,
            left_kind=left_kind,
            right_kind=right_kind,
            left_feature=self.pick(self.kinds[left_kind].features),
            right_feature=self.pick(self.kinds[right_kind].features),
            scope=Scope.WHOLE_VEHICLE,
            criteria=tuple(criteria),
        )

    def make_condition(self, kind: str) -> Condition:
        kind = self.side(kind)
        if self.chance(40):
            return Condition(kind=kind)
        feature = self.pick(self.kinds[kind].features)
        dimension = self.pick(["size", "style", "accepts"])
        if dimension == "size":
            return Condition(
                kind=kind, feature=feature, dimension=dimension, lower=self.number(), upper=Decimal(self.shape.spread)
            )
        codes = tuple(sorted(self.random.sample(STYLES, self.random.randrange(1, 3))))
        return Condition(kind=kind, feature=feature, dimension=dimension, codes=codes)

    def make_need(self, name: str) -> Need:
        when, then = self.pick(self.roles), self.pick(self.roles)
        # To be empty can be asked only of what may be empty, else most worlds have no plan.
        empty = self.roles[then].may_be_empty and self.chance(30)
        return Need(
            **_term(name),
            when_role=when,
            when=self.make_condition(self.roles[when].kind),
            when_fresh=self.chance(40),
            then_role=then,
            then=None if empty else self.make_condition(self.roles[then].kind),
            scope=Scope.WHOLE_VEHICLE,
            says="{part}",
            severity=self.severity(),
        )

    def some_of_the_others(self, number: int) -> tuple[str, ...]:
        """Roles and kinds that lie over a role's parts."""
        others = [f"{sort}{i}" for i in range(self.shape.roles) if i != number for sort in "rk"]
        return tuple(other for other in others if self.chance(self.shape.covered // 4))

    def make_renewal(self, name: str) -> Renewal:
        when, then = self.pick(self.roles), self.pick(self.roles)
        disturbed = self.chance(self.shape.covered)
        return Renewal(
            **_term(name),
            when_role=when,
            when_kind=self.roles[when].kind if disturbed else self.side(self.roles[when].kind),
            when_disturbed=disturbed,
            then_role=then,
            then_kind=self.side(self.roles[then].kind),
            scope=Scope.WHOLE_VEHICLE,
            says="{part}",
            severity=self.severity(),
        )

    def make_resource(self, name: str) -> Resource:
        kinds = [k for k in self.kinds if k.startswith("k")]
        draw, supply = self.pick(kinds), self.pick(kinds)
        # Often a narrower kind's own feature: a part that nobody has seen could have it.
        features = self.kinds[draw].features
        return Resource(
            **_term(name),
            draw_feature=features[-1] if self.chance(50) else self.pick(features),
            draw_dimension="size",
            supply_feature=self.pick(self.kinds[supply].features),
            supply_dimension=self.pick(["size", "high"]),
            says="{part}",
            severity=self.severity(),
        )

    def pairs(self, first: str, second: str, once: bool) -> list[tuple[str, str]]:
        """Pairs of different positions of two roles; of one role with itself, `once` in one order only."""
        found = []
        for left in self.positions:
            for right in self.positions:
                if (left.role, right.role) != (first, second) or left.path == right.path:
                    continue
                if not (once and first == second and left.path > right.path):
                    found.append((left.path, right.path))
        return found

    def make_layout(self) -> Layout:
        joints = [
            Joint(id=f"{kind.id}/{left}--{right}", joint_kind=kind.id, left=left, right=right)
            for kind in self.joint_kinds.values()
            for left, right in self.pairs(kind.left_role, kind.right_role, True)
        ]
        rules: list[Need | Renewal] = [*self.needs.values(), *self.renewals.values()]
        pairings = [
            Pairing(id=f"{rule.id}/{when}--{then}", rule=rule.id, when=when, then=then)
            for rule in rules
            for when, then in self.pairs(rule.when_role, rule.then_role, False)
        ]
        return Layout(**_term("l"), positions=tuple(self.positions), joints=tuple(joints), pairings=tuple(pairings))

    def make_spec(self, family: int) -> str:
        """A spec that mostly goes with others of its family; readings may be missing or disputed."""
        values: dict[str, tuple[Value, ...]] = {}
        for dimension in DIMENSIONS:
            if self.chance(self.shape.gaps):
                continue
            stray = self.chance(15)
            if dimension == "accepts":
                others = self.random.sample(STYLES, self.random.randrange(1, 3))
                values[dimension] = tuple(sorted({*others} if stray else {*others, STYLES[family % 2]}))
            elif self.chance(self.shape.gaps // 3):
                values[dimension] = (Decimal(1), Decimal(2)) if dimension in NUMBERS else STYLES[:2]
            elif dimension in NUMBERS:
                values[dimension] = (self.number() if stray else Decimal(family + (dimension == "high")),)
            else:
                values[dimension] = (self.pick(STYLES) if stray else STYLES[family % 2],)
        for spec in self.specs.values():
            if spec.values == values:
                return spec.id
        name = f"spec{len(self.specs)}"
        self.specs[name] = Spec(id=name, feature_kind=FEATURE_KIND, values=values)
        return name

    def make_part(self, name: str, kind: str, family: int) -> Part:
        specs, lacks = {}, []
        for feature in self.kinds[kind].features:
            if self.chance(self.shape.gaps // 2):
                if self.chance(50):
                    lacks.append(feature)
            else:
                specs[feature] = self.make_spec(family)
        return Part(
            id=name,
            kind=kind,
            label=name,
            price=Decimal(self.random.randrange(0, 4000)) / 100 if self.chance(85) else None,
            stock=self.pick([None, 0, 1, 2]),
            specs=specs,
            lacks=tuple(lacks),
            functions=self.some_functions(20),
        )

    def make_parts(self) -> dict[str, Part]:
        parts = {}
        for kind in self.kinds:
            if kind == "Part":
                continue
            for i in range(self.random.randrange(1, self.shape.parts + 1) + (kind == "adapter")):
                part = self.make_part(f"{kind}-{i}", kind, i % self.shape.spread)
                parts[part.id] = part
                if self.chance(20):
                    twin = f"{kind}-{i}t"
                    parts[twin] = part.model_copy(update={"id": twin, "price": part.price and part.price + 1})
        return parts

    def make_vehicle(self, parts: dict[str, Part]) -> Vehicle:
        held: dict[str, str] = {}
        unseen = []
        for position in self.positions:
            fitting = [p.id for p in parts.values() if self.roles[position.role].kind in self.kinds[p.kind].ancestors]
            if self.chance(self.shape.gaps):
                unseen.append(position.path)
            elif self.chance(80):
                first = [p for p in fitting if p.split("-")[1] == "0"]
                held[position.path] = self.pick(first if first and self.chance(70) else fitting)
        return Vehicle(id="v", label="v", layout="l", parts=held, unseen=tuple(unseen))

    def make_kits(self, parts: dict[str, Part]) -> dict[str, Kit]:
        sold = [p for p in parts.values() if p.price is not None and p.kind != "adapter"]
        if not sold:
            return {}
        lines = tuple(KitLine(part=p.id, quantity=2) for p in self.random.sample(sold, min(2, len(sold))))
        return {"kit": Kit(id="kit", label="kit", price=Decimal(10), lines=lines)}

    def make_ask(self, catalog: Catalog) -> Ask:
        """A few wishes on different positions; some of them may still be refused as an ask."""
        free = [p.path for p in self.positions]
        self.random.shuffle(free)
        fits: list[Fit] = []
        removes: list[str] = []
        for _ in range(self.shape.wishes):
            if not free:
                break
            path = free.pop()
            role = self.roles[next(p.role for p in self.positions if p.path == path)]
            if self.chance(self.shape.removes):
                removes.append(path)
                continue
            sold = [
                p.id
                for p in catalog.parts.values()
                if p.price is not None and role.kind in self.kinds[p.kind].ancestors
            ]
            if sold and self.chance(60):
                pattern, twin = f"*/{role.code}", [other for other in free if other.endswith(f"/{role.code}")]
                whole = twin and self.chance(50)
                others = [part for part in sold if part.split("-")[1] != "0"]
                fits.append(Fit(at=pattern if whole else path, part=self.pick(others or sold)))
                if whole:
                    free = [other for other in free if other not in twin]
            else:
                fits.append(self.describe(path, role))
        keeps = [free.pop() for _ in range(self.shape.keeps) if free]
        if keeps and self.chance(30):
            keeps.append(keeps[0])
        if self.chance(10) and catalog.kits:
            fits.append(Fit(at="rear/*", kit="kit"))
        return Ask(
            vehicle="v", fit=tuple(fits), keep=tuple(keeps), remove=tuple(removes), in_stock_only=self.chance(20)
        )

    def describe(self, path: str, role: Role) -> Fit:
        kind = self.side(role.kind)
        feature = self.pick(self.kinds[kind].features)
        reading = self.pick(
            [
                ReadingWish(feature=feature, dimension="style", equals=self.pick(STYLES)),
                ReadingWish(feature=feature, dimension="accepts", equals=self.pick(STYLES)),
                ReadingWish(feature=feature, dimension="size", least=self.number()),
                ReadingWish(feature=feature, dimension="size", least=Decimal(0), most=self.number()),
                ReadingWish(feature=feature, dimension="size", equals=str(self.number())),
            ]
        )
        return Fit(at=path, kind=kind, readings=(reading,) if self.chance(50) else ())
