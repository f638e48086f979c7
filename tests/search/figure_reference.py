"""The reference for worlds with figures: every combination of what stands at the positions that a figure reads.

It shares no code with the search or with `crosspin.vehicle`: formulas are Python's own arithmetic on fractions, and
rounding is done by the decimal module's half-even rule on the exact fraction.
"""

from collections.abc import Iterator, Mapping
from fractions import Fraction
from functools import cached_property
from itertools import product
from typing import Any

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

    # ------------------------------------------------------------------ whole plans

    def rank(self, plan: Plan, active: frozenset[str]) -> Rank | None:
        found = super().rank(plan, active)
        if found is None:
            return None
        unsafe, lost, extra, unknown, money = found
        for figure, station in self.gauges:
            cost = self.figure_cost(figure, station, plan)
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
        for figure, station in reference.gauges:
            for held, cost in self.combinations(reference, figure, station):
                others = [self.is_held[path, one].negated() for path, one in held.items()]
                if cost is None:
                    self.cp.add_bool_or(others)
                elif any(cost):
                    together = self.cp.new_bool_var("")
                    self.cp.add_bool_or([*others, together])
                    self.terms.append(((cost[0], 0, 0, cost[1], cost[2]), together))

    def combinations(
        self, reference: FigureReference, figure: Json, station: str
    ) -> Iterator[tuple[dict[str, Held], tuple[int, int, Fraction] | None]]:
        parties = reference.parties(figure, station)
        for chosen in product(*(self.domains[path] for path in parties)):
            held: dict[str, Any] = dict(zip(parties, chosen, strict=True))
            yield held, reference.figure_cost(figure, station, {**reference.as_it_was, **held})
