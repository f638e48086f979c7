"""Tells a conflict: which wishes contradict each other, what speaks against them, and the ways out."""

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import replace
from itertools import chain
from typing import TypeVar

from crosspin.answer.plan import Contradiction, WayOutLine, WishLine
from crosspin.answer.reasons import Scene
from crosspin.answer.tell import told_cost
from crosspin.figures.exact import spell
from crosspin.knockon.ask import Ask, Fit, ReadingWish
from crosspin.knockon.pairing import UNSURE, YES, condition_code, judge_need, judge_renewal, kind_code
from crosspin.knockon.proposal import Barrier, Choice, Conflict, State
from crosspin.knockon.tally import Tally
from crosspin.knockon.wishes import Question, Wish
from crosspin.model.schema import Need, Part, Renewal, Verdict
from crosspin.vehicle.figuring import Figuring

_ENOUGH = 6

Rule = TypeVar("Rule", Need, Renewal)


def tell_contradiction(scene: Scene, ask: Ask, question: Question, conflict: Conflict, version: str) -> Contradiction:
    """The conflict in words; `scene` shows the best plan along the first way out."""
    return Contradiction(
        version=version,
        vehicle=scene.vehicle.id,
        vehicle_label=scene.vehicle.label,
        ask=ask,
        wishes=tuple(wish_line(ask, w) for w in conflict.wishes),
        why=_why(scene, question, conflict),
        ways_out=tuple(
            WayOutLine(give_up=tuple(wish_line(ask, w) for w in out.give_up), cost=told_cost(out.cost))
            for out in conflict.ways_out
        ),
    )


def _why(scene: Scene, question: Question, conflict: Conflict) -> tuple[str, ...]:
    """What speaks against the wishes; at most six sentences, and always one.

    Figures that forbid whatever else is bought come first.  Then comes what speaks against the wishes that are given up
    first, put back into the best plan without them: what is between them and the wishes that are had, or the position
    where nothing is left, then the rest, which is left out where a figure says it all.
    """
    given_up = [wish for wish in question.wishes if wish.id in conflict.ways_out[0].give_up]
    held = {path for wish in question.wishes if wish not in given_up for path in wish.wants}
    asked = dict(chain.from_iterable(_asked(scene, wish) for wish in given_up))
    wanted = replace(scene, choices={**scene.choices, **asked})
    first = dict.fromkeys(_barred(scene, conflict.barriers))
    near: dict[str, None] = {}
    far: dict[tuple[int, str], None] = {}
    for path in sorted(asked):
        near.update(dict.fromkeys(sentence for other, sentence in _outdated(wanted, path) if other in held))
        told: Counter[str] = Counter()
        for other, sentence in _against(wanted, path):
            if other in {*held, conflict.exhausted}:
                near[sentence] = None
            else:
                far[told[other], sentence] = None
                told[other] += 1
    # One of each neighbour before more of the same.
    others = (sentence for _, sentence in sorted(far, key=lambda found: found[0]))
    said = {**first, **near} if first else {**near, **dict.fromkeys(others)}
    return tuple(said)[:_ENOUGH] or (_nothing_left(scene, conflict),)


def _asked(scene: Scene, wish: Wish) -> Iterator[tuple[str, Choice]]:
    """What a wish that is given up would have where the plan without it has something else."""
    for path, want in wish.wants.items():
        asked = scene.choices[path]
        if wish.removes:
            asked = Choice(State.EMPTIED, None)
        elif want is None:
            received = scene.received(path)
            asked = Choice(State.RECEIVED, None if received is None else received.id)
        elif want.example is not None:
            asked = Choice(State.FRESH, want.example)
        if asked != scene.choices[path]:
            yield path, asked


def _barred(scene: Scene, barriers: Iterable[Barrier]) -> Iterator[str]:
    """The figures that the wishes cannot keep, in one of the builds that they forbid, and where nothing would help."""
    came = scene.as_received
    for barrier in barriers:
        changed = {path: choice for path, choice in barrier.choices.items() if choice.state is not State.RECEIVED}
        new = {path: scene.catalog.parts[c.part] if c.part is not None else None for path, c in changed.items()}
        figuring = Figuring(came.reach, scene.catalog, {**came.parts, **new}, came.figuring, changed.keys())
        call = came.reach.calls.get(barrier.rule)
        figure, place = came.reach.named(barrier.rule) if call is None else (call.figure, call.place)
        result = figuring.result(figure, place)
        assert result is not None, f"{barrier.rule} forbids, yet has no meaning"
        line = came.teller.line(figure, place, result, moved=True)
        yield line.sentence if call is None else came.teller.need(call, result)
        if barrier.in_vain:
            places = " or ".join(scene.sayings.words.place(path) for path in barrier.in_vain)
            yield f"Nothing in the catalog for the {places} changes that."


def _nothing_left(scene: Scene, conflict: Conflict) -> str:
    """What can be said where no two things speak against each other by themselves."""
    if conflict.exhausted is None:
        return "No choice of other parts in the catalog goes together with all of this."
    place = scene.sayings.words.place(conflict.exhausted)
    return f"Nothing in the catalog goes at the {place} together with all of this."


