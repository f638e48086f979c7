"""The search finds the optimum: held against an integer programme and against trying every plan.

The reference reads the published JSON and shares no code with the search (see search/reference.py); the
integer programme is solved by OR-Tools CP-SAT.
"""

from hypothesis import HealthCheck, assume, given, settings

from crosspin.knockon.proposal import Conflict, Proposal
from search.answers import answer, held, plan, plan_of, rank, reference
from search.worlds import World, worlds

SLOW = [HealthCheck.too_slow, HealthCheck.filter_too_much]
BRUTE_LIMIT = 4000


@settings(max_examples=300, deadline=None, suppress_health_check=SLOW)
@given(worlds())
def test_cost_is_the_optimum(world: World) -> None:
    found = answer(world)
    best = reference(world).solve()
    if best is None:
        assert isinstance(found, Conflict)
    else:
        assert isinstance(found, Proposal)
        assert rank(found.cost) == best


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
    ref = reference(world)
    size = 1
    for domain in ref.domains(ref.every_wish()).values():
        size *= len(domain)
    assume(size <= BRUTE_LIMIT)
    plans = list(ref.enumerate_plans(ref.every_wish()))
    if not plans:
        assert isinstance(found, Conflict)
        return
    assert isinstance(found, Proposal)
    best = min(cost for _, cost in plans)
    equal = [candidate for candidate, cost in plans if cost == best]
    assert rank(found.cost) == best
    assert plan(ref, found) == min(equal, key=ref.preference)


@settings(max_examples=120, deadline=None, suppress_health_check=SLOW)
@given(worlds(most_roles=6, most_parts=5))
def test_every_alternative_costs_what_the_whole_plan_costs_with_it(world: World) -> None:
    """Every value of every changed position is an alternative at its forced optimum, or no plan has it."""
    found = plan_of(world)
    ref = reference(world)
    domains = ref.domains(ref.every_wish())
    for path, alternatives in found.alternatives.items():
        told = {held(ref, path, a.choice): rank(a.cost) for a in alternatives}
        assert len(told) == len(alternatives)
        expected = {}
        for option in domains[path]:
            best = ref.solve(force={path: option})
            if best is not None and option != held(ref, path, found.choices[path]):
                expected[option] = best
        assert told == expected
        assert list(told.values()) == sorted(told.values())
