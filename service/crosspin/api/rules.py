"""Addresses of rules: what each says, the evidence behind it, the cases that try it, and where it spoke."""

from threading import Lock
from typing import Annotated

from fastapi import APIRouter, Depends, Path, Request, Response

from crosspin.answer.desk import Desk, NotOnRecord
from crosspin.answer.saved import SavedPlans
from crosspin.api import examples
from crosspin.api.accept import HTML, JSON, JSON_LD, TURTLE
from crosspin.api.html import html_reply, record_pages
from crosspin.api.negotiate import offer
from crosspin.api.shapes import Page, RuleLine, RuleSheet, RuleSort
from crosspin.api.wiring import TheDesk, TheTurns, errors, known_parameters
from crosspin.catalog.library import Holdings
from crosspin.model.schema import Model, Term
from crosspin.model.terms import DEF
from crosspin.rules.casebook import Casebook
from crosspin.store.describe import about, write

router = APIRouter(tags=["ontology"], dependencies=[Depends(known_parameters)])

_TABLES = {
    RuleSort.JOINT_KIND: "joint_kinds",
    RuleSort.NEED: "needs",
    RuleSort.FIGURE_NEED: "figure_needs",
    RuleSort.RENEWAL: "renewals",
    RuleSort.RESOURCE: "resources",
    RuleSort.FUNCTION: "functions",
    RuleSort.REMEDY: "remedies",
    RuleSort.CONSEQUENCE: "consequences",
    RuleSort.FIGURE: "figures",
    RuleSort.SPEED_TABLE: "speed_tables",
    RuleSort.FORMULA: "formulas",
    RuleSort.WRITTEN: "rules",
}
_PAGE = {HTML: {"schema": {"type": "string"}}}
_GRAPHS = {TURTLE: {"schema": {"type": "string"}}, JSON_LD: {"schema": {"type": "array"}}, **_PAGE}


class Casebooks:
    """The cases of the packs in use, read again where anything has been taken since."""

    def __init__(self) -> None:
        self._lock = Lock()
        self._held: tuple[Holdings, Casebook] | None = None

    def of(self, desk: Desk) -> Casebook:
        """The cases that go with what is on record now."""
        with self._lock:
            if self._held is None or self._held[0] is not desk.holdings:
                self._held = (desk.holdings, Casebook(desk.library.folders))
            return self._held[1]


def _table(model: Model, name: str) -> dict[str, Term]:
    table: dict[str, Term] = getattr(model, name)
    return table


@router.get("/v1/rules", response_model=Page[RuleLine], responses={200: {"content": _PAGE}, **errors()})
def list_rules(
    request: Request,
    desk: TheDesk,
    media: Annotated[str, Depends(offer(JSON, HTML))],
    sort: RuleSort | None = None,
) -> Page[RuleLine] | Response:
    """All rules, or those of one sort: what must mate, what is needed, what is renewed, what runs short,
    what parts let the driver do, what can be mended, what follows, what is worked out, and the rules that are
    written as queries."""
    if media == HTML:
        return html_reply(request, record_pages(request).rules())
    lines = tuple(
        RuleLine(id=rule.id, sort=which, label=rule.label, definition=rule.definition)
        for which, table in _TABLES.items()
        if sort in (None, which)
        for rule in _table(desk.holdings.model, table).values()
    )
    return Page(items=lines, total=len(lines))


@router.get("/v1/rules/{rule}", response_model=RuleSheet, responses={200: {"content": _GRAPHS}, **errors(404, 503)})
async def one_rule(
    request: Request,
    rule: Annotated[str, Path(description="A rule, such as those under /v1/rules.", examples=[examples.RULE])],
    desk: TheDesk,
    turns: TheTurns,
    media: Annotated[str, Depends(offer(JSON, TURTLE, JSON_LD, HTML))],
) -> RuleSheet | Response:
    """One rule: its criteria or conditions, its sentences, the evidence behind it, the cases that try it, and in
    which of the plans for saved asks it spoke."""
    model = desk.holdings.model
    sort = next((sort for sort, table in _TABLES.items() if rule in _table(model, table)), None)
    if sort is None:
        raise NotOnRecord("there is no such rule; look it up under /v1/rules")
    if media in (TURTLE, JSON_LD):
        return Response(write(about(desk.holdings.graph, DEF + rule), media), media_type=media)
    casebooks: Casebooks = request.app.state.casebooks
    plans: SavedPlans = request.app.state.saved_plans
    cases, fired = await turns.run(lambda: (casebooks.of(desk).of(model, rule), plans.fired(rule)))
    if media == HTML:
        asks = {saved.name: saved.ask for saved in plans.asks if saved.ask is not None}
        return html_reply(request, record_pages(request).rule(rule, cases, [(f, asks.get(f.name)) for f in fired]))
    return RuleSheet.model_construct(sort=sort, rule=_table(model, _TABLES[sort])[rule], cases=cases, saved_plans=fired)
