"""Asks drawn at random from the seed data: every plan that the search proposes, the rules prove.

`Desk.ask` raises `Disproved` where the rules derive anything else than what the search claims, so an answer is
the check; the rules themselves are held to pySHACL elsewhere.
"""

import random
from collections import Counter

from crosspin.answer.plan import Plan
from crosspin.knockon.ask import Ask, Fit
from seed import orderable, seed_desk, seed_library


def random_ask(chance: random.Random) -> Ask:
    """One to three parts, each asked into a position whose role takes it."""
    model, catalog = seed_desk().holdings.model, seed_desk().holdings.catalog
    vehicle = chance.choice(list(catalog.vehicles.values()))
    fits: dict[str, Fit] = {}
    while len(fits) < 1 or (len(fits) < 3 and chance.random() < 0.4):
        position = chance.choice(model.layouts[vehicle.layout].positions)
        candidates = orderable(seed_library(), model.roles[position.role].kind)
        if candidates:
            fits[position.path] = Fit(at=position.path, part=chance.choice(candidates))
    return Ask(vehicle=vehicle.id, fit=tuple(fits.values()))


def test_the_rules_prove_what_the_search_proposes() -> None:
    chance = random.Random(20261125)
    told = Counter[str]()
    for _ in range(16):
        answer = seed_desk().ask(random_ask(chance))
        told[answer.verdict] += 1
        if isinstance(answer, Plan):
            changed = {step.position for step in answer.steps if step.action != "carry over"}
            asked = {step.position for step in answer.steps if step.asked}
            assert answer.cost.extra_positions == len(changed - asked)
        else:
            assert answer.wishes
            assert answer.ways_out
    assert told["plan"] >= 3
    assert told["contradiction"] >= 3


def test_whatever_the_customer_wants_out_goes() -> None:
    """One to three positions emptied, whatever their roles: proved, or the removals contradict something."""
    chance = random.Random(20261126)
    model, catalog = seed_desk().holdings.model, seed_desk().holdings.catalog
    told = Counter[str]()
    for _ in range(8):
        vehicle = chance.choice(list(catalog.vehicles.values()))
        filled = sorted({*vehicle.parts, *vehicle.unseen})
        out = chance.sample(filled, chance.randrange(1, 4))
        answer = seed_desk().ask(Ask(vehicle=vehicle.id, remove=tuple(out)))
        told[answer.verdict] += 1
        if isinstance(answer, Plan):
            gone = {step.position for step in answer.steps if step.action == "remove"}
            assert gone >= set(out)
            roles = {p.path: model.roles[p.role] for p in model.layouts[vehicle.layout].positions}
            assert all(roles[path].may_be_empty for path in gone - set(out))
    assert told["plan"] >= 3
