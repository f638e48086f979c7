"""What a need or a renewal says of two positions, as small tables over everything it can see of them."""

from typing import Final

import numpy as np

from crosspin.catalog.catalog import Catalog
from crosspin.knockon.limits import INFINITE
from crosspin.knockon.mating import Costs
from crosspin.knockon.proposal import State
from crosspin.knockon.weights import Weights
from crosspin.model.judge import Judged, is_of_kind, meets
from crosspin.model.schema import Condition, Model, Need, Renewal, Verdict

STATES: Final = {State.RECEIVED: 0, State.EMPTIED: 1, State.FRESH: 2}

EMPTY: Final = 0
NO: Final = 1
UNSURE: Final = 2
YES: Final = 3
_CODES: Final = 4


def _code(answer: bool | None) -> int:
    if answer is None:
        return UNSURE
    return YES if answer else NO


def condition_code(model: Model, catalog: Catalog, condition: Condition | None, part: Judged | None) -> int:
    """EMPTY, or whether the part meets the condition; where there is no condition, NO for every part."""
    if part is None:
        return EMPTY
    return NO if condition is None else _code(meets(model, condition, part, catalog.specs))


def kind_code(model: Model, kind: str, part: Judged | None) -> int:
    """EMPTY, or whether the part is of the kind."""
    return EMPTY if part is None else _code(is_of_kind(model, part, kind))


def judge_need(need: Need, when: int, when_state: State, then: int, then_state: State) -> Verdict | None:
    """What a need says of two codes; None where it is not judged or does not apply."""
    when_fresh = when_state is State.FRESH
    judged = when_fresh or (not need.when_fresh and then_state is not State.RECEIVED)
    if not judged or when in (EMPTY, NO):
        return None
    return answered(when, then, need.then is None)


def answered(when: int, then: int, asks_empty: bool) -> Verdict:
    """What a need that speaks, surely (YES) or not (UNSURE), says of what stands at the position it asks."""
    met = then
    if then == EMPTY:
        met = YES if asks_empty else NO
    if met == YES:
        return Verdict.FITS
    if met == UNSURE or when == UNSURE:
        return Verdict.UNKNOWN
    return Verdict.CLASHES


def judge_renewal(when: int, when_state: State, then: int, then_state: State) -> Verdict | None:
    """What a renewal says of two codes; None where it is not judged."""
    if when_state is not State.FRESH or when != YES:
        return None
    stays = then_state is State.RECEIVED and then in (YES, UNSURE)
    return Verdict.CLASHES if stays else Verdict.FITS


def disturbance_matrix() -> Costs:
    """Packed costs where something comes off for a change: row by the state of what is changed, column
    3 x then code + state; what is to be renewed may not stay."""
    matrix = np.zeros((len(STATES), _CODES * len(STATES)), dtype=np.int64)
    for state, row in STATES.items():
        if state is not State.RECEIVED:
            for then in (YES, UNSURE):
                matrix[row, 3 * then + STATES[State.RECEIVED]] = INFINITE
    matrix.setflags(write=False)
    return matrix


def pairing_matrix(rule: Need | Renewal, weights: Weights) -> Costs:
    """Packed costs; row 3 x when code + state, column likewise for the then-position."""
    prices = {None: 0, Verdict.FITS: 0, Verdict.UNKNOWN: weights.unknown, Verdict.CLASHES: INFINITE}
    size = _CODES * len(STATES)
    matrix = np.zeros((size, size), dtype=np.int64)
    for when in range(_CODES):
        for then in range(_CODES):
            for when_state, row in STATES.items():
                for then_state, column in STATES.items():
                    if isinstance(rule, Need):
                        verdict = judge_need(rule, when, when_state, then, then_state)
                    else:
                        verdict = judge_renewal(when, when_state, then, then_state)
                    matrix[3 * when + row, 3 * then + column] = prices[verdict]
    matrix.setflags(write=False)
    return matrix
