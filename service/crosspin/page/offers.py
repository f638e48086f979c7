"""What was found, offered for the positions of one vehicle: every offer is a link to the ask with it."""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal

from crosspin.answer.places import place
from crosspin.catalog.library import Holdings
from crosspin.catalog.lookup import Found, Wanted
from crosspin.model.schema import Kit, Layout, Part, Position
from crosspin.page.address import KIT, AskAddress, describing, matching
from crosspin.page.wishes import Wishes, spoken


@dataclass(frozen=True, slots=True)
class Spot:
    """A place that an offer can go to: in words, in as few as tell the places of the offer apart, and the ask with
    the offer there."""

    label: str
    short: str
    href: str


@dataclass(frozen=True, slots=True)
class Offer:
    """Something found, with the places for it; `link` leads to what is known of it."""

    sort: str
    label: str
    id: str
    link: str
    price: Decimal | None
    stock: int | None
    spots: tuple[Spot, ...]


class Offers:
    """Offers for the ask at one address."""

    def __init__(self, holdings: Holdings, address: AskAddress, wishes: Wishes) -> None:
        self.model, self.catalog = holdings.model, holdings.catalog
        self.address = address
        self.wishes = wishes
        vehicle = self.catalog.vehicles.get(address.vehicle)
        self.layout: Layout | None = self.model.layouts.get(vehicle.layout) if vehicle is not None else None

    def of(self, found: Found) -> list[Offer]:
        """Kinds first, as they say the most, then kits, then parts."""
        return [
            *(self._kind(wanted) for wanted in found.kinds),
            *(self._kit(kit) for kit in found.kits),
            *(self._part(part) for part in found.parts),
        ]

    def _part(self, part: Part) -> Offer:
        kinds = self.model.kinds[part.kind].ancestors
        spots = self._spots((p for p in self._positions if self.model.roles[p.role].kind in kinds), part.id)
        sold = part.price is not None
        label = self.model.kinds[part.kind].label
        return Offer(label, part.label, part.id, f"/v1/parts/{part.id}", part.price, part.stock, spots if sold else ())

    def _kind(self, wanted: Wanted) -> Offer:
        takers = [
            p
            for p in self._positions
            if (taken := self.model.roles[p.role].kind) in self.model.kinds[wanted.kind].ancestors
            or wanted.kind in self.model.kinds[taken].ancestors
        ]
        what = describing("", wanted.kind, wanted.readings).removeprefix(":")
        spots = self._spots(takers, what)
        return Offer("wish", self.wishes.what(what), "", f"/v1/kinds/{wanted.kind}", None, None, spots)

    def _kit(self, kit: Kit) -> Offer:
        stations = dict.fromkeys(f"{p.path.partition('/')[0]}/*" for p in self._positions if "/" in p.path)
        patterns = [at for at in (*stations, "*") if self._takes_kit(at, kit)]
        spots = tuple(self._spot(at, KIT + kit.id) for at in patterns)
        return Offer("kit", kit.label, kit.id, f"/v1/kits/{kit.id}", kit.price, kit.stock, spots)

    def _takes_kit(self, at: str, kit: Kit) -> bool:
        """Whether each part of a kit has at least one place there, and no more places than the kit has parts."""
        named = set(matching(at, [p.path for p in self._positions]))
        roles = Counter(self.model.roles[p.role].kind for p in self._positions if p.path in named)
        for line in kit.lines:
            kinds = self.model.kinds[self.catalog.parts[line.part].kind].ancestors
            places = sum(number for kind, number in roles.items() if kind in kinds)
            if not 1 <= places <= line.quantity:
                return False
        return True

    @property
    def _positions(self) -> Sequence[Position]:
        return self.layout.positions if self.layout is not None else ()

    def _spots(self, positions: Iterable[Position], what: str) -> tuple[Spot, ...]:
        """The places in words: both sides of one place first, then each."""
        groups: dict[tuple[str, str], list[str]] = {}
        for position in positions:
            groups.setdefault((position.station, position.role), []).append(position.path)
        spots = []
        alone = len({role for _, role in groups}) == 1
        for paths in groups.values():
            if len(paths) > 1:
                last = paths[0].rpartition("/")[2]
                spots.append(self._spot(f"{paths[0].partition('/')[0]}/*/{last}", what, alone))
            spots += [self._spot(path, what, alone) for path in paths]
        return tuple(spots)

    def _spot(self, at: str, what: str, alone: bool = False) -> Spot:
        """One place; where all places of the offer are of one role, its name goes without saying."""
        outer, _, role = at.rpartition("/")
        short = spoken(at).replace(f" {place(role)}", "", 1) if alone and outer else spoken(at)
        return Spot(spoken(at), short, self.address.with_wish("fits", f"{at}:{what}").href())
