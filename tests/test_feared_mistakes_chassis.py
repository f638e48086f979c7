"""What shops fear when they change brakes, wheels, steering or springs, and the answer that catches it on the bench.

Each ask is the one that leads into the mistake; what must come back follows by hand from the invented readings
beside each check, from geometry, from definitions, or as common practice without a published source.
"""

from api_client import seed_client
from told_plan import Answer, Told, contradiction, figure, reading

DISCS = [
    {"at": "rear/*/caliper", "part": "sc-1x48-305"},
    {"at": "rear/*/rotor", "part": "ro-305x18-62-6x1397-hat"},
]


def asked(vehicle: str, fit: list[dict[str, str]], **more: list[str]) -> Answer:
    return {"vehicle": vehicle, "fit": fit, **more}


def refusals(vehicle: str, fit: list[dict[str, str]], **more: list[str]) -> list[str]:
    """Why an ask cannot be had."""
    why: list[str] = contradiction(asked(vehicle, fit, **more))["why"]
    return why


def test_wheels_that_do_not_clear_the_new_calipers_are_found_out_before_they_are_bolted_on() -> None:
    # 3 mm all round (common practice): 2 x 187 + 6 = 380 mm asked of the barrel, the 16 in wheel has 370 mm
    calipers = [{"at": "front/*/caliper", "part": "fc-4x44-345"}]
    plan = Told(asked("hill-patrol", calipers))
    for place in ("front/left/wheel", "spare-wheel"):
        assert "370 mm" in plan.why(place)
        assert "187 mm" in plan.why(place)
    refused = contradiction(asked("hill-patrol", calipers, keep=["front/*/wheel"]))
    assert {wish["id"] for wish in refused["wishes"]} == {"fit/0", "keep/0"}
    assert any("The barrel of the wheel is 370 mm" in why for why in refused["why"])


def test_a_wheel_of_unknown_barrel_is_measured_and_not_trusted() -> None:
    # the barrel of this wheel is not on record: nothing unknown is ever said to fit
    assert reading("wh-17x8-6x1397-12-u", "caliperRoom.barrelDiameter") == []
    calipers = {"at": "front/*/caliper", "part": "fc-4x44-345"}
    plan = Told(asked("hill-patrol", [{"at": "front/*/wheel", "part": "wh-17x8-6x1397-12-u"}, calipers]))
    lines = [m for m in plan.plan["measurements"] if m["dimension"] == "barrel diameter"]
    assert {m["position"] for m in lines} == {"front/left/wheel", "front/right/wheel"}
    assert all(m["safety_critical"] and "barrel" in m["how"] for m in lines)
    assert plan.plan["cost"]["unsafe_unknowns"] > 0
    # left free to choose, the wheels are ones whose barrel is known
    free = Told(asked("hill-patrol", [calipers]))
    assert float(reading(free.part("front/left/wheel"), "caliperRoom.barrelDiameter")[0]) >= 380


def test_front_hubs_of_another_bolt_circle_would_leave_the_spare_useless() -> None:
    # five holes on 139.7 mm against six: any wheel of a set goes on any hub (common practice)
    hubs = [{"at": "front/*/hub", "part": "sh-118-5x1397-48"}]
    why = refusals("hill-patrol", hubs, keep=["rear/*/axle-shaft", "spare-wheel"])
    assert "The spare wheel has 6 holes, the front hub 5 studs." in why


def test_a_tie_rod_end_of_another_taper_is_not_drawn_up_tight() -> None:
    # 1:10 against 1:8 (1.5 in a foot): the cones touch at one end only, and neither reaming nor a sleeve mends that
    ends = [{"at": f"front/{side}/tie-rod-end", "part": f"te-787-110-{side[0]}"} for side in ("left", "right")]
    why = refusals("hill-patrol", ends, keep=["front/*/knuckle"])
    assert any("0.1 of its length" in line and "0.125" in line for line in why)


def test_a_larger_stud_of_the_same_taper_is_reamed_for_and_a_smaller_one_is_not() -> None:
    # 0.722 in into a 0.640 in hole: material comes off; 0.640 in into 0.722 in would sink 0.656 in (geometry)
    large, small = (
        [{"at": f"front/{side}/tie-rod-end", "part": f"te-{size}-{side[0]}"} for side in ("left", "right")]
        for size in ("722", "640")
    )
    plan = Told(asked("hill-patrol", large, keep=["front/*/knuckle"]))
    assert plan.remedies("front/left/knuckle") == [("openTaper", None)]
    assert "taperContactCheck" in plan.checks()
    assert any("sinks through" in line for line in refusals("trail-wagon", small, keep=["front/*/knuckle"]))


def test_a_drum_valve_is_not_left_in_a_disc_circuit() -> None:
    # 10 psi kept for drums; discs drag above 2 psi (common practice)
    plan = Told(asked("farm-hauler", DISCS))
    assert plan.remedies("master-cylinder") == [("removeResidualValve", None)]
    assert plan.work().count("takeOutResidualValve") == 1


