"""The search finds the optimum: held against an integer programme and against trying every plan.

The reference reads the published JSON and shares no code with the search (see search/reference.py); the
integer programme is solved by OR-Tools CP-SAT.
"""

from hypothesis import given, settings

from search.answers import answer, plan, plan_of, rank, reference
from search.judging import SLOW, assert_alternatives, assert_optimum, assert_preferred
from search.worlds import World, worlds


@settings(max_examples=300, deadline=None, suppress_health_check=SLOW)
@given(worlds())
def test_cost_is_the_optimum(world: World) -> None:
    found = answer(world)
    assert_optimum(reference(world), found)


@settings(max_examples=100, deadline=None, suppress_health_check=SLOW)
@given(worlds())
def test_plan_costs_what_it_says(world: World) -> None:
    found = plan_of(world)
    ref = reference(world)
    chosen = plan(ref, found)
    assert sorted(chosen) == ref.paths
    domains = ref.domains(ref.every_wish())
    assert all(chosen[path] in domains[path] for path in ref.paths)
    assert ref.rank(chosen, ref.every_wish()) == rank(found.cost)


@settings(max_examples=120, deadline=None, suppress_health_check=SLOW)
@given(worlds(most_roles=4, most_parts=3))
def test_plan_is_the_preferred_one_of_all_that_are_best(world: World) -> None:
    found = answer(world)
    assert_preferred(reference(world), found)


@settings(max_examples=120, deadline=None, suppress_health_check=SLOW)
@given(worlds(most_roles=6, most_parts=5))
def test_every_alternative_costs_what_the_whole_plan_costs_with_it(world: World) -> None:
    found = plan_of(world)
    assert_alternatives(reference(world), found, every_one=True)
