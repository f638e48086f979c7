"""A conflict is one, is minimal, and its ways out are the cheapest: by the reference's integer programme."""

from hypothesis import HealthCheck, given, settings

from crosspin.knockon.proposal import Conflict
from search.answers import conflict_of, rank, reference
from search.reference import Reference
from search.worlds import World, worlds

SLOW = [HealthCheck.too_slow, HealthCheck.filter_too_much]


def contradict(ref: Reference, wishes: frozenset[str]) -> bool:
    return ref.solve(wishes) is None


@settings(max_examples=120, deadline=None, suppress_health_check=SLOW)
@given(worlds())
def test_a_conflict_is_one_and_no_member_is_spare(world: World) -> None:
    found = conflict_of(world)
    ref = reference(world)
    wishes = frozenset(found.wishes)
    assert contradict(ref, wishes)
    for wish in wishes:
        assert not contradict(ref, wishes - {wish})


@settings(max_examples=80, deadline=None, suppress_health_check=SLOW)
@given(worlds(most_roles=5, most_parts=5))
def test_ways_out_are_the_cheapest(world: World) -> None:
    found = conflict_of(world)
    ref = reference(world)
    everything = ref.every_wish()
    for way in found.ways_out:
        best = ref.solve(everything - set(way.give_up))
        assert best == rank(way.cost)
    for wish in found.wishes:
        through = [way for way in found.ways_out if wish in way.give_up]
        assert min((len(way.give_up), rank(way.cost)) for way in through) == ref.best_ways_out(wish)
    first = found.ways_out[0]
    assert (len(first.give_up), rank(first.cost)) == ref.best_ways_out()
    assert ordered(found)


def ordered(found: Conflict) -> bool:
    keys = [(len(way.give_up), rank(way.cost)) for way in found.ways_out]
    return keys == sorted(keys) and len(set(found.ways_out)) == len(found.ways_out)
