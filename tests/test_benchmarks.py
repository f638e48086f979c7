"""What the benchmark compares is comparable: its catalogs, and the questions as other engines are given them."""

from pathlib import Path

from benchmarks import asks
from benchmarks.generate import Generator
from benchmarks.instance import Asked, packed
from benchmarks.one_hop import by_sparql, hops, ours, pyoxigraph, triples
from benchmarks.reduce import reduced
from benchmarks.rows import Goal, Row, seconds, table
from benchmarks.solvers import cp_sat
from crosspin.knockon.proposal import Proposal
from crosspin.knockon.search import Searcher
from search.answers import rank, without_figures
from seed import seed_desk


def written(folder: Path, size: int, seed: int = 1) -> dict[str, list[str]]:
    """The lines of every file of a catalog."""
    holdings = seed_desk().holdings
    Generator(holdings.model, holdings.catalog, seed, designs=200, signatures=300).write(size, folder)
    return {path.name: path.read_text().splitlines() for path in sorted(folder.glob("*.csv"))}


def test_catalogs_follow_from_the_seed_and_contain_smaller_ones(tmp_path: Path) -> None:
    small, again, large, other = (
        written(tmp_path / name, size, seed)
        for name, size, seed in (("a", 600, 1), ("b", 600, 1), ("c", 1_800, 1), ("d", 600, 2))
    )
    assert small == again
    assert small != other
    assert sum(len(lines) - 2 for lines in small.values()) == 600
    assert all(large[name][: len(lines)] == lines for name, lines in small.items())


def test_an_integer_programme_of_the_reduced_problem_finds_what_the_search_finds() -> None:
    desk = seed_desk()
    ask = asks.shipped()["farm-hauler"]
    model, catalog = without_figures(desk.holdings.model), desk.holdings.catalog
    found = Searcher(model, catalog).propose(ask)
    assert isinstance(found, Proposal)
    best = packed(rank(found.cost))
    whole = Asked(model, catalog, ask).collapsed()
    small = reduced(whole)
    chosen = cp_sat(small)
    assert chosen is not None
    assert small.cost(chosen) == best
    assert small.size < whole.size / 2


def test_one_hop_in_sparql_is_what_the_desk_says() -> None:
    desk = seed_desk()
    model, catalog = desk.holdings.model, desk.holdings.catalog
    engine = pyoxigraph(triples(model, catalog))
    asked = hops(model, catalog, list(asks.shipped().values()), most=12)
    answers = [ours(desk, hop) for hop in asked]
    assert answers == [by_sparql(model, catalog, hop, engine) for hop in asked]
    assert any(answer.misfits for answer in answers)
    assert any(found for answer in answers for found in answer.offers.values())


def test_figures_are_spelled_and_goals_are_judged() -> None:
    assert [seconds(value) for value in (61.26, 0.123456, 0.0000123)] == ["61.3 s", "123 ms", "12.3 µs"]
    rows = [Row("a", "", "ours", 1_000, 0.5), Row("a", "", "another", 1_000, None, "> 60 s")]
    assert table(rows)[2:] == ["| ours | 500 ms |", "| another | > 60 s |"]
    assert Goal("as fast", 4.0, 2.0).line() == "- as fast: 4; **met**."
    assert Goal("as slow", 4.0, 2.0, at_least=False).line() == "- as slow: 4; **missed** by a factor of 2."
    assert Goal("as far", None, 2.0).line() == "- as far: not measured."
