"""What the customer loses and gains, in words, and what keeping it would cost."""

from collections.abc import Callable, Iterable, Sequence

from crosspin.answer.fit import line
from crosspin.answer.plan import FunctionChanges, FunctionLine, Keeping, Plan, UnfitLine
from crosspin.answer.reasons import Scene
from crosspin.model.judge import functions_of
from crosspin.model.schema import Part
from crosspin.rules.proof import Proof, ProvedFunction


def unfit_lines(scene: Scene, proof: Proof) -> tuple[UnfitLine, ...]:
    """Why the vehicle is not fit to drive, in words."""
    found = []
    for one in proof.unfit:
        part = scene.received(one.position)
        assert part is not None, f"{one.position} was empty, yet is needed"
        says = scene.model.purposes[one.purpose].says_unfit
        sentence = scene.sayings.words.rule(says, part.label, one.position)
        found.append(UnfitLine(position=one.position, part=line(part), purpose=one.purpose, sentence=sentence))
    return tuple(found)


def function_changes(scene: Scene, proof: Proof) -> FunctionChanges:
    """The functions that a proved plan loses and gains, without what keeping them would cost."""
    words, functions = scene.sayings.words, scene.model.functions

    def lines(
        proved: Iterable[ProvedFunction], said: Callable[[str], str], part_at: Callable[[str], Part | None]
    ) -> tuple[FunctionLine, ...]:
        found = []
        for one in proved:
            parts = [part for part in map(part_at, one.paths) if part is not None]
            label = " and ".join(dict.fromkeys(part.label for part in parts))
            found.append(
                FunctionLine(
                    function=one.function,
                    label=functions[one.function].label,
                    positions=one.paths,
                    parts=tuple(line(part) for part in parts),
                    sentence=words.rule(said(one.function), label, one.paths[0]),
                )
            )
        return tuple(found)

    return FunctionChanges(
        lost=lines(proof.lost, lambda name: functions[name].says_lost, scene.received),
        gained=lines(proof.gained, lambda name: functions[name].says_gained, scene.planned),
    )


def with_keeping(plan: Plan, keepings: dict[str, Keeping]) -> Plan:
    """The plan with what keeping each lost function would take, by function."""
    lost = tuple(lost.model_copy(update={"keeping": keepings[lost.function]}) for lost in plan.functions.lost)
    return plan.model_copy(update={"functions": plan.functions.model_copy(update={"lost": lost})})


def kept_by(plan: Plan, other: Plan, relaxed: Sequence[str], positions: Sequence[str]) -> Keeping:
    """What keeping a function takes by another plan, which has it."""
    more = other.totals.all - plan.totals.all
    standing = {step.position: step.part for step in (*other.steps, *other.stays)}
    parts = tuple(part for part in (standing.get(path) for path in positions) if part is not None)
    by = " and ".join(dict.fromkeys(part.label for part in parts)) or "another part"
    cost = f"{abs(more):,.2f} {plan.totals.currency} {'less' if more < 0 else 'more'}"
    asked = ", ".join(relaxed)
    said = f"To keep it, have {by} instead of what was asked ({asked}): the whole plan then costs {cost}."
    return Keeping(more_money=more, relaxed=tuple(relaxed), parts=parts, sentence=said)


def not_kept(scene: Scene, function: str, relaxed: Sequence[str], positions: Sequence[str]) -> Keeping:
    """Why no plan keeps a function."""
    kinds = [scene.model.roles[p.role].kind for p in scene.layout.positions if p.path in positions]
    classes = [alike for kind in kinds for alike in scene.catalog.classes(scene.model, kind)]
    sold = any(function in functions_of(scene.model, alike) for alike in classes)
    why = "goes together with the rest of what was asked" if sold else "is in the catalog"
    return Keeping(more_money=None, relaxed=tuple(relaxed), parts=(), sentence=f"No part that does so {why}.")
