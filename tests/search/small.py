"""One small world made by hand: two shafts in a carrier, a hose, and a lamp on a circuit box."""

from decimal import Decimal

from crosspin.catalog.catalog import Catalog
from crosspin.catalog.snapshot import in_memory
from crosspin.model.schema import (
    Comparator,
    Criterion,
    Datatype,
    Dimension,
    Feature,
    FeatureKind,
    Joint,
    JointKind,
    Kind,
    Kit,
    KitLine,
    Layout,
    Model,
    Part,
    Position,
    Resource,
    Role,
    Scope,
    Severity,
    Shop,
    Spec,
    Vehicle,
)


def small_model() -> Model:
    """The ontology."""
    kinds = {
        name: Kind(id=name, label=name, definition=".", parents=("Part",), ancestors=("Part", name), features=features)
        for name, features in {
            "Box": ("circuits",),
            "Carrier": ("gear",),
            "Hose": (),
            "Lamp": ("draw",),
            "Shaft": ("spline",),
        }.items()
    }
    sided = [
        Position(path=f"front/{side}/shaft", role="shaft", station="front", side=side) for side in ("left", "right")
    ]
    others = [Position(path=name, role=name, station="vehicle") for name in ("box", "carrier", "hose", "lamp")]
    teeth = Criterion(
        id="teeth", left="teeth", comparator=Comparator.EQUALS, right="teeth", says_clash="{left}, {right}"
    )
    joint_kind = JointKind(
        id="shaftInGear", label="shaft in gear", definition=".", left_role="shaft", right_role="carrier",
        left_kind="Shaft", right_kind="Carrier", left_feature="spline", right_feature="gear",
        scope=Scope.SAME_AXLE, criteria=(teeth,),
    )  # fmt: skip
    resource = Resource(
        id="circuits", label="circuits", definition=".", draw_feature="draw", draw_dimension="count",
        supply_feature="circuits", supply_dimension="count", says="{part}", severity=Severity.STOPS_ASSEMBLY,
    )  # fmt: skip
    return Model(
        version="1",
        shop=Shop(currency="EUR", hourly_rate=Decimal(80)),
        kinds=kinds,
        feature_kinds={
            "splines": FeatureKind(id="splines", label="spline", definition=".", dimensions=("cut", "teeth")),
            "loads": FeatureKind(id="loads", label="load", definition=".", dimensions=("count",)),
        },
        features={
            name: Feature(id=name, label=name, definition=".", feature_kind=kind)
            for name, kind in {"circuits": "loads", "draw": "loads", "gear": "splines", "spline": "splines"}.items()
        },
        dimensions={
            "count": Dimension(
                id="count", label="count", definition=".", feature_kind="loads", datatype=Datatype.INTEGER,
                how_to_measure="Count.",
            ),
            "cut": Dimension(
                id="cut", label="cut", definition=".", feature_kind="splines", datatype=Datatype.CODE,
                how_to_measure="Look.", codes=("coarse", "fine"),
            ),
            "teeth": Dimension(
                id="teeth", label="teeth", definition=".", feature_kind="splines", datatype=Datatype.INTEGER,
                how_to_measure="Count.",
            ),
        },
        roles={
            name: Role(
                id=name, label=name, definition=".", code=name, kind=name.capitalize(), stations=(),
                sided=name == "shaft", may_be_empty=name in ("hose", "lamp"),
            )
            for name in ("box", "carrier", "hose", "lamp", "shaft")
        },
        joint_kinds={"shaftInGear": joint_kind},
        needs={},
        renewals={},
        resources={"circuits": resource},
        remedies={},
        consequences={},
        operations={},
        consumables={},
        checks={},
        cautions={},
        evidence={},
        layouts={
            "l": Layout(
                id="l", label="l", definition=".",
                positions=tuple(sided + others),
                joints=tuple(
                    Joint(id=f"shaftInGear/{p.path}--carrier", joint_kind="shaftInGear", left=p.path, right="carrier")
                    for p in sided
                ),
                pairings=(),
            )
        },
    )  # fmt: skip


def small_catalog() -> Catalog:
    """The catalog: shafts and carriers of 27 and 33 teeth, boxes of one and three circuits."""
    specs = {
        f"t{teeth}": Spec(id=f"t{teeth}", feature_kind="splines", values={"teeth": (Decimal(teeth),), "cut": ("fine",)})
        for teeth in (27, 33)
    }
    specs |= {
        f"c{count}": Spec(id=f"c{count}", feature_kind="loads", values={"count": (Decimal(count),)})
        for count in (1, 2, 3)
    }
    parts = [
        Part(id="box-1", kind="Box", label="box", price=Decimal(50), specs={"circuits": "c1"}),
        Part(id="box-3", kind="Box", label="box", price=Decimal(90), specs={"circuits": "c3"}),
        Part(id="carrier-27", kind="Carrier", label="carrier", price=Decimal(300), stock=1, specs={"gear": "t27"}),
        Part(id="carrier-33", kind="Carrier", label="carrier", price=Decimal(400), stock=0, specs={"gear": "t33"}),
        Part(id="carrier-old", kind="Carrier", label="old carrier", specs={"gear": "t27"}),
        Part(id="hose", kind="Hose", label="hose", price=Decimal(12)),
        Part(id="lamp-2", kind="Lamp", label="lamp", price=Decimal(30), specs={"draw": "c2"}),
        Part(id="shaft-27", kind="Shaft", label="shaft", price=Decimal(110), stock=4, specs={"spline": "t27"}),
        Part(id="shaft-33", kind="Shaft", label="shaft", price=Decimal(150), stock=2, specs={"spline": "t33"}),
        Part(id="shaft-33b", kind="Shaft", label="dear shaft", price=Decimal(170), stock=2, specs={"spline": "t33"}),
        Part(id="shaft-blank", kind="Shaft", label="shaft", price=Decimal(10)),
    ]
    kits = [
        Kit(id="pair", label="pair", price=Decimal(280), lines=(KitLine(part="shaft-33", quantity=2),)),
        Kit(id="single", label="single", price=Decimal(140), lines=(KitLine(part="shaft-33", quantity=1),)),
    ]
    held = {
        "box": "box-1", "carrier": "carrier-old", "front/left/shaft": "shaft-27", "front/right/shaft": "shaft-27",
        "hose": "hose",
    }  # fmt: skip
    return in_memory(parts, specs.values(), kits, [Vehicle(id="v", label="v", layout="l", parts=held)])


def with_vehicle(catalog: Catalog, vehicle: Vehicle) -> Catalog:
    """The same catalog with this vehicle only."""
    return in_memory(catalog.parts.values(), catalog.specs.values(), catalog.kits.values(), [vehicle])
