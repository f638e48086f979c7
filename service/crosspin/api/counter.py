"""The counter page, its search, its sheets, its files: addresses that answer in HTML."""

from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import dataclass
from threading import Lock
from urllib.parse import parse_qsl

from fastapi import APIRouter, Request, Response
from fastapi.responses import RedirectResponse

from crosspin.answer.desk import Desk, NotOnRecord
from crosspin.answer.plan import Contradiction, Plan
from crosspin.api.accept import HTML
from crosspin.api.html import COOKIE, PAGE_HEADERS, html_reply, page_tag, visit_of
from crosspin.api.negotiate import tagged
from crosspin.api.problems import ProblemLine, Refusal
from crosspin.api.wiring import TheDesk, TheTurns, Turns, read_body
from crosspin.knockon.ask import Ask, AskError
from crosspin.knockon.limits import SearchLimit
from crosspin.model.drafts import Problem
from crosspin.page.address import AskAddress, read_address
from crosspin.page.counter import Asked, Counter
from crosspin.page.render import LENGTHS, Pages, Visit
from crosspin.page.sheets import order_csv, order_sheet, work_sheet

router = APIRouter(include_in_schema=False)

_YEAR = 365 * 24 * 3600
_FOUND = 12  # parts shown for what is typed
_LONGEST_FORM = 8192


class Answers:
    """The last answers, so that a sheet or a second look at an ask costs nothing."""

    def __init__(self, most: int = 64) -> None:
        self._most = most
        self._held: OrderedDict[str, Plan | Contradiction] = OrderedDict()
        self._lock = Lock()

    async def of(self, desk: Desk, turns: Turns, ask: Ask, visit: Visit) -> Plan | Contradiction:
        """The answer to an ask.  Raises what `Desk.ask` raises, and Refusal where too many wait."""
        key = f"{desk.holdings.version}|{visit.lengths}|{ask.model_dump_json()}"
        with self._lock:
            if key in self._held:
                self._held.move_to_end(key)
                return self._held[key]
        told = await turns.run(lambda: desk.ask(ask, told_in=visit.told_in))
        with self._lock:
            self._held[key] = told
            while len(self._held) > self._most:
                self._held.popitem(last=False)
        return told


def _asked(request: Request) -> Asked:
    pairs = request.query_params.multi_items()
    others = dict(pairs)
    return Asked(read_address(pairs), others.get("q", "")[:200].strip(), others.get("line", "")[:200])


def _counter(request: Request, desk: Desk) -> Counter:
    pages: Pages = request.app.state.pages
    return Counter(pages, desk.holdings, visit_of(request).told_in)


@dataclass(frozen=True, slots=True)
class _Outcome:
    """What came of an ask: an answer, or what is wrong with it."""

    told: Plan | Contradiction | None = None
    problems: Sequence[Problem] = ()


async def _outcome(request: Request, desk: Desk, turns: Turns, address: AskAddress) -> _Outcome:
    if not address.vehicle:
        return _Outcome()
    if address.vehicle not in desk.holdings.catalog.vehicles:
        wrong = Problem("vehicle", f"no vehicle {address.vehicle!r} is on record", "take one of those below")
        return _Outcome(problems=(wrong,))
    if address.is_empty:
        return _Outcome()
    answers: Answers = request.app.state.answers
    try:
        return _Outcome(await answers.of(desk, turns, address.ask(), visit_of(request)))
    except AskError as error:
        return _Outcome(problems=error.problems)
    except SearchLimit as limit:
        wrong = Problem("the ask", f"the search reached a stated limit ({limit})", "keep more, or ask for parts by id")
        return _Outcome(problems=(wrong,))


@router.get("/")
async def counter_page(request: Request, desk: TheDesk, turns: TheTurns) -> Response:
    """The counter: the vehicle, the ask in the parameters, the answer."""
    asked = _asked(request)
    visit = visit_of(request)
    tagged(request, desk.holdings.version, HTML, visit.here, *page_tag(request), headers=PAGE_HEADERS)
    outcome = await _outcome(request, desk, turns, asked.address)
    found = desk.find(asked.typed, _FOUND) if asked.typed else None
    text = _counter(request, desk).page(visit, asked, outcome.told, outcome.problems, found)
    return html_reply(request, text, 422 if outcome.problems else 200)


