"""Holds what the search found against a reference: the optimum, the preferred plan, every alternative."""

from hypothesis import HealthCheck, assume

from crosspin.knockon.proposal import Conflict, Proposal
from search.answers import held, plan, rank
from search.reference import Reference

SLOW = [HealthCheck.too_slow, HealthCheck.filter_too_much]
BRUTE_LIMIT = 4000
"""Most plans that are all tried."""


def assert_optimum(ref: Reference, found: Proposal | Conflict) -> None:
    """It costs what the integer programme finds to be least, or neither has a plan."""
    best = ref.solve()
    if best is None:
        assert isinstance(found, Conflict)
    else:
        assert isinstance(found, Proposal)
        assert rank(found.cost) == best


def assert_preferred(ref: Reference, found: Proposal | Conflict) -> None:
    """Of all plans it is the preferred one among those that are best; what has too many to try does not count."""
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


def assert_alternatives(ref: Reference, found: Proposal, every_one: bool) -> None:
    """Every alternative costs what the integer programme finds with it, and a change is forced where that finds nothing
    without it.  `every_one` that has a plan is told, or at least every one that takes no more than the plan does in
    safety, functions and changes."""
    domains = ref.domains(ref.every_wish())
    for path, alternatives in found.alternatives.items():
        told = {held(ref, path, a.choice): rank(a.cost) for a in alternatives}
        assert len(told) == len(alternatives)
        expected = {}
        for option in domains[path]:
            best = ref.solve(force={path: option})
            if best is not None and option != held(ref, path, found.choices[path]):
                expected[option] = best
        assert (path in found.forced) == (("received", ref.was[path]) not in expected)
        if not every_one:
            more = {option for option, cost in expected.items() if cost[:3] > rank(found.cost)[:3]}
            expected = {option: cost for option, cost in expected.items() if option in told or option not in more}
        assert told == expected
        assert list(told.values()) == sorted(told.values())
