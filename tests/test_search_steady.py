"""The same question has the same answer, and related questions have related answers."""

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from crosspin.knockon.ask import Ask, Fit
from crosspin.knockon.proposal import Proposal, State
from crosspin.knockon.search import Searcher, propose
from search.answers import answer, cheaper_copy, plan_of
from search.worlds import World, shuffled, with_parts, worlds

SLOW = [HealthCheck.too_slow, HealthCheck.filter_too_much]


@settings(max_examples=80, deadline=None, suppress_health_check=SLOW)
@given(worlds(), st.integers(0, 1000))
def test_the_order_of_the_records_does_not_matter(world: World, seed: int) -> None:
    assert repr(answer(world)) == repr(answer(shuffled(world, seed)))


@settings(max_examples=40, deadline=None, suppress_health_check=SLOW)
@given(worlds())
def test_a_used_searcher_answers_like_a_new_one(world: World) -> None:
    first = answer(world)
    searcher = Searcher(world.model, world.catalog)
    with ThreadPoolExecutor(3) as pool:
        answers = list(pool.map(searcher.propose, [world.ask] * 4))
    assert {repr(found) for found in answers} == {repr(first)}


@settings(max_examples=150, deadline=None, suppress_health_check=SLOW)
@given(worlds())
def test_handing_over_changes_nothing(world: World) -> None:
    """Large networks are handed over; here even small ones are.  Then an alternative may be left out that takes safety
    or functions from the plan, and a part that no plan has, where only a look so far would tell (`solve.FAR_STEPS`)."""
    whole = answer(world)
    handing_over = Searcher(world.model, world.catalog, quick_limit=0).propose(world.ask)
    if isinstance(whole, Proposal) and isinstance(handing_over, Proposal):
        told = {
            path: tuple(
                one
                for one in found
                if one in handing_over.alternatives[path]
                or (one.cost.unsafe, one.cost.lost) == (whole.cost.unsafe, whole.cost.lost)
            )
            for path, found in whole.alternatives.items()
        }
        ruled_out = {
            path: tuple(one for one in found if one in handing_over.ruled_out[path])
            for path, found in whole.ruled_out.items()
        }
        whole = replace(whole, alternatives=told, ruled_out=ruled_out)
    assert repr(whole) == repr(handing_over)


@settings(max_examples=60, deadline=None, suppress_health_check=SLOW)
@given(worlds(), st.data())
def test_what_is_taken_over_from_an_earlier_catalog_changes_nothing(world: World, data: st.DataObject) -> None:
    """Parts that come, go, cost something else or are described by another's specs."""
    answer(world)
    before = Searcher(world.model, world.catalog)
    before.propose(world.ask)
    parts = dict(world.catalog.parts)
    one, other = (parts[data.draw(st.sampled_from(sorted(parts)))] for _ in range(2))
    assume(one.price is not None)
    match data.draw(st.sampled_from(["cheaper", "more", "fewer", "like another"])):
        case "cheaper":
            parts[one.id] = cheaper_copy(one).model_copy(update={"id": one.id})
        case "more":
            parts[cheaper_copy(one).id] = cheaper_copy(one)
        case "fewer":
            del parts[one.id]
            assume(not any(one.id in vehicle.parts.values() for vehicle in world.catalog.vehicles.values()))
        case _:
            assume(other.kind == one.kind)
            parts[one.id] = other.model_copy(update={"id": one.id, "price": one.price})
    later = with_parts(world, dict(sorted(parts.items())))
    taking_over = Searcher(later.model, later.catalog, before=before)
    assert repr(answer(later)) == repr(taking_over.propose(later.ask))


@settings(max_examples=80, deadline=None, suppress_health_check=SLOW)
@given(worlds(), st.data())
def test_another_part_never_makes_the_plan_worse(world: World, data: st.DataObject) -> None:
    found = plan_of(world)
    name = data.draw(st.sampled_from(sorted(world.catalog.parts)))
    copy = cheaper_copy(world.catalog.parts[name])
    more = with_parts(world, dict(sorted({**world.catalog.parts, copy.id: copy}.items())))
    better = answer(more)
    assert isinstance(better, Proposal)
    assert better.cost <= found.cost


@settings(max_examples=80, deadline=None, suppress_health_check=SLOW)
@given(worlds())
def test_asking_for_what_the_plan_has_gives_the_plan(world: World) -> None:
    """Ask for every change of the plan by part id, and keep the rest: nothing else comes out, and nothing
    is extra."""
    found = plan_of(world)
    changed = {path: c for path, c in found.choices.items() if c.state is not State.RECEIVED}
    assume(changed)
    again = Ask(
        vehicle=world.ask.vehicle,
        fit=tuple(Fit(at=path, part=c.part) for path, c in changed.items() if c.part is not None),
        remove=tuple(path for path, c in changed.items() if c.part is None),
        keep=tuple(path for path in found.choices if path not in changed),
        in_stock_only=world.ask.in_stock_only,
    )
    # A fresh copy of the received part would be satisfied by the received one; that is another question.
    assume(all(world.catalog.vehicles["v"].parts.get(path) != c.part for path, c in changed.items() if c.part))
    same = propose(world.model, world.catalog, again)
    assert isinstance(same, Proposal)
    assert same.choices == found.choices
    assert same.mendings == found.mendings
    assert same.cost.extra == 0
    assert (same.cost.unsafe, same.cost.unknown, same.cost.money) == (
        found.cost.unsafe,
        found.cost.unknown,
        found.cost.money,
    )
