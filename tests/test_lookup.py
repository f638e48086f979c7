"""Finding by what somebody types: words begun, readings in any unit, sizes as people write them."""

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api_client import seed_client
from crosspin.catalog.lookup import Lookup, Wanted
from crosspin.catalog.query_text import terms
from seed import orderable, seed_desk, seed_library


@pytest.fixture(scope="module")
def lookup() -> Lookup:
    holdings = seed_desk().holdings
    return Lookup(holdings.model, holdings.catalog)


def found(lookup: Lookup, text: str, limit: int = 200) -> set[str]:
    return {part.id for part in lookup.find(text, limit).parts}


def having(feature: str, dimension: str, value: str) -> set[str]:
    """The parts with a reading, looked for one by one."""
    catalog = seed_desk().holdings.catalog
    return {
        part.id
        for part in catalog.parts.values()
        if feature in part.specs and Decimal(value) in catalog.specs[part.specs[feature]].values.get(dimension, ())
    }


@pytest.mark.parametrize(
    ("text", "feature", "dimension", "value"),
    [
        ("33 teeth", "sideGearSpline", "toothCount", "33"),
        ("teeth 33", "sideGearSpline", "toothCount", "33"),
        # 8.95 x 25.4 = 227.33, an inch being 25.4 mm exactly
        ("8.95 in ring", "gearMesh", "ringDiameter", "227.33"),
        ("8.95in ring", "gearMesh", "ringDiameter", "227.33"),
        ('8.95" ring', "gearMesh", "ringDiameter", "227.33"),
        ("227.33 mm ring", "gearMesh", "ringDiameter", "227.33"),
        ("22.733 cm ring", "gearMesh", "ringDiameter", "227.33"),
        # 41/10 = 4.1; people write 4.10, or 4,10
        ("4.10", "toothPair", "ratio", "4.1"),
        ("4,10", "toothPair", "ratio", "4.1"),
        ("43/10", "toothPair", "ratio", "4.3"),
        ("ratio 43/10", "toothPair", "ratio", "4.3"),
        # 3 1/8 in = 79.375 mm
        ("3 1/8 in tube", "axleTube", "tubeOutside", "79.375"),
        ("3-1/8 in tube", "axleTube", "tubeOutside", "79.375"),
    ],
)
def test_a_reading_finds_every_part_that_has_it(
    lookup: Lookup, text: str, feature: str, dimension: str, value: str
) -> None:
    wanted = having(feature, dimension, value)
    assert wanted
    assert wanted <= found(lookup, text)


def test_a_rounded_ratio_finds_the_gears(lookup: Lookup) -> None:
    # 41/11 = 3.7272..., told as 3.73
    assert round(Fraction(41, 11), 2) == Fraction(373, 100)
    assert {"rp-895-4111-r", "rp-96-4111-s"} <= found(lookup, "3.73")


def test_a_bolt_circle_is_two_readings(lookup: Lookup) -> None:
    wanted = having("wheelHoles", "holeCount", "6") & having("wheelHoles", "pitchCircle", "139.7")
    for text in ("6x139.7", "6 x 139.7", "6×139.7"):
        assert wanted <= found(lookup, text)
    offered = {w.readings for w in lookup.find("6x139.7").kinds if w.kind == "Wheel"}
    assert offered == {(("wheelHoles.holeCount", "6"), ("wheelHoles.pitchCircle", "139.7"))}


def test_sizes_of_tyres_and_threads(lookup: Lookup) -> None:
    assert "ty-265-70-17" in found(lookup, "265/70R17")
    assert "ty-265-70-16" not in found(lookup, "265/70R17")
    assert "te-722-l" in found(lookup, "7/8-18 left")
    assert "bh-b38-24-im10x10-520" in found(lookup, "m10x1.0 banjo")
    assert found(lookup, "5/8-18 zebra") == set()


def test_the_list_narrows_with_every_key(lookup: Lookup) -> None:
    typed = "air locker 33"
    before = found(lookup, "air", 5000)
    for end in range(4, len(typed) + 1):
        if typed[end - 1] != " " and not typed[:end].endswith(" 3"):
            now = found(lookup, typed[:end], 5000)
            assert now <= before
            before = now
    assert "al-895-33" in before


def test_whole_words_come_before_begun_ones_and_an_id_before_all(lookup: Lookup) -> None:
    assert lookup.find("al-895-33").parts[0].id == "al-895-33"
    assert all("locker" in part.label.lower() for part in lookup.find("locker", 5).parts)
    gears = lookup.find("4.10", 5).parts
    assert {part.kind for part in gears} == {"RingAndPinionSet"}


def test_kinds_are_offered_as_wishes(lookup: Lookup) -> None:
    assert Wanted("AirLocker", ()) in lookup.find("locker, air-operated").kinds
    assert Wanted("RingAndPinionSet", (("toothPair.ratio", "4.3"),)) in lookup.find("ratio 43/10").kinds
    assert Wanted("AirLocker", (("sideGearSpline.toothCount", "33"),)) in lookup.find("air locker 33").kinds
    assert Wanted("Carrier", (("sideGearSpline.toothCount", "33"),)) in lookup.find("33 teeth").kinds


def test_every_offered_wish_can_be_asked_for(lookup: Lookup) -> None:
    """The readings of an offered wish are those of its kind, and some part has them all."""
    model = seed_desk().holdings.model
    for text in ("33 teeth", "6x139.7", "8.95 in", "4.1", "1.21", "air locker 33"):
        for wanted in lookup.find(text).kinds:
            for place, _ in wanted.readings:
                feature, _, dimension = place.partition(".")
                assert feature in model.kinds[wanted.kind].features
                assert dimension in model.feature_kinds[model.features[feature].feature_kind].dimensions
            assert orderable(seed_library(), wanted.kind)


def test_a_limit_is_kept_and_said(lookup: Lookup) -> None:
    few = lookup.find("shaft", 3)
    assert (len(few.parts), few.more) == (3, True)
    assert lookup.find("al-895-33", 10).more is False
    assert lookup.find("").parts == ()


@given(st.text(max_size=60))
def test_whatever_is_typed_is_answered(text: str) -> None:
    assert len(seed_desk().find(text, 5).parts) <= 5


@pytest.mark.parametrize("text", ['"', "*", "NEAR(", "a OR b", "name:x", "-", "()", "'; DROP TABLE found", "^x", "1/0"])
def test_signs_of_the_query_language_are_only_text(lookup: Lookup, text: str) -> None:
    lookup.find(text)


def test_numbers_are_read_as_people_write_them() -> None:
    units = {"in": "IN", "mm": "MilliM", '"': "IN"}
    told = {
        text: [(t.number, t.unit) for t in terms(text, units)] for text in ("3 1/8 in", "6x139.7", "33-tooth", "al-895")
    }
    assert told["3 1/8 in"] == [(Decimal("3.125"), "IN")]
    assert told["6x139.7"] == [(Decimal(6), None), (Decimal("139.7"), None)]
    assert told["33-tooth"] == [(None, None)]
    assert told["al-895"] == [(None, None)]


def test_programs_find_what_the_counter_finds() -> None:
    sheet = seed_client().get("/v1/find", params={"text": "33 teeth", "limit": 5}).json()
    assert len(sheet["parts"]) == 5
    assert sheet["more"] is True
    wish = next(w for w in sheet["wishes"] if w["kind"] == "Carrier")
    ask = {"vehicle": "hill-patrol", "fit": [{"at": "front/carrier", **wish}]}
    assert seed_client().post("/v1/knock-on", json=ask).status_code == 200
