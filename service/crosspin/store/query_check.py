"""Says whether a SPARQL query may run: read-only, over our own graphs, without asking other servers.

The query is parsed and its tree inspected, so that no spelling of a keyword slips through and no literal
or comment that happens to contain one is refused.
"""

from collections.abc import Collection, Iterator
from typing import Any

from rdflib.plugins.sparql.algebra import translateQuery
from rdflib.plugins.sparql.parser import parseQuery
from rdflib.plugins.sparql.parserutils import CompValue


class QueryRefused(ValueError):
    """A query that is not run: `wrong` says why, `mend` what would be right."""

    def __init__(self, wrong: str, mend: str) -> None:
        super().__init__(f"{wrong}. {mend}")
        self.wrong = wrong
        self.mend = mend


def check_query(query: str, base: str, graphs: Collection[str]) -> bool:
    """Whether the query names its own dataset (FROM, FROM NAMED).

    Raises QueryRefused where it cannot be read, is an update, asks another server, or names a graph
    that is not one of ours.
    """
    try:
        parsed = translateQuery(parseQuery(query), base=base)
    except RecursionError:
        raise QueryRefused("the query is nested too deeply", "Write it flatter") from None
    except Exception as error:  # rdflib raises bare Exception for unknown prefixes and the like
        line = getattr(error, "lineno", None)
        place = f" at line {line}, column {getattr(error, 'column', 1)}" if line else ""
        raise QueryRefused(
            f"the query cannot be read{place}",
            "Write one SPARQL 1.1 SELECT, ASK, CONSTRUCT or DESCRIBE query and declare its prefixes; "
            "updates are not taken, use /v1/imports",
        ) from None
    named = parsed.algebra.get("datasetClause") or []
    for clause in named:
        graph = str(clause.default if clause.default is not None else clause.named)
        if graph not in graphs:
            raise QueryRefused(
                "FROM names a graph that is not on record",
                "List the graphs with SELECT DISTINCT ?g WHERE { GRAPH ?g { ?s ?p ?o } }, or leave FROM out",
            )
    if any(node.name == "ServiceGraphPattern" for node in _nodes(parsed.algebra)):
        raise QueryRefused("SERVICE asks another server", "Leave it out; queries run over our own graphs only")
    return bool(named)


def _nodes(tree: Any) -> Iterator[CompValue]:
    """Every node of a parsed query, wherever it hangs: in patterns, filters, subqueries, paths."""
    waiting = [tree]
    while waiting:
        node = waiting.pop()
        if isinstance(node, CompValue):
            yield node
            waiting.extend(node.values())
        elif isinstance(node, dict):
            waiting.extend(node.values())
        elif isinstance(node, (list, tuple, set, frozenset)):
            waiting.extend(node)
        elif hasattr(node, "asList"):
            waiting.extend(node.asList())
