"""A plan, or a contradiction, as text that a person reads in a terminal or prints."""

import textwrap
from collections.abc import Iterable, Sequence
from decimal import Decimal
from itertools import groupby

from crosspin.answer.circuit_text import circuit_rows
from crosspin.answer.figure_text import figure_rows
from crosspin.answer.places import both_sides, place, places, places_by_side
from crosspin.answer.plan import (
    Action,
    Contradiction,
    Cost,
    FunctionLine,
    Plan,
    Reason,
    Step,
    WarningLine,
    WishLine,
)
from crosspin.figures.exact import spell

WIDTH = 100
_OTHERS = 2
_PLACES = 8
_FEW = 4


def tell_text(told: Plan | Contradiction) -> str:
    """The whole answer, at most 100 columns wide (a longer word stands alone on its line)."""
    parts = _plan(told) if isinstance(told, Plan) else _contradiction(told)
    return "\n".join(parts).rstrip() + "\n"


def _wrapped(text: str, indent: int, first: str = "") -> list[str]:
    """A paragraph; `first` stands before its first line, inside the indent."""
    return textwrap.wrap(
        text,
        WIDTH,
        initial_indent=first.ljust(indent),
        subsequent_indent=" " * indent,
        break_long_words=False,
        break_on_hyphens=False,
    ) or [first.rstrip()]


def _section(title: str, body: Iterable[str]) -> list[str]:
    """A headed section; nothing at all where the body is empty."""
    lines = list(body)
    return ["", title.upper(), *lines] if lines else []


def _money(amount: Decimal, currency: str = "") -> str:
    return f"{amount:,.2f} {currency}".rstrip()


def _count(number: int, one: str, many: str) -> str:
    return f"{number} {one if number == 1 else many}"


def _plan(plan: Plan) -> list[str]:
    asked = [step for step in plan.steps if step.asked]
    needed = [step for step in plan.steps if not step.asked]
    currency = plan.totals.currency
    out = [f"Plan for {plan.vehicle_label}", f"{plan.id}, data version {plan.version}"]
    unfit = list(dict.fromkeys(line.sentence for line in plan.unfit))
    out += _section("Not fit to drive", (row for sentence in unfit for row in _wrapped(sentence, 4, "  !")))
    out += _section("Lost", (row for lost in plan.functions.lost for row in _lost(lost)))
    out += _section("Gained", (row for gained in plan.functions.gained for row in _wrapped(gained.sentence, 4, "  +")))
    out += _section("Asked", _steps(asked, currency))
    out += _section("Also needed", _steps(needed, currency))
    out += _section("Measure first", _measurements(plan))
    out += _section("Worth knowing", (line for w in plan.warnings for line in _wrapped(_warning(w), 4, "  !")))
    out += _section("Modified", _modifications(plan))
    out += _section("To do", _work(plan))
    out += _section("Order", _order(plan))
    out += _section("Figures", (line for row in figure_rows(plan.figures) for line in _wrapped(row, 4, "  =")))
    out += _section("Circuits", (line for row in circuit_rows(plan.circuits) for line in _wrapped(row, 4, "  #")))
    out += _section("Check", _checks(plan))
    out += _section(
        "Cautions", (line for a in plan.cautions for line in _wrapped(f"{a.text}{_at(a.places)}", 4, "  !"))
    )
    out += _section("The record disagrees with the vehicle", _discrepancies(plan))
    out += _section("Stays", _stays(plan.stays))
    out += _section("Totals", _totals(plan))
    return [*out, "", *_wrapped(plan.proviso, 0)]


def _lost(lost: FunctionLine) -> list[str]:
    told = _wrapped(lost.sentence, 4, "  -")
    return told if lost.keeping is None else [*told, *_wrapped(lost.keeping.sentence, 8)]


# ---------------------------------------------------------------------- steps


def _steps(steps: Sequence[Step], currency: str) -> list[str]:
    lines: list[str] = []
    for alike in both_sides(steps):
        step = alike[0]
        lines += _wrapped(f"{places([s.position for s in alike])}: {_deed(step)}", 4, "  *")
        if not step.asked:
            lines += [line for reason in step.reasons for line in _reason(reason, step)]
            lines += _also(step)
            if not step.forced:
                lines += _wrapped("Chosen, not forced: another choice elsewhere would leave it alone.", 8)
        lines += [line for note in step.notes for line in _wrapped(note, 8, "      >")]
        lines += _alternatives(step, currency)
    return lines