def _against(scene: Scene, path: str) -> Iterator[tuple[str, str]]:
    """What speaks against what is at a position beside what is around it: the other position and a sentence; clashes,
    then needs, then clashes that some remedy may fix, then what runs short."""
    model, part = scene.model, scene.planned(path)
    fixable = []
    for joint in scene.layout.joints:
        if part is None or path not in (joint.left, joint.right):
            continue
        kind = model.joint_kinds[joint.joint_kind]
        beside = joint.right if joint.left == path else joint.left
        other = scene.planned(beside)
        if other is None or not (scene.is_fresh(path) or scene.is_fresh(beside)):
            continue
        left, right = (part, other) if joint.left == path else (other, part)
        meeting = ((left, kind.left_kind), (right, kind.right_kind))
        if any(wanted not in model.kinds[one.kind].ancestors for one, wanted in meeting):
            continue
        for finding in scene.sayings.findings(kind, left, right):
            if finding.verdict is Verdict.CLASHES and finding.criterion.severity.constrains:
                line = (beside, scene.sayings.words.clash(kind, finding, left, right))
                if finding.criterion.remedies and not finding.lacking:
                    fixable.append(line)
                else:
                    yield line
    yield from _unmet(scene, path)
    yield from fixable
    yield from _short(scene, path)


def _unmet(scene: Scene, path: str) -> Iterator[tuple[str, str]]:
    """The needs that are not met: of what is at a position, and of what is around it."""

    def fails(need: Need, asking: Part, then: Part | None, when_state: State, then_state: State) -> bool:
        when = condition_code(scene.model, scene.catalog, need.when, asking)
        answer = condition_code(scene.model, scene.catalog, need.then, then)
        return judge_need(need, when, when_state, answer, then_state) is Verdict.CLASHES

    return _broken(scene, path, scene.model.needs, fails)


def _outdated(scene: Scene, path: str) -> Iterator[tuple[str, str]]:
    """The renewals that forbid an old part to stay, at a position or because of what is there."""

    def fails(renewal: Renewal, asking: Part, then: Part | None, when_state: State, then_state: State) -> bool:
        when, old = kind_code(scene.model, renewal.when_kind, asking), kind_code(scene.model, renewal.then_kind, then)
        return judge_renewal(when, when_state, old, then_state) is Verdict.CLASHES

    yield from _broken(scene, path, scene.model.renewals, fails)
    yield from _disturbed(scene, path)


def _disturbed(scene: Scene, path: str) -> Iterator[tuple[str, str]]:
    """The renewals of what comes off for a change that forbid an old part to stay."""
    came = scene.as_received
    for found in came.arrangement.disturbances.values():
        renewal = scene.model.renewals[found.rule]
        stays = scene.choices[found.then].state is State.RECEIVED
        if path not in (found.change, found.then) or not (stays and renewal.severity.constrains):
            continue
        changed = scene.choices[found.change].state is not State.RECEIVED
        old = kind_code(scene.model, renewal.then_kind, came.parts[found.then])
        if changed and old in (YES, UNSURE) and found.through in came.access.disturbed(found.change):
            part = scene.planned(found.change) or came.parts[found.change]
            beside = found.then if path == found.change else found.change
            yield beside, scene.sayings.words.rule(renewal.says, part.label if part else "nothing", found.through)


def _broken(
    scene: Scene,
    path: str,
    rules: Mapping[str, Rule],
    fails: Callable[[Rule, Part, Part | None, State, State], bool],
) -> Iterator[tuple[str, str]]:
    """The rules over pairs of positions that the plan breaks at a position: the other position and a sentence."""
    for pairing in scene.layout.pairings:
        rule = rules.get(pairing.rule)
        if rule is None or path not in (pairing.when, pairing.then) or not rule.severity.constrains:
            continue
        asking, then = scene.planned(pairing.when), scene.planned(pairing.then)
        states = scene.choices[pairing.when].state, scene.choices[pairing.then].state
        if asking is not None and fails(rule, asking, then, *states):
            beside = pairing.then if path == pairing.when else pairing.when
            yield beside, scene.sayings.words.rule(rule.says, asking.label, pairing.when)


def _short(scene: Scene, path: str) -> Iterator[tuple[str, str]]:
    """The resources that are overdrawn in which what is at a position takes part, or took part; to blame is that where
    it draws, else what was changed and draws."""
    for resource in scene.model.resources.values():
        tally = Tally(scene.model, scene.catalog, resource)
        shares = {other: tally.share(scene.planned(other)) for other in scene.choices}
        nets = {other: share.net for other, share in shares.items() if share is not None}
        known = [net for net in nets.values() if net is not None]
        takes_part = path in nets or tally.share(scene.received(path)) is not None
        if not (takes_part and resource.severity.constrains) or len(known) < len(nets) or sum(known) <= 0:
            continue
        drawing = [other for other in sorted(nets) if (nets[other] or 0) > 0]
        drawing.sort(key=lambda other: (other != path, other not in scene.changed))
        blamed = scene.planned(drawing[0])
        assert blamed is not None, "it draws"
        supplying = (other for other in sorted(nets) if other != path and (nets[other] or 0) < 0)
        yield next(supplying, path), scene.sayings.words.rule(resource.says, blamed.label, drawing[0])


def wish_line(ask: Ask, wish: str) -> WishLine:
    """A wish in words, by its place in the ask ("fit/0")."""
    sort, _, index = wish.partition("/")
    if sort == "fit":
        return WishLine(id=wish, sentence=_fit_sentence(ask.fit[int(index)]))
    patterns: Mapping[str, tuple[str, ...]] = {"keep": ask.keep, "remove": ask.remove, "renew": ask.renew}
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
