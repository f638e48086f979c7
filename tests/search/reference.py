"""A second reading of what a plan is and costs, to hold the search against.

It starts from the published JSON of the ontology and the catalog and shares no code with the search nor
with the judging of joints.  Plans are found by a general solver (OR-Tools CP-SAT) or by trying every one.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from fnmatch import fnmatchcase
from fractions import Fraction
from functools import cache, cached_property
from itertools import combinations, product
from typing import Any

from ortools.sat.python import cp_model

Json = Any
# What stands at a position: "received", "fresh" or "emptied", and the part id or None where it is empty.
Held = tuple[str, str | None]
Plan = dict[str, Held]
# unsafe, lost, extra, unknown, money
Rank = tuple[int, int, int, int, Fraction]
NOTHING: Rank = (0, 0, 0, 0, Fraction(0))
LIGHT = ("warns", "informs")
"""Severities that no plan is held to."""
ORDER = {"received": 0, "emptied": 1, "fresh": 2}


@dataclass(frozen=True)
class Met:
    """What a joint says: forbidden, or what it costs."""

    forbidden: bool
    unknown: bool = False
    unsafe_left: bool = False
    unsafe_right: bool = False
    money: Fraction = Fraction(0)


class Reference:
    """One ontology, catalog and ask, all as JSON."""

    def __init__(self, model: Json, catalog: Json, ask: Json) -> None:
        self.model = model
        self.catalog = catalog
        self.ask = ask
        vehicle = catalog["vehicles"][ask["vehicle"]]
        self.layout = model["layouts"][vehicle["layout"]]
        self.role = {p["path"]: model["roles"][p["role"]] for p in self.layout["positions"]}
        self.paths = sorted(self.role)
        self.parts = dict(catalog["parts"])
        self.was: dict[str, str | None] = {}
        for path in self.paths:
            if path in vehicle["unseen"]:
                blind = f"?{path}"
                self.parts[blind] = {
                    "id": blind, "kind": self.role[path]["kind"], "price": None, "stock": None,
                    "specs": {}, "lacks": [], "unidentified": True,
                }  # fmt: skip
                self.was[path] = blind
            else:
                self.was[path] = vehicle["parts"].get(path)
        self.rate = Fraction(model["shop"]["hourly_rate"])
        self.wishes = self.read_wishes()
        self.joint = cache(self.meet)
        self.condition = cache(self.check_condition)

    # ------------------------------------------------------------------ wishes and domains

    def read_wishes(self) -> dict[str, dict[str, Json]]:
        """For every wish, what it says at every position: a list of part ids or a description for a fit."""
        wishes: dict[str, dict[str, Json]] = {}
        for i, fit in enumerate(self.ask["fit"]):
            at: dict[str, Json] = {}
            for path in self.paths:
                if not fnmatchcase(path, fit["at"]):
                    continue
                if fit["kit"] is not None:
                    for line in self.catalog["kits"][fit["kit"]]["lines"]:
                        if self.is_a(self.parts[line["part"]]["kind"], self.role[path]["kind"]):
                            at[path] = {"part": line["part"]}
                else:
                    at[path] = fit
            wishes[f"fit/{i}"] = at
        for verb in ("keep", "remove"):
            for i, pattern in enumerate(self.ask[verb]):
                wishes[f"{verb}/{i}"] = {path: None for path in self.paths if fnmatchcase(path, pattern)}
        return wishes

    def is_a(self, kind: str, other: str) -> bool:
        return bool(other in self.model["kinds"][kind]["ancestors"])

    def granted(self, path: str, wish: str, held: Held) -> bool:
        """Whether a wish is granted by what stands at one of its positions."""
        verb = wish.split("/")[0]
        if verb == "keep":
            return held[0] == "received"
        if verb == "remove":
            return held == (("received", None) if self.was[path] is None else ("emptied", None))
        said = self.wishes[wish][path]
        if held[1] is None:
            return False
        part = self.parts[held[1]]
        if said.get("part") is not None:
            return bool(held[1] == said["part"])
        if part.get("unidentified"):
            return False
        if said["kind"] is not None and not self.is_a(part["kind"], said["kind"]):
            return False
        return all(self.reading_agrees(part, reading) for reading in said["readings"])

    def reading_agrees(self, part: Json, reading: Json) -> bool:
        values = self.values(part, reading["feature"], reading["dimension"])
        dimension = self.model["dimensions"][reading["dimension"]]
        if not values or (len(values) > 1 and not dimension["many"]):
            return False
        if dimension["datatype"] == "code":
            return reading["equals"] in values
        if reading["equals"] is not None:
            return Fraction(reading["equals"]) in values
        low, high = reading["least"], reading["most"]
        return any((low is None or Fraction(low) <= v) and (high is None or v <= Fraction(high)) for v in values)

    def orderable(self, path: str) -> list[str]:
        """Parts that may come in; one that the ask names here by id need not be in stock, whether or not the
        wish is active."""
        kind = self.role[path]["kind"]
        named = {at[path].get("part") for w, at in self.wishes.items() if w.startswith("fit/") and path in at}
        return [
            p["id"]
            for p in self.parts.values()
            if p["price"] is not None
            and self.is_a(p["kind"], kind)
            and (p["id"] in named or not self.ask["in_stock_only"] or (p["stock"] or 0) > 0)
        ]

    def domain(self, path: str, active: frozenset[str]) -> list[Held]:
        """What may stand at a position while the active wishes hold, the preferred first.  What the ask
        removes may go whatever the role says, whether or not the wish is active."""
        here = [wish for wish in self.wishes if wish in active and path in self.wishes[wish]]
        was = self.was[path]
        options: list[Held] = [("received", was)]
        asked = any(path in at for wish, at in self.wishes.items() if wish.startswith("remove/"))
        if was is not None and (self.role[path]["may_be_empty"] or asked):
            options.append(("emptied", None))
        options += [("fresh", part) for part in self.orderable(path)]
        options = [held for held in options if all(self.granted(path, wish, held) for wish in here)]
        return sorted(options, key=lambda held: (ORDER[held[0]], held[1] or ""))

    def counts_extra(self, path: str, active: frozenset[str]) -> bool:
        return not any(w in active and not w.startswith("keep/") and path in self.wishes[w] for w in self.wishes)

    # ------------------------------------------------------------------ joints

    def values(self, part: Json, feature: str, dimension: str | None) -> list[Any]:
        if feature in part["lacks"] or feature not in part["specs"] or dimension is None:
            return []
        raw = self.catalog["specs"][part["specs"][feature]]["values"].get(dimension, [])
        number = self.model["dimensions"][dimension]["datatype"] != "code"
        return [Fraction(value) if number else value for value in raw]

    def could_be(self, part: Json, kind: str) -> bool:
        return self.is_a(part["kind"], kind) or (bool(part.get("unidentified")) and self.is_a(kind, part["kind"]))

    def test(self, criterion: Json, left: Json, left_at: str, right: Json, right_at: str) -> tuple[str, bool, bool]:
        """Verdict of one criterion, and whether a reading of the left or the right part is at fault."""
        a = self.values(left, left_at, criterion["left"])
        left_fault = len(a) != 1
        right_fault = False
        if criterion["right"] is None:
            number = self.model["dimensions"][criterion["left"]]["datatype"] != "code"
            b: list[Any] = [Fraction(criterion["constant"]) if number else criterion["constant"]]
            c: list[Any] = []
        else:
            b = self.values(right, right_at, criterion["right"])
            right_fault = not b or (len(b) > 1 and not self.model["dimensions"][criterion["right"]]["many"])
            c = self.values(right, right_at, criterion["right_high"])
            right_fault = right_fault or (criterion["right_high"] is not None and len(c) != 1)
        if left_fault or right_fault:
            return "unknown", left_fault, right_fault
        return ("fits" if self.compare(criterion, a[0], b, c) else "clashes"), False, False

    @staticmethod
    def compare(criterion: Json, a: Any, b: list[Any], c: list[Any]) -> bool:
        low = None if criterion["lower"] is None else Fraction(criterion["lower"])
        high = None if criterion["upper"] is None else Fraction(criterion["upper"])
        match criterion["comparator"]:
            case "equals":
                return bool(a == b[0])
            case "isOneOf":
                return a in b
            case "withinRange":
                return bool(b[0] <= a <= c[0])
            case "differenceWithin":
                gap = a - Fraction(criterion["right_factor"]) * b[0]
                return (low is None or gap >= low) and (high is None or gap <= high)
            case "percentWithin":
                # Percent of the right reading; without dividing, so that nought may stand there.
                gap = 100 * (a - b[0])
                return (low is None or gap >= low * b[0]) and (high is None or gap <= high * b[0])
        raise AssertionError(criterion["comparator"])

    def meet(self, joint_kind: str, left_id: str, right_id: str) -> Met | None:
        """What a joint kind says of two parts; None where they are not in contact."""
        kind = self.model["joint_kinds"][joint_kind]
        left, right = self.parts[left_id], self.parts[right_id]
        if not (self.could_be(left, kind["left_kind"]) and self.could_be(right, kind["right_kind"])):
            return None
        left_at, right_at = kind["left_feature"], kind["right_feature"]
        criteria = [criterion for criterion in kind["criteria"] if criterion["severity"] not in LIGHT]
        if left_at in left["lacks"] or right_at in right["lacks"]:
            return Met(forbidden=bool(criteria))
        money = Fraction(0)
        unknown = unsafe_left = unsafe_right = forbidden = False
        for criterion in criteria:
            verdict, left_fault, right_fault = self.test(criterion, left, left_at, right, right_at)
            if verdict == "unknown":
                unknown = True
                if criterion["safety_critical"]:
                    unsafe_left, unsafe_right = unsafe_left or left_fault, unsafe_right or right_fault
            elif verdict == "clashes":
                prices = [self.mend(r, criterion, left, left_at, right, right_at) for r in criterion["remedies"]]
                known = [price for price in prices if price is not None]
                forbidden = forbidden or not known
                money += min(known, default=Fraction(0))
        if forbidden:
            return Met(forbidden=True)
        return Met(False, unknown, unsafe_left, unsafe_right, money)

    def mend(self, name: str, criterion: Json, left: Json, left_at: str, right: Json, right_at: str) -> Fraction | None:
        """What a remedy costs for a criterion that clashes, None where it does not apply."""
        remedy = self.model["remedies"][name]
        a = self.values(left, left_at, criterion["left"])
        if remedy["left_code"] is not None and a != [remedy["left_code"]]:
            return None
        if remedy["lower"] is not None or remedy["upper"] is not None:
            b = self.values(right, right_at, criterion["right"]) if criterion["right"] else [criterion["constant"]]
            if self.model["dimensions"][criterion["left"]]["datatype"] == "code" or len(b) != 1:
                return None
            gap = a[0] - Fraction(criterion["right_factor"]) * Fraction(b[0])
            if remedy["lower"] is not None and gap < Fraction(remedy["lower"]):
                return None
            if remedy["upper"] is not None and gap > Fraction(remedy["upper"]):
                return None
        price = Fraction(0)
        if remedy["operation"] is not None:
            price += Fraction(self.model["operations"][remedy["operation"]]["hours"]) * self.rate
        if remedy["adapter_kind"] is None:
            return price
        outer, inner = remedy["adapter_left_feature"], remedy["adapter_right_feature"]
        adapters = [
            Fraction(part["price"])
            for part in self.catalog["parts"].values()
            if part["price"] is not None
            and self.is_a(part["kind"], remedy["adapter_kind"])
            and not (self.ask["in_stock_only"] and not part["stock"])
            and self.test(remedy["adapter_left_criterion"], left, left_at, part, outer)[0] == "fits"
            and self.test(remedy["adapter_right_criterion"], part, inner, right, right_at)[0] == "fits"
        ]
        return price + min(adapters) if adapters else None

    def joint_cost(self, joint: Json, left: Held, right: Held) -> Rank | None:
        """Cost of a joint between two positions, None where it clashes."""
        if left[1] is None or right[1] is None or "fresh" not in (left[0], right[0]):
            return NOTHING
        met = self.joint(joint["joint_kind"], left[1], right[1])
        if met is None:
            return NOTHING
        if met.forbidden:
            return None
        unsafe = (met.unsafe_left and left[0] == "fresh") or (met.unsafe_right and right[0] == "fresh")
        return int(unsafe), 0, 0, int(met.unknown), met.money

    # ------------------------------------------------------------------ needs, renewals, resources

    def check_condition(self, kind: str, feature: str | None, dimension: str | None, limits: Json, part_id: str) -> str:
        """yes, no or unsure."""
        part = self.parts[part_id]
        if not self.could_be(part, kind):
            return "no"
        sure = "yes" if self.is_a(part["kind"], kind) else "unsure"
        if feature is None or dimension is None:
            return sure
        if feature in part["lacks"]:
            return "no"
        codes, lower, upper = limits
        values = self.values(part, feature, dimension)
        many = self.model["dimensions"][dimension]["many"]
        if not values or (len(values) > 1 and not many):
            return "unsure"
        if many or codes:
            holds = any(value in codes for value in values)
        else:
            holds = (lower is None or values[0] >= Fraction(lower)) and (upper is None or values[0] <= Fraction(upper))
        return sure if holds else "no"

    def ask_condition(self, condition: Json, part_id: str) -> str:
        limits = (tuple(condition["codes"]), condition["lower"], condition["upper"])
        return self.condition(condition["kind"], condition["feature"], condition["dimension"], limits, part_id)

    def pairing_cost(self, pairing: Json, when: Held, then: Held) -> Rank | None:
        ruling = self.model["renewals"].get(pairing["rule"]) or self.model["needs"][pairing["rule"]]
        if when[1] is None or ruling["severity"] in LIGHT:
            return NOTHING
        if pairing["rule"] in self.model["renewals"]:
            rule = self.model["renewals"][pairing["rule"]]
            if when[0] != "fresh" or not self.is_a(self.parts[when[1]]["kind"], rule["when_kind"]):
                return NOTHING
            stays = then[0] == "received" and then[1] is not None
            return None if stays and self.could_be(self.parts[str(then[1])], rule["then_kind"]) else NOTHING
        rule = self.model["needs"][pairing["rule"]]
        if when[0] != "fresh" and (rule["when_fresh"] or then[0] == "received"):
            return NOTHING
        wanted = self.ask_condition(rule["when"], when[1])
        if wanted == "no":
            return NOTHING
        if rule["then"] is None:
            given = "yes" if then[1] is None else "no"
        else:
            given = "no" if then[1] is None else self.ask_condition(rule["then"], then[1])
        if given == "yes":
            return NOTHING
        if given == "unsure" or wanted == "unsure":
            return 0, 0, 0, 1, Fraction(0)
        return None

    # ------------------------------------------------------------------ what comes off for a change

    def near(self, path: str) -> list[str]:
        """The other positions at the same station, and on the same side where both have one; all, where one of the
        two belongs to the whole vehicle."""
        spots = {p["path"]: p for p in self.layout["positions"]}
        here = spots[path]
        wide = [name for name, classes in self.layout["stations"].items() if "WholeVehicle" in classes]
        return [
            other
            for other, there in spots.items()
            if other != path
            and (there["station"] == here["station"] or here["station"] in wide or there["station"] in wide)
            and not (here["side"] and there["side"] and here["side"] != there["side"])
        ]

    def names(self, path: str) -> set[str]:
        """What a position's part is called where something says that it lies under it: its role, its kinds."""
        part = self.parts[str(self.was[path])]
        kinds = [] if part.get("unidentified") else self.model["kinds"][part["kind"]]["ancestors"]
        return {self.role[path]["id"], *kinds}

    def reach(self) -> tuple[dict[str, set[str]], dict[str, set[str]]]:
        """For every position what lies directly over its part, and what is carried by it, as received."""
        over: dict[str, set[str]] = {}
        carried: dict[str, set[str]] = {}
        spots = {p["path"]: p for p in self.layout["positions"]}
        for path in self.paths:
            under = set(self.role[path]["under"])
            part = self.parts.get(self.was[path] or "")
            if part is not None and not part.get("unidentified"):
                for kind in self.model["kinds"][part["kind"]]["ancestors"]:
                    under |= set(self.model["kinds"][kind]["under"])
            near = [other for other in self.near(path) if self.was[other] is not None]
            at_home = {role: any(spots[p]["station"] == spots[path]["station"] for p in self.paths
                                 if self.role[p]["id"] == role) for role in self.model["roles"]}  # fmt: skip
            over[path] = {
                other
                for other in near
                if self.names(other) & under
                and (spots[other]["station"] == spots[path]["station"] or not at_home[self.role[other]["id"]])
            }
            carried[path] = {other for other in self.near(path) if self.role[other]["within"] == self.role[path]["id"]}
        return over, carried

    @cached_property
    def comes_off(self) -> dict[str, set[str]]:
        """For a change at every position what comes off for it: by steps, until nothing is added."""
        over, carried = self.reach()
        found: dict[str, set[str]] = {}
        for path in self.paths:
            bearing, off = {path}, set(over[path])
            while True:
                more = {c for p in bearing for c in carried[p]} | bearing
                wider = off | {c for c in more - {path} if self.was[c] is not None}
                wider |= {o for p in wider | {path} for o in over[p]}
                if (more, wider) == (bearing, off):
                    break
                bearing, off = more, wider
            found[path] = off - {path}
        return found

    def disturbing(self) -> list[tuple[str, str, Json]]:
        """A change, what must then not stay, and the renewal that says so."""
        renewals = self.model["renewals"]
        return [
            (path, pairing["then"], renewals[pairing["rule"]])
            for pairing in self.layout["pairings"]
            if pairing["rule"] in renewals
            and renewals[pairing["rule"]]["when_disturbed"]
            and renewals[pairing["rule"]]["severity"] not in LIGHT
            for path in self.paths
            if pairing["when"] in self.comes_off[path] and pairing["then"] != path
        ]

    def disturbed_cost(self, rule: Json, change: Held, then: Held) -> Rank | None:
        """Nothing, or None where an old part would stay that comes off for a change."""
        stays = then[0] == "received" and then[1] is not None and self.could_be(self.parts[then[1]], rule["then_kind"])
        return None if change[0] != "received" and stays else NOTHING

    def takes_part(self, resource: Json, part_id: str | None) -> tuple[bool, bool, Fraction]:
        """Whether a part takes part in a resource, whether a reading of it is missing, its draw less supply."""
        if part_id is None:
            return False, False, Fraction(0)
        part = self.parts[part_id]
        here = missing = False
        net = Fraction(0)
        for end, sign in (("draw", 1), ("supply", -1)):
            feature = resource[f"{end}_feature"]
            kinds = [k for k in self.model["kinds"] if self.could_be(part, k)]
            if any(feature in self.model["kinds"][k]["features"] for k in kinds) and feature not in part["lacks"]:
                here = True
                values = self.values(part, feature, resource[f"{end}_dimension"])
                if len(values) == 1:
                    net += sign * values[0]
                else:
                    missing = True
        return here, missing, net

    def held_to(self) -> list[Json]:
        """The resources that may not be overdrawn."""
        return [resource for resource in self.model["resources"].values() if resource["severity"] not in LIGHT]

    # ------------------------------------------------------------------ functions

    def gives(self, function: str, part_id: str | None) -> bool:
        """Whether a part surely gives a function: it, its kind or a kind above says so."""
        if part_id is None:
            return False
        part = self.parts[part_id]
        return function in self.model["kinds"][part["kind"]]["functions"] or function in part.get("functions", ())

    def had(self) -> list[tuple[str, list[str]]]:
        """Every function that the vehicle had, once for each place, with the positions at which it could be given."""
        spots = {p["path"]: p for p in self.layout["positions"]}
        found: dict[tuple[str, Json, Json], list[str]] = {}
        for function, said in self.model["functions"].items():
            for giver in (path for path in self.paths if self.gives(function, self.was[path])):
                station, side = spots[giver]["station"], spots[giver]["side"]
                if said["scope"] == "wholeVehicle":
                    found[function, None, None] = self.paths
                else:
                    found[function, station, side] = [
                        path
                        for path, spot in spots.items()
                        if spot["station"] == station and (not side or not spot["side"] or side == spot["side"])
                    ]
        return [(function, paths) for (function, _, _), paths in found.items()]

    # ------------------------------------------------------------------ a whole plan

    def rank(self, plan: Plan, active: frozenset[str]) -> Rank | None:
        """The cost of a plan, None where something forbids it.  Does not look at domains."""
        unsafe = unknown = extra = 0
        money = Fraction(0)
        for path, held in plan.items():
            if held[0] != "received" and self.counts_extra(path, active):
                extra += 1
            if held[0] == "fresh":
                money += Fraction(self.parts[str(held[1])]["price"])
        costs = [self.joint_cost(j, plan[j["left"]], plan[j["right"]]) for j in self.layout["joints"]]
        costs += [self.pairing_cost(p, plan[p["when"]], plan[p["then"]]) for p in self.layout["pairings"]]
        costs += [self.disturbed_cost(rule, plan[path], plan[then]) for path, then, rule in self.disturbing()]
        for cost in costs:
            if cost is None:
                return None
            unsafe, unknown, money = unsafe + cost[0], unknown + cost[3], money + cost[4]
        for resource in self.held_to():
            shares = {path: self.takes_part(resource, held[1]) for path, held in plan.items()}
            judged = any(
                plan[path][0] != "received" and (shares[path][0] or self.takes_part(resource, self.was[path])[0])
                for path in plan
            )
            if not judged:
                continue
            if any(missing for _, missing, _ in shares.values()):
                unknown += 1
            elif sum(net for _, _, net in shares.values()) > 0:
                return None
        lost = sum(not any(self.gives(function, plan[path][1]) for path in paths) for function, paths in self.had())
        return unsafe, lost, extra, unknown, money

    def every_wish(self) -> frozenset[str]:
        return frozenset(self.wishes)

    def domains(self, active: frozenset[str], force: Mapping[str, Held] | None = None) -> dict[str, list[Held]]:
        found = {path: self.domain(path, active) for path in self.paths}
        for path, held in (force or {}).items():
            found[path] = [held] if held in found[path] else []
        return found

    def enumerate_plans(self, active: frozenset[str]) -> Iterator[tuple[Plan, Rank]]:
        """Every plan there is, with its cost."""
        domains = self.domains(active)
        for held in product(*domains.values()):
            plan = dict(zip(domains, held, strict=True))
            rank = self.rank(plan, active)
            if rank is not None:
                yield plan, rank

    def preference(self, plan: Plan) -> list[tuple[int, str]]:
        """How equal plans are ordered: position by position, by path."""
        return [(ORDER[plan[path][0]], plan[path][1] or "") for path in self.paths]

    def solve(self, active: frozenset[str] | None = None, force: Mapping[str, Held] | None = None) -> Rank | None:
        """The cost of the best plan, by CP-SAT; None where there is no plan."""
        chosen = self.every_wish() if active is None else active
        domains = self.domains(chosen, force)
        if not all(domains.values()):
            return None
        return _Programme(self, domains, chosen).solve()

    def best_ways_out(self, wish: str | None = None) -> tuple[int, Rank]:
        """Fewest wishes to give up (`wish` among them) and the cost of the best plan without them."""
        everything = sorted(self.wishes)
        for count in range(len(everything) + 1):
            ranks = [
                self.solve(self.every_wish() - set(lost))
                for lost in combinations(everything, count)
                if wish is None or wish in lost
            ]
            known = [rank for rank in ranks if rank is not None]
            if known:
                return count, min(known)
        raise AssertionError("a vehicle left as it was is always a plan")


