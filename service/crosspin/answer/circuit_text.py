"""A plan of circuits as lines of text."""

from collections.abc import Iterator

from crosspin.answer.circuit_lines import CircuitLine, CircuitPlan
from crosspin.figures.exact import spell
from crosspin.model.circuit import Supply
from crosspin.model.schema import Verdict

_WORDS = {Verdict.FITS: "", Verdict.UNKNOWN: " NOT KNOWN.", Verdict.CLASHES: " DOES NOT FIT."}


def circuit_rows(plan: CircuitPlan | None) -> Iterator[str]:
    """One row for each circuit, then the module, what runs together and the interlocks."""
    if plan is None:
        return
    for line in plan.lines:
        yield _circuit(line)
    if (module := plan.module) is not None:
        total = "?" if module.total is None else spell(module.total)
        limit = "?" if module.limit is None else spell(module.limit)
        free = ", ".join(f"OUT{number}" for number in module.free) or "none"
        fuse = "" if module.fuse is None else f", fused at {spell(module.fuse)} A"
        yield f"Module: {total} of {limit} A{fuse}; outputs free: {free}.{_said(module.verdict, module.notes)}"
    if plan.alternator is not None:
        yield from plan.alternator.sentences
    yield from plan.interlocks


def _circuit(line: CircuitLine) -> str:
    facts = [] if line.current is None else [f"{spell(line.current)} A"]
    if line.output is not None:
        facts.append(f"OUT{line.output}" + ("" if line.output_limit is None else f" of {spell(line.output_limit)} A"))
    if line.trip is not None:
        facts.append(f"trip {spell(line.trip)} A")
    if line.supply is Supply.BATTERY:
        facts.append("from the battery")
    if line.fuse is not None:
        facts.append(f"fuse {spell(line.fuse)} A")
    if line.relay is not None:
        facts.append(f"relay {spell(line.relay)} A")
    if line.wire is not None:
        facts.append(line.wire)
    if line.drop is not None and line.drop_percent is not None:
        facts.append(f"{spell(line.drop)} V lost, {spell(line.drop_percent)} %")
    if line.switch is not None:
        facts.append(f'switch {line.switch} "{line.legend}"')
    return f"{line.label}: {', '.join(facts)}.{_said(line.verdict, line.notes)}"


def _said(verdict: Verdict, notes: tuple[str, ...]) -> str:
    return "".join((_WORDS[verdict], *(f" {note}" for note in notes)))
