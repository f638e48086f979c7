"""The reference for worlds with figures: every combination of what stands at the positions that a figure reads.

It shares no code with the search or with `crosspin.vehicle`: formulas are Python's own arithmetic on fractions, and
rounding is done by the decimal module's half-even rule on the exact fraction.
"""

from collections.abc import Callable, Iterator, Mapping
from fractions import Fraction
from functools import cached_property, partial
from itertools import product

from search.reference import Held, Json, Plan, Rank, Reference, _Programme

NOTHING, UNKNOWN, UNKNOWN_FRESH = "nothing", "unknown", "unknown of a fresh part"
Came = str | tuple[Fraction, ...]


def half_even(value: Fraction, decimals: int) -> Fraction:
    """A fraction rounded to so many decimals; `round` of a fraction is half to even."""
    return round(value, decimals) if decimals else Fraction(round(value))


class FigureReference(Reference):
    """One ontology with figures, catalog and ask, all as JSON."""

    @cached_property
    def gauges(self) -> list[tuple[Json, str]]:
        """Every figure with a limit that decides, at every station of its class."""
        return [
            (figure, station)
            for figure in self.model["figures"].values()
            for station, classes in sorted(self.layout["stations"].items())
            if set(figure["stations"]) & set(classes) and any(limit["decides"] for limit in figure["limits"])
        ]

    @cached_property
    def calls(self) -> list[tuple[Json, str, str]]:
        """Every need of a figure that constrains, at every station of the figure, and each position that it asks."""
        found = []
        for need in self.model["figure_needs"].values():
            figure = self.model["figures"][need["figure"]]
            for station in sorted(self.layout["stations"]):
                if need["severity"] in ("warns", "informs") or not self.is_worked_out(figure, station):
                    continue
                for p in self.layout["positions"]:
                    here = need["scope"] == "wholeVehicle" or p["station"] == station
                    if p["role"] == need["then_role"] and here:
                        found.append((need, station, p["path"]))
        return found

    @cached_property
    def as_it_was(self) -> Plan:
        return {path: ("received", part) for path, part in self.was.items()}

    # ------------------------------------------------------------------ what is read

    def stations_read(self, source: Json, station: str) -> list[str]:
        """The station's own, or those of the class that the source names."""
        if source["only_at"] is None:
            return [station]
        return [name for name, classes in sorted(self.layout["stations"].items()) if source["only_at"] in classes]

    def reads(self, source: Json, station: str) -> set[str]:
        """Every position that a source can read in a plan."""
        if source["constants"] or source["as_received"]:
            return set()
        at = self.stations_read(source, station)
        if source["figures"]:
            figures = [self.model["figures"][name] for name in source["figures"]]
            return {path for f in figures for s in at if self.is_worked_out(f, s) for path in self.inputs_read(f, s)}
        return {p["path"] for p in self.layout["positions"] if p["role"] in source["roles"] and p["station"] in at}

    def is_worked_out(self, figure: Json, station: str) -> bool:
        return bool(set(figure["stations"]) & set(self.layout["stations"][station]))

    def inputs_read(self, figure: Json, station: str) -> set[str]:
        found = {path for one in figure["inputs"] for path in self.reads(one["source"], station)}
        if figure["when_role"] is not None:
            found |= {p["path"] for p in self.layout["positions"]
                      if p["role"] == figure["when_role"] and p["station"] == station}  # fmt: skip
        return found

    def parties(self, figure: Json, station: str) -> list[str]:
        """Every position that bears on a figure and its limits."""
        limits = [limit["source"] for limit in figure["limits"] if limit["decides"]]
        return sorted(self.inputs_read(figure, station).union(*(self.reads(one, station) for one in limits)))

    def taken(self, source: Json, station: str, plan: Plan) -> Came:
        """What a source gives."""
        if source["constants"]:
            return (Fraction(source["constants"][0]),)
        if source["as_received"]:
            plan = self.as_it_was
        at = self.stations_read(source, station)
        if source["figures"]:
            figures = [self.model["figures"][name] for name in source["figures"]]
            found = [self.worked_out(f, s, plan) for f in figures for s in at if self.is_worked_out(f, s)]
        else:
            found = [
                self.read_off(source, plan[p["path"]])
                for p in self.layout["positions"]
                if p["role"] in source["roles"] and p["station"] in at
            ]
        return self.gathered(source, [one for one in found if one != NOTHING])

    def read_off(self, source: Json, held: Held) -> Came:
        if held[1] is None:
            return NOTHING
        part = self.parts[held[1]]
        feature, dimension = source["feature"], source["dimensions"][0]
        kinds = [name for name in self.model["kinds"] if self.could_be(part, name)]
        could_have = any(feature in self.model["kinds"][name]["features"] for name in kinds)
        if not could_have or feature in part["lacks"]:
            return NOTHING
        values = self.values(part, feature, dimension)
        if len(values) == 1:
            return tuple(values)
        return UNKNOWN_FRESH if held[0] == "fresh" else UNKNOWN

    @staticmethod
    def gathered(source: Json, found: list[Came]) -> Came:
        if not found:
            none = source["where_none"]
            if none is not None:
                return (Fraction(none),)
            return (Fraction(0),) if source["gathers"] == "sumOfAll" else NOTHING
        if UNKNOWN_FRESH in found:
            return UNKNOWN_FRESH
        if UNKNOWN in found:
            return UNKNOWN
        numbers = [value for one in found for value in one if isinstance(value, Fraction)]
        match source["gathers"]:
            case "alike":
                return found[0] if len(set(found)) == 1 else UNKNOWN
            case "sumOfAll":
                return (sum(numbers, Fraction(0)),)
            case "leastOfAll":
                return (min(numbers),)
        return (max(numbers),)

    def worked_out(self, figure: Json, station: str, plan: Plan) -> Came:
        """What a figure comes to, not rounded."""
        if figure["when_role"] is not None:
            there = [plan[p["path"]][1] for p in self.layout["positions"]
                     if p["role"] == figure["when_role"] and p["station"] == station]  # fmt: skip
            if not any(part is not None and self.could_be(self.parts[part], figure["when_kind"]) for part in there):
                return NOTHING
        taken = [self.taken(one["source"], station, plan) for one in figure["inputs"]]
        for absent in (NOTHING, UNKNOWN_FRESH, UNKNOWN):
            if absent in taken:
                return absent
        first, second = (one[0] for one in taken if isinstance(one, tuple))
        match figure["formula"]:
            case "sumOfTwo":
                return (first + second,)
            case "difference":
                return (first - second,)
        return (first / second,) if second > 0 else UNKNOWN

    # ------------------------------------------------------------------ what limits say

    def figure_cost(self, figure: Json, station: str, plan: Plan) -> tuple[int, int, Fraction] | None:
        """Unsafe, unknown and money of one figure in a plan; None where a limit forbids it."""
        value = self.worked_out(figure, station, plan)
        if value == NOTHING:
            return 0, 0, Fraction(0)
        before = self.worked_out(figure, station, self.as_it_was)
        money = Fraction(0)
        is_open = was_open = fresh = stays = False
        for limit in (one for one in figure["limits"] if one["decides"]):
            bound = self.taken(limit["source"], station, plan)
            old_bound = self.taken(limit["source"], station, self.as_it_was)
            was_open = was_open or (before != NOTHING and old_bound != NOTHING
                                    and (isinstance(before, str) or isinstance(old_bound, str)))  # fmt: skip
            if bound == NOTHING:
                continue
            gap = self.beyond(figure, limit, value, bound)
            if gap is None:
                is_open = True
                fresh = fresh or UNKNOWN_FRESH in (value, bound)
                continue
            excess = gap if limit["sense"] == "most" else -gap
            if excess <= 0:
                continue
            old = self.beyond(figure, limit, before, old_bound)
            if old is not None and (old if limit["sense"] == "most" else -old) >= excess:
                stays = True
                continue
            prices = [self.cure(name, gap) for name in limit["remedies"]]
            known = [price for price in prices if price is not None]
            if not known:
                return None
            money += min(known)
        unsafe = int(is_open and fresh and figure["safety_critical"])
        return unsafe, int(is_open and not stays and not was_open), money

    def beyond(self, figure: Json, limit: Json, value: Came, bound: Came) -> Fraction | None:
        """The figure less its bound, both rounded; None where either is not known."""
        if isinstance(value, str) or isinstance(bound, str):
            return None
        decimals = figure["decimals"]
        return half_even(value[0], decimals) - half_even(Fraction(limit["factor"]) * bound[0], decimals)

    def cure(self, name: str, gap: Fraction) -> Fraction | None:
        remedy = self.model["remedies"][name]
        low, high = remedy["lower"], remedy["upper"]
        if (low is not None and gap < Fraction(low)) or (high is not None and gap > Fraction(high)):
            return None
        return Fraction(self.model["operations"][remedy["operation"]]["hours"]) * self.rate

    # ------------------------------------------------------------------ what figures call for

    def asks(self, need: Json, station: str, plan: Plan) -> str:
        """Whether a figure lies in the range of its need: "yes", "no" or "unsure"."""
        figure = self.model["figures"][need["figure"]]
        value = self.worked_out(figure, station, plan)
        if value == NOTHING:
            return "no"
        if isinstance(value, str):
            return "unsure"
        told = half_even(value[0], figure["decimals"])
        low, high = need["lower"], need["upper"]
        inside = (low is None or told >= Fraction(low)) and (high is None or told <= Fraction(high))
        return "yes" if inside else "no"

    def call_cost(self, need: Json, station: str, path: str, plan: Plan) -> tuple[int, int, Fraction] | None:
        """Unsafe, unknown and money of one need that a figure triggers; None where it is not met."""
        now, was = self.asks(need, station, plan), self.asks(need, station, self.as_it_was)
        state, part = plan[path]
        together = state == "received" and was in ("yes", now)
        if now == "no" or together:
            return 0, 0, Fraction(0)
        if part is None:
            met: bool | None = need["then"] is None
        else:
            told = "no" if need["then"] is None else self.ask_condition(need["then"], part)
            met = {"yes": True, "no": False}.get(told)
        if met is True:
            return 0, 0, Fraction(0)
        if met is None or now == "unsure":
            return 0, 1, Fraction(0)
        return None

    def deciding(self) -> Iterator[tuple[list[str], Callable[[Plan], tuple[int, int, Fraction] | None]]]:
        """Every figure with limits and every need of a figure: the positions that bear on it, and what it costs."""
        for figure, station in self.gauges:
            yield self.parties(figure, station), partial(self.figure_cost, figure, station)
        for need, station, path in self.calls:
            read = self.inputs_read(self.model["figures"][need["figure"]], station)
            yield sorted(read | {path}), partial(self.call_cost, need, station, path)

    # ------------------------------------------------------------------ whole plans

    def rank(self, plan: Plan, active: frozenset[str]) -> Rank | None:
        found = super().rank(plan, active)
        if found is None:
            return None
        unsafe, lost, extra, unknown, money = found
        for _, cost_of in self.deciding():
            cost = cost_of(plan)
            if cost is None:
                return None
            unsafe, unknown, money = unsafe + cost[0], unknown + cost[1], money + cost[2]
        return unsafe, lost, extra, unknown, money

    def solve(self, active: frozenset[str] | None = None, force: Mapping[str, Held] | None = None) -> Rank | None:
        chosen = self.every_wish() if active is None else active
        domains = self.domains(chosen, force)
        if not all(domains.values()):
            return None
        return _FigureProgramme(self, domains, chosen).solve()


class _FigureProgramme(_Programme):
    """The programme of a world with figures: what each combination at a figure's positions costs."""

    def __init__(self, reference: FigureReference, domains: dict[str, list[Held]], active: frozenset[str]) -> None:
        super().__init__(reference, domains, active)
        for parties, cost_of in reference.deciding():
            for chosen in product(*(self.domains[path] for path in parties)):
                held: dict[str, Held] = dict(zip(parties, chosen, strict=True))
                cost = cost_of({**reference.as_it_was, **held})
                others = [self.is_held[path, one].negated() for path, one in held.items()]
                if cost is None:
                    self.cp.add_bool_or(others)
                elif any(cost):
                    together = self.cp.new_bool_var("")
                    self.cp.add_bool_or([*others, together])
                    self.terms.append(((cost[0], 0, 0, cost[1], cost[2]), together))
