"""The counter: one page for the vehicle as received, the ask, and its answer."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Any

from markupsafe import Markup

from crosspin.answer.places import place
from crosspin.answer.plan import Contradiction, Plan, Work
from crosspin.answer.speed_plot import plot_speeds
from crosspin.catalog.library import Holdings
from crosspin.catalog.lookup import Found
from crosspin.model.drafts import Problem
from crosspin.model.schema import Layout, Part, Vehicle, Verdict
from crosspin.page.address import AskAddress
from crosspin.page.cautions import Caution, Cautions
from crosspin.page.drawing import Drawing, draw, states_of_plan, states_of_received
from crosspin.page.figures import Figures
from crosspin.page.lines import Line, Lines
from crosspin.page.offers import Offers
from crosspin.page.render import Pages, Visit
from crosspin.page.wishes import Wishes
from crosspin.vehicle.received import received_part
from crosspin.vehicle.words import Words


@dataclass(frozen=True, slots=True)
class Row:
    """One position of the vehicle as received, with the asks that keep it, take it out or renew it."""

    path: str
    where: str
    part: Part | None
    unseen: bool
    keep: AskAddress | None
    remove: AskAddress | None
    renew: AskAddress | None


@dataclass(frozen=True, slots=True)
class Block:
    """The positions of one place of the vehicle: "front left"."""

    title: str
    rows: tuple[Row, ...]
    keep: AskAddress | None


@dataclass(frozen=True, slots=True)
class Job:
    """One line of the work with its cautions."""

    work: Work
    cautions: Sequence[Caution]


@dataclass(frozen=True, slots=True)
class WayOut:
    """A way out of a contradiction: what is given up, in words, and the ask without it."""

    words: tuple[str, ...]
    told: Any
    address: AskAddress


@dataclass(frozen=True)
class Asked:
    """What the page is asked for: the ask in its address, what is typed, which line is looked at."""

    address: AskAddress
    typed: str = ""
    line: str = ""


class Counter:
    """Shows asks about one catalog at the counter."""

    def __init__(self, pages: Pages, holdings: Holdings, told_in: Mapping[str, str]) -> None:
        self.pages = pages
        self.holdings = holdings
        self.model, self.catalog = holdings.model, holdings.catalog
        self.wishes = Wishes(holdings, Words(holdings.model.model_copy(update={"told_in": dict(told_in)})))
        self.figures = Figures(holdings.model, told_in)

    def page(
        self,
        visit: Visit,
        asked: Asked,
        told: Plan | Contradiction | None = None,
        problems: Sequence[Problem] = (),
        found: Found | None = None,
    ) -> str:
        """The whole page.  `told` is the answer, None where there is none: nothing asked yet, or not understood."""
        address = asked.address
        vehicle = self.catalog.vehicles.get(address.vehicle)
        layout = self.model.layouts[vehicle.layout] if vehicle is not None else None
        chips = self.wishes.chips(address, problems)
        shown: dict[str, Any] = {
            "asked": asked,
            "address": address,
            "vehicles": sorted(self.catalog.vehicles.values(), key=lambda v: v.label),
            "vehicle": vehicle,
            "chips": chips,
            "problems": [p for p in problems if not any(p in chip.wrong for chip in chips)],
            "found": found,
            "offers": self._offers(asked, found),
            "told": told,
            "currency": self.model.shop.currency,
            "blocks": self._blocks(vehicle, layout, address) if vehicle is not None and layout is not None else (),
            "drawing": None,
        }
        if vehicle is not None and layout is not None:
            shown |= self._answer(told, address, layout) | {
                "drawing": self._drawing(told, vehicle, layout, asked.line),
            }
        return self.pages.page("counter.html", visit, shown)

    def found(self, visit: Visit, asked: Asked, found: Found) -> str:
        """What was found for the words typed, as a piece of the page."""
        shown = {"asked": asked, "offers": self._offers(asked, found), "found": found}
        return self.pages.page("found.html", visit, shown | {"currency": self.model.shop.currency})

    def _offers(self, asked: Asked, found: Found | None) -> list[Any]:
        return Offers(self.holdings, asked.address, self.wishes).of(found) if found is not None else []

    # ------------------------------------------------------------------ as received

    def _received(self, vehicle: Vehicle, layout: Layout) -> dict[str, Part | None]:
        return {p.path: received_part(self.model, self.catalog, vehicle, p) for p in layout.positions}

    def _blocks(self, vehicle: Vehicle, layout: Layout, address: AskAddress) -> list[Block]:
        parts = self._received(vehicle, layout)
        named = {*address.keep, *address.remove, *address.renew}

        def row(path: str) -> Row:
            part = parts[path]
            seen = part if part is not None and not part.unidentified else None
            free = part is not None and path not in named
            return Row(
                path=path,
                where=place(path.rpartition("/")[2]),
                part=seen,
                unseen=part is not None and part.unidentified,
                keep=address.with_wish("keep", path) if free else None,
                remove=address.with_wish("remove", path) if free else None,
                renew=address.with_wish("renew", path) if free else None,
            )

        blocks = []
        paths = sorted(parts, key=lambda path: (path.count("/") == 0, path.rpartition("/")))
        for outer, inside in groupby(paths, key=lambda path: path.rpartition("/")[0]):
            rows = tuple(row(path) for path in inside)
            keep = address.with_wish("keep", f"{outer}/*") if outer and f"{outer}/*" not in named else None
            blocks.append(Block(place(outer) if outer else "vehicle", rows, keep))
        return blocks

    def _drawing(self, told: Plan | Contradiction | None, vehicle: Vehicle, layout: Layout, line: str) -> Drawing:
        if not isinstance(told, Plan):
            return draw(self.model, layout, states_of_received(layout.positions, self._received(vehicle, layout)))
        step = next((s for s in told.steps if s.position == line), None)
        chain = tuple(dict.fromkeys(reason.position for reason in step.reasons)) if step is not None else ()
        return draw(self.model, layout, states_of_plan(told), chain)

    # ------------------------------------------------------------------ the answer

    def _answer(self, told: Plan | Contradiction | None, address: AskAddress, layout: Layout) -> dict[str, Any]:
        if isinstance(told, Contradiction):
            return self._contradiction(told, address)
        if told is None:
            return {}
        lines = Lines(told, address, [p.path for p in layout.positions])
        asked, needed, stays = lines.asked(), lines.needed(), lines.stays()
        cautions = Cautions(told.cautions)
        in_work = frozenset(text for work in told.work for text in work.cautions)
        before = {line.id: cautions.of_paths(line.paths, in_work) for line in (*asked, *needed)}
        jobs = [Job(work, cautions.of_texts(work.cautions)) for work in told.work]
        return {
            "asked_lines": asked,
            "needed_lines": needed,
            "stays": stays,
            "noted_stays": [line for line in stays if line.notes],
            "line_cautions": before,
            "jobs": [(group, list(found)) for group, found in groupby(jobs, key=lambda job: job.work.group)],
            "cautions_left": cautions.left(),
            "figures": self.figures.rows(told.figures),
            "plots": [(t, Markup(plot_speeds(t))) for t in told.speeds if t.id in self.model.plotted and t.series],
            "short": [order for order in told.order if order.short or order.stock == 0],
            "prices": _prices(told, (*asked, *needed)),
            "circuits_matter": _circuits_matter(told),
        }

    def _contradiction(self, told: Contradiction, address: AskAddress) -> dict[str, Any]:
        chips = {chip.id: chip for chip in self.wishes.chips(address)}

        def words(wish: str) -> str:
            chip = chips[wish]
            return f"{chip.verb} {f'{chip.what} at' if chip.what else ''} {chip.where}".replace("  ", " ")

        return {
            "against": [words(wish.id) for wish in told.wishes],
            "against_ids": {wish.id for wish in told.wishes},
            "ways_out": [
                WayOut(tuple(words(w.id) for w in way.give_up), way, address.giving_up(w.id for w in way.give_up))
                for way in told.ways_out
            ],
        }


def _circuits_matter(plan: Plan) -> bool:
    """Whether the plan changes what draws current, or its circuits do not fit."""
    if plan.circuits is None:
        return False
    changed = {step.position for step in plan.steps}
    return plan.circuits.verdict is not Verdict.FITS or any(c.position in changed for c in plan.circuits.lines)


def _prices(plan: Plan, lines: Iterable[Line]) -> dict[str, Any]:
    """The price of each line; None for lines whose parts come in a kit, which has one price."""
    in_kits = {part for order in plan.order if order.is_kit for part in order.serves}
    return {
        line.id: None
        if line.part is None or line.part.price is None or line.part.id in in_kits
        else line.part.price * line.quantity
        for line in lines
    }