class _Programme:
    """The same question as an integer programme: one Boolean for every value of every position."""

    def __init__(self, reference: Reference, domains: dict[str, list[Held]], active: frozenset[str]) -> None:
        self.reference = reference
        self.domains = domains
        self.cp = cp_model.CpModel()
        self.is_held = {
            (path, held): self.cp.new_bool_var(f"{path} {held}")
            for path, options in domains.items()
            for held in options
        }
        self.terms: list[tuple[Rank, Any]] = []
        for path, options in domains.items():
            self.cp.add_exactly_one(self.is_held[path, held] for held in options)
            for held in options:
                if held[0] == "received":
                    continue
                price = Fraction(reference.parts[held[1]]["price"]) if held[0] == "fresh" and held[1] else Fraction(0)
                extra = int(reference.counts_extra(path, active))
                self.terms.append(((0, 0, extra, 0, price), self.is_held[path, held]))
        for joint in reference.layout["joints"]:
            self.pair(joint["left"], joint["right"], lambda a, b, j=joint: reference.joint_cost(j, a, b))
        for pairing in reference.layout["pairings"]:
            self.pair(pairing["when"], pairing["then"], lambda a, b, p=pairing: reference.pairing_cost(p, a, b))
        for path, then, rule in reference.disturbing():
            self.pair(path, then, lambda a, b, r=rule: reference.disturbed_cost(r, a, b))
        for resource in reference.held_to():
            self.resource(resource)
        for function, paths in reference.had():
            self.function(function, paths)

    def function(self, function: str, paths: list[str]) -> None:
        lost = self.cp.new_bool_var("")
        giving = [
            var for (p, held), var in self.is_held.items() if p in paths and self.reference.gives(function, held[1])
        ]
        self.cp.add_bool_or([*giving, lost])
        self.terms.append(((0, 1, 0, 0, Fraction(0)), lost))

    def pair(self, left: str, right: str, cost: Any) -> None:
        for a in self.domains[left]:
            for b in self.domains[right]:
                rank = cost(a, b)
                both = [self.is_held[left, a].negated(), self.is_held[right, b].negated()]
                if rank is None:
                    self.cp.add_bool_or(both)
                elif any(rank):
                    together = self.cp.new_bool_var("")
                    self.cp.add_bool_or([*both, together])
                    self.terms.append((rank, together))

    def resource(self, resource: Json) -> None:
        judged, missing = self.cp.new_bool_var(""), self.cp.new_bool_var("")
        net: list[Any] = []
        changes: list[Any] = []
        gaps: list[Any] = []
        for (path, held), var in self.is_held.items():
            here, gap, amount = self.reference.takes_part(resource, held[1])
            was_here = self.reference.takes_part(resource, self.reference.was[path])[0]
            if held[0] != "received" and (here or was_here):
                changes.append(var)
            if gap:
                gaps.append(var)
            net.append(int(amount * 1000) * var)
        self.cp.add_max_equality(judged, [*changes, self.cp.new_constant(0)])
        self.cp.add_max_equality(missing, [*gaps, self.cp.new_constant(0)])
        self.cp.add(sum(net) <= 0).only_enforce_if(judged, missing.negated())
        open_question = self.cp.new_bool_var("")
        self.cp.add_bool_or([judged.negated(), missing.negated(), open_question])
        self.terms.append(((0, 0, 0, 1, Fraction(0)), open_question))

    def solve(self) -> Rank | None:
        """Level by level: minimise one, hold it, go on to the next."""
        scale = 10_000
        levels = [
            sum(int(rank[level] * (scale if level == 4 else 1)) * var for rank, var in self.terms if rank[level])
            for level in range(5)
        ]
        found = []
        for level in levels:
            if isinstance(level, int):
                self.cp.minimize(0)
            else:
                self.cp.minimize(level)
            solver = cp_model.CpSolver()
            solver.parameters.num_workers = 1
            status = solver.solve(self.cp)
            if status == cp_model.INFEASIBLE:
                return None
            assert status == cp_model.OPTIMAL
            value = 0 if isinstance(level, int) else round(solver.objective_value)
            if not isinstance(level, int):
                self.cp.add(level == value)
            found.append(value)
        return found[0], found[1], found[2], found[3], Fraction(found[4], scale)
