"""Figures whose limits decide and that trigger needs: the search held against an integer programme and every plan.

The reference works figures out on fractions from the published JSON (search/figure_reference.py); the integer
programme is solved by OR-Tools CP-SAT.
"""

from hypothesis import assume, given, settings

from search.answers import answer, catalog_json, plan_of
from search.figure_reference import FigureReference
from search.figure_worlds import figure_worlds, sparse_figure_worlds
from search.judging import SLOW, assert_alternatives, assert_optimum, assert_preferred
from search.worlds import World

MOST_COMBINATIONS = 2_000


def reference(world: World) -> FigureReference:
    """The reference, which is given nothing but JSON; worlds too wide for it do not count."""
    ref = FigureReference(
        world.model.model_dump(mode="json"), catalog_json(world.catalog), world.ask.model_dump(mode="json")
    )
    domains = ref.domains(ref.every_wish())
    combinations = 0
    for parties, _ in ref.deciding():
        size = 1
        for path in parties:
            size *= len(domains[path])
        combinations += size
    assume(combinations <= MOST_COMBINATIONS)
    return ref


@settings(max_examples=250, deadline=None, suppress_health_check=SLOW)
@given(figure_worlds())
def test_cost_with_figures_is_the_optimum(world: World) -> None:
    ref = reference(world)
    assert_optimum(ref, answer(world))


@settings(max_examples=120, deadline=None, suppress_health_check=SLOW)
@given(figure_worlds(most_roles=4, most_parts=3))
def test_plan_with_figures_is_the_preferred_one_of_all_that_are_best(world: World) -> None:
    ref = reference(world)
    assert_preferred(ref, answer(world))


@settings(max_examples=80, deadline=None, suppress_health_check=SLOW)
@given(figure_worlds(most_roles=5, most_parts=4))
def test_every_alternative_with_figures_costs_what_the_whole_plan_costs_with_it(world: World) -> None:
    ref = reference(world)
    assert_alternatives(ref, plan_of(world), every_one=False)


@settings(max_examples=150, deadline=None, suppress_health_check=SLOW)
@given(sparse_figure_worlds())
def test_figures_that_reach_what_is_left_alone(world: World) -> None:
    """Where a figure alone could make a position change, it is changed only if that is best."""
    found = plan_of(world)
    ref = reference(world)
    assert_optimum(ref, found)
    assert_alternatives(ref, found, every_one=False)
