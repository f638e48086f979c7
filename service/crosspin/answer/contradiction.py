"""Tells a conflict: which wishes contradict each other, what speaks against them, and the ways out."""

from collections.abc import Iterable, Iterator, Mapping

from crosspin.answer.plan import Contradiction, WayOutLine, WishLine
from crosspin.answer.reasons import Reasons, Scene
from crosspin.answer.tell import told_cost
from crosspin.figures.exact import spell
from crosspin.knockon.ask import Ask, Fit, ReadingWish
from crosspin.knockon.pairing import condition_code, judge_need
from crosspin.knockon.proposal import Conflict, Proposal, State
from crosspin.knockon.wishes import Question, Wish
from crosspin.model.schema import Part, Verdict
from crosspin.vehicle.figuring import Figuring

_ENOUGH = 6


def tell_contradiction(
    scene: Scene, ask: Ask, question: Question, conflict: Conflict, way: Proposal, version: str
) -> Contradiction:
    """The conflict in words; `scene` and `way` show the best plan along the first way out."""
    return Contradiction(
        version=version,
        vehicle=scene.vehicle.id,
        vehicle_label=scene.vehicle.label,
        ask=ask,
        wishes=tuple(wish_line(ask, w) for w in conflict.wishes),
        why=_why(scene, question, conflict, way),
        ways_out=tuple(
            WayOutLine(give_up=tuple(wish_line(ask, w) for w in out.give_up), cost=told_cost(out.cost))
            for out in conflict.ways_out
        ),
    )


def _why(scene: Scene, question: Question, conflict: Conflict, way: Proposal) -> tuple[str, ...]:
    """What speaks against the wishes given up first, in the best plan without them; at most six sentences.

    What stands between them and the wishes that are had comes first.
    """
    given_up = conflict.ways_out[0].give_up
    had = set(conflict.wishes) - set(given_up)
    held = {path for wish in question.wishes if wish.id in had for path in wish.wants}
    reasons = Reasons(scene, way)
    near: dict[str, None] = {}
    far: dict[str, None] = {}
    for wish in question.wishes:
        if wish.id not in given_up:
            continue
        for path, want in sorted(wish.wants.items()):
            parts = [None] if want is None else [scene.catalog.parts[want.example]] if want.example else []
            for part in parts:
                for other, sentence in _against(scene, reasons, path, part):
                    (near if other in held else far)[sentence] = None
            if want is None:
                far.update(dict.fromkeys(reasons.reason(path, cause).sentence for cause in way.causes.get(path, ())))
    if not near and not far:
        far.update(dict.fromkeys(_beyond_limits(scene, [w for w in question.wishes if w.id in given_up])))
    return tuple({**near, **far})[:_ENOUGH]


def _beyond_limits(scene: Scene, wishes: Iterable[Wish]) -> Iterator[str]:
    """The figures that what is wished would take beyond a limit that decides, beside what the plan has around it."""
    came = scene.as_received
    wants = {path: want for wish in wishes for path, want in sorted(wish.wants.items())}
    instead = {
        path: scene.catalog.parts[want.example] if want is not None and want.example else None
        for path, want in wants.items()
        if want is None or want.example
    }
    changed = scene.changed | instead.keys()
    figuring = Figuring(came.reach, scene.catalog, {**scene.parts, **instead}, came.figuring, changed)
    for figure in (figure for figure in scene.model.figures.values() if figure.deciding):
        for place in came.reach.places(figure):
            if instead.keys().isdisjoint(came.reach.of_figure(figure, place)):
                continue
            result = figuring.result(figure, place)
            line = None if result is None else came.teller.line(figure, place, result, moved=True)
            if line is not None and line.verdict is Verdict.CLASHES and not line.so_already:
                yield line.sentence


def _against(scene: Scene, reasons: Reasons, path: str, part: Part | None) -> Iterator[tuple[str, str]]:
    """What speaks against a new part, or nothing, at a position beside what the plan has around it: the other
    position and a sentence; needs, then clashes, those that some remedy may mend last."""
    yield from _unmet(scene, reasons, path, part)
    model = scene.model
    mendable = []
    for joint in scene.layout.joints:
        if part is None or path not in (joint.left, joint.right):
            continue
        kind = model.joint_kinds[joint.joint_kind]
        beside = joint.right if joint.left == path else joint.left
        other = scene.planned(beside)
        if other is None:
            continue
        left, right = (part, other) if joint.left == path else (other, part)
        meeting = ((left, kind.left_kind), (right, kind.right_kind))
        if any(wanted not in model.kinds[one.kind].ancestors for one, wanted in meeting):
            continue
        for finding in scene.sayings.findings(kind, left, right):
            if finding.verdict is Verdict.CLASHES and finding.criterion.severity.constrains:
                line = (beside, reasons.words.clash(kind, finding, left, right))
                if finding.criterion.remedies and not finding.lacking:
                    mendable.append(line)
                else:
                    yield line
    yield from mendable


def _unmet(scene: Scene, reasons: Reasons, path: str, part: Part | None) -> Iterator[tuple[str, str]]:
    """The needs that are not met with a new part, or nothing, at a position: its own and those of what stands
    around it."""
    model = scene.model
    here = State.EMPTIED if part is None else State.FRESH
    for pairing in scene.layout.pairings:
        if path not in (pairing.when, pairing.then) or pairing.rule not in model.needs:
            continue
        need = model.needs[pairing.rule]
        if not need.severity.constrains:
            continue
        asking, answering = (part if path == end else scene.planned(end) for end in (pairing.when, pairing.then))
        states = [here if path == end else scene.choices[end].state for end in (pairing.when, pairing.then)]
        when = condition_code(model, scene.catalog, need.when, asking)
        then = condition_code(model, scene.catalog, need.then, answering)
        if asking is not None and judge_need(need, when, states[0], then, states[1]) is Verdict.CLASHES:
            beside = pairing.then if path == pairing.when else pairing.when
            yield beside, reasons.words.rule(need.says, asking.label, pairing.when)


def wish_line(ask: Ask, wish: str) -> WishLine:
    """A wish in words, by its place in the ask ("fit/0")."""
    sort, _, index = wish.partition("/")
    if sort == "fit":
        return WishLine(id=wish, sentence=_fit_sentence(ask.fit[int(index)]))
    patterns: Mapping[str, tuple[str, ...]] = {"keep": ask.keep, "remove": ask.remove}
    return WishLine(id=wish, sentence=f"{sort.capitalize()} what stands at {patterns[sort][int(index)]}.")


def _fit_sentence(fit: Fit) -> str:
    what = fit.part or fit.kit or fit.kind or "a part"
    readings = ", ".join(_reading_sentence(r) for r in fit.readings)
    return f"Fit {what}{f' with {readings}' if readings else ''} at {fit.at}."


def _reading_sentence(wish: ReadingWish) -> str:
    name = f"{wish.feature} {wish.dimension}"
    if wish.equals is not None:
        return f"{name} {wish.equals}"
    if wish.least is None or wish.most is None:
        bound, limit = ("at least", wish.least) if wish.most is None else ("at most", wish.most)
        return f"{name} {bound} {spell(limit) if limit is not None else 'anything'}"
    return f"{name} from {spell(wish.least)} to {spell(wish.most)}"