@router.get("/find")
def found_piece(request: Request, desk: TheDesk) -> Response:
    """What goes with the words typed, as a piece of the counter page."""
    asked = _asked(request)
    found = desk.find(asked.typed, _FOUND)
    return html_reply(request, _counter(request, desk).found(visit_of(request), asked, found))


# ---------------------------------------------------------------------- sheets


async def _plan(request: Request, desk: Desk, turns: Turns) -> tuple[AskAddress, Plan]:
    """The plan for the ask in the parameters; raises Refusal where there is none."""
    address = _asked(request).address
    outcome = await _outcome(request, desk, turns, address)
    if isinstance(outcome.told, Plan):
        return address, outcome.told
    lines = [ProblemLine(place=p.place, wrong=p.wrong, mend=p.mend) for p in outcome.problems]
    if isinstance(outcome.told, Contradiction):
        mend = "Open the ask at the counter and take one of the ways out"
        lines = [ProblemLine(place="the ask", wrong="its wishes contradict each other", mend=mend)]
    raise Refusal(422, "no-sheet", "There is no plan to print for this ask.", *lines)


@router.get("/sheets/order")
async def order_page(request: Request, desk: TheDesk, turns: TheTurns) -> Response:
    """The order list of a plan, to print."""
    address, plan = await _plan(request, desk, turns)
    return html_reply(request, order_sheet(request.app.state.pages, visit_of(request), address, plan))


@router.get("/sheets/work")
async def work_page(request: Request, desk: TheDesk, turns: TheTurns) -> Response:
    """The work sheet of a plan, to print."""
    address, plan = await _plan(request, desk, turns)
    return html_reply(request, work_sheet(request.app.state.pages, visit_of(request), address, plan))


@router.get("/sheets/order.csv")
async def order_file(request: Request, desk: TheDesk, turns: TheTurns) -> Response:
    """The order list of a plan, as CSV (RFC 4180)."""
    _, plan = await _plan(request, desk, turns)
    headers = {"Content-Disposition": f'attachment; filename="order-{plan.id}.csv"'}
    return Response(order_csv(plan), headers=headers, media_type="text/csv; charset=utf-8; header=present")


# ---------------------------------------------------------------------- habits, files


@router.post("/lengths")
async def choose_lengths(request: Request) -> Response:
    """Remember whether lengths are read in millimetres or inches, and go back."""
    sent = dict(parse_qsl((await read_body(request, _LONGEST_FORM)).decode("utf-8", "replace")))
    lengths, back = sent.get("lengths", ""), sent.get("back", "/")
    if lengths not in LENGTHS:
        wrong = ProblemLine(place="lengths", wrong="this is not one of the choices", mend=f"Use {' or '.join(LENGTHS)}")
        raise Refusal(422, "unreadable", "The request cannot be understood as it stands.", wrong)
    if not back.startswith("/") or back[1:2] in ("/", "\\"):
        back = "/"  # only ever within this site
    reply = RedirectResponse(back, status_code=303)
    reply.set_cookie(COOKIE, lengths, max_age=_YEAR, httponly=True, samesite="lax")
    return reply


@router.get("/static/{digest}/{name}")
def asset(request: Request, digest: str, name: str) -> Response:
    """A style sheet or script; its address changes with its content, so it may be kept for ever."""
    found = request.app.state.pages.assets.get(name)
    if found is None or found.digest != digest:
        raise NotOnRecord("there is no such file; open the page again")
    headers = {"Cache-Control": "public, max-age=31536000, immutable", "Vary": "Accept-Encoding"}
    if "gzip" in request.headers.get("accept-encoding", ""):
        return Response(found.compressed, headers=headers | {"Content-Encoding": "gzip"}, media_type=found.media_type)
    return Response(found.text, headers=headers, media_type=found.media_type)
