"""Tells a conflict: which wishes contradict each other, what speaks against them, and the ways out."""

from collections.abc import Iterable, Mapping

from crosspin.answer.plan import Contradiction, WayOutLine, WishLine
from crosspin.answer.reasons import Reasons, Scene
from crosspin.answer.tell import told_cost
from crosspin.figures.exact import spell
from crosspin.knockon.ask import Ask, Fit, ReadingWish
from crosspin.knockon.pairing import condition_code, judge_need
from crosspin.knockon.proposal import Conflict, Proposal, State
from crosspin.knockon.wishes import Question
from crosspin.model.schema import Part, Verdict

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
        why=_why(scene, question, conflict.ways_out[0].give_up, way),
        ways_out=tuple(
            WayOutLine(give_up=tuple(wish_line(ask, w) for w in out.give_up), cost=told_cost(out.cost))
            for out in conflict.ways_out
        ),
    )


def _why(scene: Scene, question: Question, give_up: Iterable[str], way: Proposal) -> tuple[str, ...]:
    """What speaks against the wishes given up, in the best plan without them; at most six sentences."""
    reasons = Reasons(scene, way)
    said: dict[str, None] = {}
    for wish in question.wishes:
        if wish.id not in give_up:
            continue
        for path, want in sorted(wish.wants.items()):
            if want is None:
                said.update(dict.fromkeys(reasons.reason(path, cause).sentence for cause in way.causes.get(path, ())))
            else:
                candidates = [scene.catalog.parts[part] for part in want.parts[:1]]
                said.update(dict.fromkeys(s for part in candidates for s in _against(scene, reasons, path, part)))
    return tuple(said)[:_ENOUGH]


def _against(scene: Scene, reasons: Reasons, path: str, part: Part) -> Iterable[str]:
    """What speaks against a new part at a position beside what the plan has around it: needs, then clashes, those
    that some remedy may mend last."""
    yield from _unmet(scene, reasons, path, part)
    model = scene.model
    mendable = []
    for joint in scene.layout.joints:
        if path not in (joint.left, joint.right):
            continue
        kind = model.joint_kinds[joint.joint_kind]
        other = scene.planned(joint.right if joint.left == path else joint.left)
        if other is None:
            continue
        left, right = (part, other) if joint.left == path else (other, part)
        meets = ((left, kind.left_kind), (right, kind.right_kind))
        if any(wanted not in model.kinds[part.kind].ancestors for part, wanted in meets):
            continue
        for finding in scene.sayings.findings(kind, left, right):
            if finding.verdict is Verdict.CLASHES:
                sentence = reasons.words.clash(kind, finding, left, right)
                if finding.criterion.remedies and not finding.lacking:
                    mendable.append(sentence)
                else:
                    yield sentence
    yield from mendable


def _unmet(scene: Scene, reasons: Reasons, path: str, part: Part) -> Iterable[str]:
    """The needs that are not met with a new part at a position: its own and those of what stands around it."""
    model = scene.model
    for pairing in scene.layout.pairings:
        if path not in (pairing.when, pairing.then) or pairing.rule not in model.needs:
            continue
        need = model.needs[pairing.rule]
        asking, answering = (part if path == end else scene.planned(end) for end in (pairing.when, pairing.then))
        states = [State.FRESH if path == end else scene.choices[end].state for end in (pairing.when, pairing.then)]
        when = condition_code(model, scene.catalog, need.when, asking)
        then = condition_code(model, scene.catalog, need.then, answering)
        if asking is not None and judge_need(need, when, states[0], then, states[1]) is Verdict.CLASHES:
            yield reasons.words.rule(need.says, asking.label, pairing.when)


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