def test_a_truck_with_new_discs_is_not_handed_over_without_a_parking_brake() -> None:
    # the works lever pulls drums that are gone: UN Regulation No. 13 asks for hold (from memory)
    plan = Told(asked("farm-hauler", DISCS))
    assert plan.part("park-brake") == "pb-hat"
    assert "parkBrakeHoldCheck" in plan.checks()
    assert "adjustParkBrake" in plan.work()
    why = refusals("farm-hauler", DISCS, remove=["park-brake"])
    assert any("parking brake before it is handed over" in line for line in why)
    assert any("drum" in line for line in refusals("farm-hauler", DISCS, keep=["park-brake"]))


def test_a_pedal_that_would_go_long_is_seen_in_the_volume() -> None:
    # two thirds of 36 mm of 22.2 mm bore is 9.3 cm3, a quarter of it 2.3 cm3 for each wheel; two pistons of
    # 51 mm on one side take 2 x 2 x pi/4 x 5.1^2 x 0.03 = 2.451 cm3 at 0.3 mm of pad travel (geometry)
    answer = seed_client().get("/v1/fit", params={"one": "mc-222", "other": "sc-2x51-345"}).json()
    assert answer["verdict"] == "clashes"
    told = [c["sentence"] for c in answer["criteria"] if c["joint_kind"] == "masterFeedsFrontCaliper"]
    assert any("0.002299" in line and "0.002451" in line for line in told)


def test_rear_wheels_that_lock_first_are_told_with_the_new_balance() -> None:
    # Tf 2748.4 N.m (0.38, 8.5 MPa, 2 x 46 mm at 128 mm), Tr 1613.2 N.m (1 x 48 mm at 138 mm): share 0.6301;
    # the ideal share at 0.8 of gravity is 0.48 + 0.8 x 0.82 / 3.10 = 0.6916 (mechanics of the braked vehicle)
    plan = Told(asked("farm-hauler", DISCS))
    # a valve of knee 3.5 MPa and slope 0.4 leaves the rear 5.5 of 8.5 MPa: 1043.8 N.m, share 0.7247
    assert figure(plan, "brakeShare/vehicle")["after"] == "0.7247"
    assert figure(plan, "idealShare/vehicle")["after"] == "0.6916"
    assert "brakeBalanceCheck" in plan.checks()
    assert plan.part("proportioning-valve") == "pv-disc"


def test_a_valve_that_is_set_by_hand_leaves_the_balance_open_until_it_is_set() -> None:
    valve = [*DISCS, {"at": "proportioning-valve", "part": "pv-adj"}]
    plan = Told(asked("farm-hauler", valve))
    assert figure(plan, "brakeShare/vehicle")["after"] is None
    assert figure(plan, "rearLocksAbove/vehicle")["verdict"] == "unknown"
    assert {
        ("proportioning-valve", "knee pressure"),
        ("proportioning-valve", "slope above the knee"),
    } <= plan.measured()
    work = plan.work()
    assert work.index("bleedBrakes") < work.index("setProportioningValve")


def test_a_tone_ring_of_another_count_is_refused() -> None:
    # 52 teeth where 48 are counted on: every speed would read 52 / 48 - 1 = 8.33 % high (definition)
    hubs = [{"at": "front/*/hub", "part": "sh-118-6x1397-52"}]
    why = refusals("hill-patrol", hubs, keep=["brake-control-unit"])
    assert any("52 teeth" in line and "48" in line for line in why)


def test_another_ratio_says_that_the_speed_signal_is_off() -> None:
    # 41/11 in place of 39/10 at both ends (definition)
    plan = Told(asked("farm-hauler", [{"at": "front/gear-set", "part": "rp-815-4111-s"}]))
    assert plan.part("rear/gear-set") == "rp-845-4111-s"
    assert "speedSignal/vehicle" in plan.checks()


def test_another_tyre_is_written_into_the_control_unit() -> None:
    # 265/70 on 16 in is 777.4 mm, 3.3 % under the 803.9 mm that the unit is set for (definition of the size)
    places = ("front/*/tyre", "rear/*/tyre", "spare-tyre")
    plan = Told(asked("hill-patrol", [{"at": at, "part": "ty-265-70-16"} for at in places]))
    assert plan.remedies("brake-control-unit") == [("recalibrateSpeedSignal", None)]


def test_hoses_and_leads_too_short_at_droop_are_found_before_the_axle_hangs() -> None:
    # springs 50 mm up: the rear hose of 430 mm bridges 267 aside and 320 down, 416.8 mm, and 20 must stay (geometry)
    rear = Told(asked("hill-patrol", [{"at": "rear/*/spring", "part": "co-103-830-50"}]))
    # in front the hose of 520 mm serves 322 aside and 350 down, 475.6 mm, but the lead of 600 mm does not serve 620 mm
    front = Told(asked("hill-patrol", [{"at": "front/*/spring", "part": "co-103-620-50"}]))
    for side in ("left", "right"):
        assert rear.part(f"rear/{side}/brake-hose") == "bh-bm10x10-im10x10-520"
        assert "has 13.2 mm in hand" in rear.why(f"rear/{side}/brake-hose")
        assert f"front/{side}/brake-hose" in front.stays
        assert front.remedies(f"front/{side}/wheel-speed-sensor") == [("extendLead", "lx-a")]
    for plan in (rear, front):
        assert {"liftReachCheck", "hoseTravelCheck"} <= plan.checks()