def _also(step: Step) -> list[str]:
    sentences = list(dict.fromkeys(reason.sentence for reason in step.also_because))
    lines = [line for sentence in sentences[:_OTHERS] for line in _wrapped(f"Also: {sentence}", 8)]
    left = len(sentences) - _OTHERS
    return [*lines, *([f"        and {_count(left, 'more reason', 'more reasons')}"] if left > 0 else [])]


def _deed(step: Step) -> str:
    part = f"{step.part.label} [{step.part.id}]" if step.part else ""
    old = f"{step.instead_of.label}" if step.instead_of else ""
    match step.action:
        case Action.REPLACE:
            return f"replace {old} by {part}" if old else f"replace by {part}"
        case Action.ADD:
            return f"add {part}"
        case Action.REMOVE:
            return f"remove {old}"
        case Action.CARRY_OVER:
            return f"carry over {part}"
        case Action.KEEP:
            return f"keep {part}"


def _reason(reason: Reason, step: Step) -> list[str]:
    """A link of the chain; the first one tells of the step itself, the others lead back to what was asked."""
    own = reason.position == step.position
    evidence = f" ({'; '.join(reason.evidence)})" if reason.evidence and own else ""
    text = reason.sentence if own else f"{place(reason.position)}: {reason.sentence}"
    return _wrapped(f"{text}{evidence}", 8, "" if own else "      <")


def _alternatives(step: Step, currency: str) -> list[str]:
    lines = []
    for other in step.alternatives[:_OTHERS]:
        what = (
            "leaving it as it is"
            if other.stays
            else f"{other.part.label} [{other.part.id}]"
            if other.part
            else "nothing here"
        )
        differences = [f"{_sign(other.more_money)} {currency}"]
        if other.more_lost:
            differences.append(f"{other.more_lost:+d} {'function' if abs(other.more_lost) == 1 else 'functions'} lost")
        if other.more_positions:
            differences.append(f"{other.more_positions:+d} positions")
        if other.more_unknowns:
            differences.append(f"{other.more_unknowns:+d} unknown")
        lines += _wrapped(f"Or {what}: {', '.join(differences)} for the whole plan.", 8)
    left = len(step.alternatives) - _OTHERS
    return [*lines, *([f"        and {_count(left, 'other', 'others')}"] if left > 0 else [])]


def _sign(amount: Decimal) -> str:
    return f"{amount:+,.2f}"


def _at(paths: Sequence[str]) -> str:
    """Places in brackets; nothing where there are none."""
    return f" ({'; '.join(places_by_side(paths))})" if paths else ""


# ---------------------------------------------------------------------- the rest of a plan


def _measurements(plan: Plan) -> Iterable[str]:
    for m in plan.measurements:
        mark = "  !" if m.safety_critical else "  ?"
        yield from _wrapped(f"{place(m.position)}: {m.dimension} of the {m.feature} on {m.part}", 4, mark)
        if m.recorded:
            yield from _wrapped(f"On record: {' against '.join(m.recorded)}.", 8)
        yield from _wrapped(m.how, 8)
        yield from _wrapped(m.why, 8)


def _modifications(plan: Plan) -> Iterable[str]:
    for m in plan.modifications:
        yield from _wrapped(f"{place(m.position)}: {m.sentence}", 4, "  ~")
        yield from _wrapped(m.because, 8)
        if m.adapter is not None:
            yield from _wrapped(f"With {m.adapter.label} [{m.adapter.id}].", 8)
        yield from (line for caution in m.cautions for line in _wrapped(caution, 8, "      !"))


