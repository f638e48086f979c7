"""Makes a problem small before a solver sees it, as far as can be done without losing an optimum.

Three steps, each a known one: arc consistency; leaving alone what need not be touched; merging values that every
rule sees alike.  The second rests on what costs mean here: beside positions as received, one that is left as
received costs nothing, and a position changed without need costs more than any money or unknown can save.
"""

import numpy as np

from benchmarks.instance import NEVER, UNSAFE, Flags, Instance, Numbers, Table


def reduced(whole: Instance) -> Instance:
    """The same optimum on fewer positions and values."""
    live = _open(whole)
    small = whole.only([np.flatnonzero(some) for some in live]).folded()
    return _merged(small).folded()


def _rows(instance: Instance, table: Table, live: list[Flags], turned: bool) -> Flags:
    """Which codes of the first view (of the second, if turned) find a partner among live values."""
    here, there = (table.second, table.first) if turned else (table.first, table.second)
    costs = table.costs.T if turned else table.costs
    view = instance.views[there]
    seen = np.zeros(view.size, dtype=bool)
    seen[view.codes[live[view.position]]] = True
    partners: Flags = np.any(costs[:, seen] < NEVER, axis=1)
    return np.asarray(partners[instance.views[here].codes], dtype=bool)


def _consistent(instance: Instance, tables: list[Table], live: list[Flags]) -> None:
    """Drop values that find no partner, until every value has one everywhere."""
    changed = set(range(len(live)))
    while changed:
        before, changed = changed, set()
        for table in tables:
            ends = instance.views[table.first].position, instance.views[table.second].position
            if not before & set(ends):
                continue
            for turned, here in enumerate(ends):
                kept = live[here] & _rows(instance, table, live, bool(turned))
                if kept.sum() < live[here].sum():
                    live[here] = kept
                    changed.add(here)


def _open(instance: Instance) -> list[Flags]:
    """Values that may matter: every consistent one where something may have to change, else as received only."""
    closed = [np.array([held[0] == "received" for held in values]) for values in instance.values]
    opened: set[int] = set()
    waiting = set(instance.named)
    while waiting:
        opened |= waiting
        live = [
            (own < NEVER) if place in opened | instance.kept else closed[place]
            for place, own in enumerate(instance.own)
        ]
        settled = opened | instance.kept
        ends = [(t, instance.views[t.first].position, instance.views[t.second].position) for t in instance.tables]
        _consistent(instance, [t for t, a, b in ends if a in settled and b in settled], live)
        waiting = {place for table, *_ in ends for place in _disturbed(instance, table, live, opened)}
        waiting |= _strained(instance, live, opened)
    return live


def _disturbed(instance: Instance, table: Table, live: list[Flags], opened: set[int]) -> set[int]:
    """The end of a table that cannot stay as received, or would be unsafe, beside some live value of the other."""
    first, second = instance.views[table.first], instance.views[table.second]
    if (first.position in opened) == (second.position in opened):
        return set()
    here, there = (first, second) if first.position in opened else (second, first)
    costs = table.costs if here is first else table.costs.T
    still = int(there.codes[np.flatnonzero(live[there.position])[0]])
    hurt = costs[here.codes[live[here.position]], still] >= UNSAFE
    return {there.position} if hurt.any() and there.position not in instance.kept else set()


def _strained(instance: Instance, live: list[Flags], opened: set[int]) -> set[int]:
    """Closed positions that take part in a resource which live values could exceed."""
    found: set[int] = set()
    for one in instance.sums:
        closed = [i for i in range(len(live)) if i not in opened]
        if any(one.missing[i][live[i]].any() for i in closed):
            continue
        if not any(one.changes[i][live[i]].any() for i in opened):
            continue
        known = [one.net[i][live[i] & ~one.missing[i]] for i in range(len(live))]
        if sum(int(net.max()) for net in known if net.size) > 0:
            takers = {i for i in closed if one.net[i].any() or one.missing[i].any() or one.changes[i].any()}
            found |= takers - instance.kept
    return found


def _merged(instance: Instance) -> Instance:
    """Of values that all tables and sums see alike, the cheapest."""
    seen: list[list[Numbers]] = [[] for _ in instance.own]
    for table in instance.tables:
        for number, costs in ((table.first, table.costs), (table.second, table.costs.T)):
            view = instance.views[number]
            _, rows = np.unique(costs, axis=0, return_inverse=True)
            seen[view.position].append(rows.reshape(-1)[view.codes])
    for one in instance.sums:
        for place, net in enumerate(one.net):
            seen[place] += [net, one.missing[place].astype(np.int64), one.changes[place].astype(np.int64)]
    places = []
    for own, columns in zip(instance.own, seen, strict=True):
        order = np.lexsort([np.arange(own.size), own])
        order = order[own[order] < NEVER] if (own < NEVER).any() else order
        rows = np.array([*columns, np.zeros(own.size, dtype=np.int64)]).T[order]
        _, first = np.unique(rows, axis=0, return_index=True)
        places.append(np.sort(order[first]))
    return instance.only(places)
