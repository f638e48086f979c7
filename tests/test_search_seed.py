"""Asks about the seed vehicles, held against the reference's integer programme (OR-Tools CP-SAT)."""

from functools import cache

import pytest

from crosspin.knockon.ask import Ask
from crosspin.knockon.proposal import Proposal
from crosspin.knockon.search import Searcher
from search.answers import catalog_json, plan, rank, without_figures
from search.reference import Reference
from seed import ROOT, seed_library


@cache
def searcher() -> Searcher:
    holdings = seed_library().holdings
    return Searcher(without_figures(holdings.model), holdings.catalog)


ASKS = {
    "one front housing and much with it": (ROOT / "seed_data/asks/hill-patrol.json").read_text(encoding="utf-8"),
    "any air locker at both ends, nothing kept": (
        '{"vehicle": "hill-patrol", "fit": [{"at": "*/carrier", "kind": "AirLocker"}]}'
    ),
}


@pytest.mark.parametrize("text", ASKS.values(), ids=ASKS.keys())
def test_seed_plans_are_optimal(text: str) -> None:
    holdings = seed_library().holdings
    ask = Ask.model_validate_json(text)
    found = searcher().propose(ask)
    assert isinstance(found, Proposal)
    ref = Reference(holdings.model.model_dump(mode="json"), catalog_json(holdings.catalog), ask.model_dump(mode="json"))
    assert ref.rank(plan(ref, found), ref.every_wish()) == rank(found.cost)
    assert ref.solve() == rank(found.cost)