def _work(plan: Plan) -> Iterable[str]:
    labels = {caution.text: caution.label for caution in plan.cautions}
    for (group, phase), jobs in groupby(plan.work, key=lambda w: (w.group, w.phase)):
        yield f"  {group}" if group == phase else f"  {group}: {phase}"
        for w in jobs:
            where = _at(w.places) if len(w.places) <= (_FEW if w.group == w.phase else _PLACES) else ""
            text = f"{w.label[0].upper()}{w.label[1:]}{where}, {spell(w.hours)} h. {w.text}"
            yield from _wrapped(text, 8, f"    {w.number}.")
            if w.tools:
                yield from _wrapped(f"Tools: {', '.join(w.tools)}.", 8)
            if w.uses:
                yield from _wrapped(f"Takes {'; '.join(w.uses)}.", 8)
            if w.cautions:
                yield from _wrapped(f"Read first: {', '.join(labels[c] for c in w.cautions)}.", 8)
            if w.after:
                yield from _wrapped(f"After {', '.join(map(str, w.after))}.", 8)


def _checks(plan: Plan) -> Iterable[str]:
    for phase, checks in groupby(plan.checks, key=lambda c: c.phase):
        yield f"  {phase}"
        for check in checks:
            yield from _wrapped(f"{check.text}{_at(check.places)}", 6, "    -")


def _order(plan: Plan) -> Iterable[str]:
    for o in plan.order:
        stock = "stock not known" if o.stock is None else f"{o.stock} in stock{', SHORT' if o.short else ''}"
        kit = "kit, " if o.is_kit else ""
        text = f"{o.label} [{o.id}]: {kit}{_money(o.each)} each, {_money(o.total)}; {stock}"
        yield from _wrapped(text, 6, f"  {o.quantity} x")


def _warning(warning: WarningLine) -> str:
    safety = "Safety: " if warning.safety_critical else ""
    already = " It was so already." if warning.was_so_already else ""
    evidence = f" ({'; '.join(warning.evidence)})" if warning.evidence else ""
    return f"{safety}{warning.sentence}{already}{evidence}"


def _discrepancies(plan: Plan) -> Iterable[str]:
    for d in plan.discrepancies:
        yield from _wrapped(d.sentence, 4, "  -")


def _stays(steps: Sequence[Step]) -> Iterable[str]:
    for step in steps:
        if step.notes:
            yield from _wrapped(place(step.position), 4, "  *")
            for note in step.notes:
                yield from _wrapped(note, 8, "      >")
    if not steps:
        return
    names = ", ".join(place(step.position) for step in steps)
    yield from _wrapped(f"{_count(len(steps), 'position', 'positions')}: {names}.", 2)


def _totals(plan: Plan) -> Iterable[str]:
    totals = plan.totals
    rows = (("Parts", totals.parts), (f"Labour, {spell(totals.hours)} h", totals.labour), ("In all", totals.all))
    for name, amount in rows:
        yield f"  {name:<24}{_money(amount, totals.currency):>18}"
    yield from _wrapped(f"{_cost(plan.cost)}.", 2)


def _cost(cost: Cost) -> str:
    text = f"{_count(cost.extra_positions, 'position', 'positions')} changed beyond those asked, "
    text += _count(cost.unknowns, "thing not known", "things not known")
    if cost.lost_functions:
        text = f"{_count(cost.lost_functions, 'function', 'functions')} lost, {text}"
    if cost.unsafe_unknowns:
        text += f", {_count(cost.unsafe_unknowns, 'of them', 'of them')} safety-critical on a new part"
    return text


# ---------------------------------------------------------------------- contradictions


def _wishes(wishes: Sequence[WishLine]) -> str:
    return " ".join(wish.sentence for wish in wishes)


def _contradiction(told: Contradiction) -> list[str]:
    several = "these wishes cannot all be had" if len(told.wishes) > 1 else "this wish cannot be had"
    out = [f"No plan for {told.vehicle_label}: {several}"]
    out += [line for wish in told.wishes for line in _wrapped(wish.sentence, 4, "  *")]
    out += _section("Why", (line for why in told.why for line in _wrapped(why, 4, "  -")))
    ways = []
    for number, way in enumerate(told.ways_out, start=1):
        ways += _wrapped(f"Give up: {_wishes(way.give_up)}", 6, f"  {number}.")
        ways += _wrapped(f"Then {_money(way.cost.money)}, {_cost(way.cost)}.", 6)
    return out + _section("Ways out, cheapest first", ways)
