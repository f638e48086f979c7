"""The two sides of an axle are alike: what is changed on one side only, each led into over HTTP.

Common practice, no published source: unlike brakes pull a vehicle to one side, unlike wheel ends drive one wheel.
"""

import pytest

from seed import seed_library
from told_plan import Told, answer, ask_of, contradiction, reading


def wishes(ask: dict[str, object]) -> list[str]:
    return [wish["id"] for wish in contradiction(ask)["wishes"]]


@pytest.mark.parametrize(
    ("position", "part", "why"),
    [
        ("caliper", "fc-4x44-345", "One caliper has pistons of 44 mm, the other on this axle of 45.4 mm"),
        ("caliper", "fc-4x44-345", "is a fixed caliper, so the one opposite must be fixed too"),
        ("rotor", "ro-345x30-52-6x1397", "One disc is 345 mm across, the other on this axle 297 mm"),
        ("rotor", "ro-345x30-52-6x1397", "One disc is 30 mm thick when new, the other on this axle 28 mm"),
        ("hub", "ub-118-6x1397-48", "is a unit bearing, so the hub opposite must be one too"),
        ("brake-pads", "pd-two-454-hot", "Pads are changed in pairs across the axle"),
        ("drive-end", "df-27-92", "always drives, so the drive end opposite must be a drive flange too"),
    ],
)
def test_the_other_side_follows(position: str, part: str, why: str) -> None:
    told = Told(ask_of("hill-patrol", {f"front/left/{position}": part}))
    assert told.part(f"front/right/{position}") == part or position == "rotor"
    assert why in told.why(f"front/right/{position}")


def test_a_large_disc_on_the_left_brings_both_sides_to_one_size() -> None:
    told = Told(ask_of("hill-patrol", {"front/left/rotor": "ro-345x30-52-6x1397"}))
    for position, readings in {
        "rotor": ("rotorDisc.rotorDiameter", "rotorDisc.rotorThickness"),
        "caliper": ("caliperPistons.pistonCount", "caliperPistons.pistonDiameter"),
        "brake-pads": ("padBody.padCode", "padFriction.frictionCoefficient"),
    }.items():
        left, right = told.part(f"front/left/{position}"), told.part(f"front/right/{position}")
        for place in readings:
            assert reading(left, place) == reading(right, place) != [], (position, place)


@pytest.mark.parametrize(
    ("position", "part", "why"),
    [
        ("caliper", "fc-4x44-345", "is a fixed caliper, so the one opposite must be fixed too"),
        ("rotor", "ro-345x30-52-6x1397", "One disc is 345 mm across, the other on this axle 297 mm"),
        ("hub", "ub-118-6x1397-48", "is a unit bearing, so the hub opposite must be one too"),
        ("drive-end", "df-27-92", "always drives, so the drive end opposite must be a drive flange too"),
    ],
)
def test_where_the_other_side_is_kept_both_wishes_are_named(position: str, part: str, why: str) -> None:
    ask = ask_of("hill-patrol", {f"front/left/{position}": part}, f"front/right/{position}")
    assert wishes(ask) == ["fit/0", "keep/0"]
    assert any(why in sentence for sentence in contradiction(ask)["why"])


def test_two_compounds_and_two_shapes_asked_for_on_one_axle() -> None:
    hot = {"front/left/brake-pads": "pd-two-454-hot", "front/right/brake-pads": "pd-two-454"}
    told = contradiction(ask_of("hill-patrol", hot))
    assert [wish["id"] for wish in told["wishes"]] == ["fit/0", "fit/1"]
    assert (
        "The pads of one side rub with 0.44, those of the other with 0.38; two compounds on one axle pull to one side."
        in (told["why"])
    )


def test_a_larger_drum_brings_the_other_drum_and_both_sets_of_shoes() -> None:
    told = Told(ask_of("farm-hauler", {"rear/left/rotor": "dr-295-60-6x1397"}))
    assert told.part("rear/right/rotor") == "dr-295-60-6x1397"
    assert told.part("rear/left/caliper") == told.part("rear/right/caliper") == "db-295-60"
    # 295.4 and 280.5 mm are the bores of the two drums (seed data)
    assert "One drum is 295.4 mm inside, the other on this axle 280.5 mm" in told.why("rear/right/rotor")


def test_a_disc_beside_one_of_unknown_thickness_is_measured_first() -> None:
    ask = ask_of("orchard-runabout", {"front/left/rotor": "ro-280x24-44-6x1397"}, "front/right/rotor")
    told = Told(ask)
    assert ("front/right/rotor", "rotor thickness") in told.measured()
    (line,) = (m for m in told.plan["measurements"] if m["position"] == "front/right/rotor")
    assert line["safety_critical"]


def test_both_sides_in_one_wish_ask_for_nothing_more() -> None:
    told = Told(ask_of("hill-patrol", {"front/*/brake-pads": "pd-two-454-hot"}))
    assert {step["position"] for step in told.plan["steps"]} == {"front/left/brake-pads", "front/right/brake-pads"}


def test_one_side_may_be_taken_off_for_the_bench() -> None:
    taken = {"vehicle": "hill-patrol", "fit": [], "remove": ["front/left/drive-end"]}
    told = answer(taken)
    assert told["verdict"] == "plan"
    assert [step["position"] for step in told["steps"]] == ["front/left/drive-end"]


def test_no_demo_vehicle_came_with_unlike_sides() -> None:
    for vehicle in seed_library().holdings.catalog.vehicles:
        told = Told({"vehicle": vehicle, "fit": [{"at": "pressure-receiver", "part": "pr-434-a"}]})
        said = [line["joint"] for line in told.plan["discrepancies"]]
        assert not any("AlikeLeftRight" in joint for joint in said), (vehicle, said)


@pytest.mark.parametrize(("vehicle", "axle"), [("hill-patrol", "front"), ("farm-hauler", "rear")])
def test_a_wheel_spacer_brings_its_pair(vehicle: str, axle: str) -> None:
    told = Told(ask_of(vehicle, {f"{axle}/left/wheel-spacer": "wsp-30-6x1397"}))
    assert told.part(f"{axle}/right/wheel-spacer") == "wsp-30-6x1397"
    assert "alone sets one wheel of the axle further out" in told.why(f"{axle}/right/wheel-spacer")
    assert not any(path.endswith(("wheel", "tyre")) for path in told.steps)


def test_a_limit_strap_brings_its_pair_of_equal_length_and_nothing_else() -> None:
    told = Told(ask_of("farm-hauler", {"rear/right/limit-strap": "st-580"}))
    assert told.part("rear/left/limit-strap") == "st-580"
    assert set(told.steps) == {"rear/left/limit-strap", "rear/right/limit-strap"}
    unlike = ask_of("farm-hauler", {"rear/right/limit-strap": "st-580", "rear/left/limit-strap": "st-535"})
    assert any("the two must be alike" in sentence for sentence in contradiction(unlike)["why"])


def test_an_axle_is_full_floating_on_both_sides_or_on_neither() -> None:
    told = Told(ask_of("farm-hauler", {"rear/left/axle-shaft": "ff-33-790"}))
    assert told.part("rear/right/axle-shaft").startswith("ff-33-")
    assert "full-floating on both sides or on neither" in told.why("rear/right/axle-shaft")
