"""Templates turned into pages.  Everything put into them is escaped; no page has a script or style of its own."""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property
from hashlib import sha256
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined

from crosspin.answer.places import place, places_by_side
from crosspin.figures.exact import spell
from crosspin.page.assets import read_assets
from crosspin.page.wishes import spoken

CONTENT_SECURITY_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; "
    "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
# Units to tell lengths in, by the unit that they are kept in, for each choice; the first is the usual one.
LENGTHS: Mapping[str, Mapping[str, str]] = {"mm": {}, "in": {"MilliM": "IN"}}


@dataclass(frozen=True, slots=True)
class Visit:
    """Who looks: the address of this page within the site, the lengths they read in, what to switch back to."""

    here: str
    lengths: str = "mm"

    @property
    def told_in(self) -> Mapping[str, str]:
        """Units to tell values in, by the unit that they are kept in."""
        return LENGTHS[self.lengths]


class Pages:
    """Renders templates; one for all visits."""

    def __init__(self) -> None:
        self.assets = read_assets()

    @cached_property
    def digest(self) -> str:
        """Changes with everything that pages are made of."""
        folder = Path(__file__).parent / "templates"
        texts = [path.read_bytes() for path in sorted(folder.iterdir())]
        return sha256(b"".join([*texts, *(asset.text for asset in self.assets.values())])).hexdigest()[:16]

    @cached_property
    def _templates(self) -> Environment:
        found = Environment(
            loader=FileSystemLoader(Path(__file__).parent / "templates"),
            autoescape=True,
            undefined=StrictUndefined,
            trim_blocks=True,
            lstrip_blocks=True,
        )
        found.filters |= {
            "money": money,
            "more": more,
            "spell": spell,
            "place": place,
            "places": places_by_side,
            "spoken": spoken,
            "count": count,
            "parted": parted,
        }
        found.globals["asset"] = self.address
        return found

    def address(self, name: str) -> str:
        """Where a file is, under a name that changes with its content."""
        return f"/static/{self.assets[name].digest}/{name}"

    def page(self, template: str, visit: Visit, shown: Mapping[str, Any]) -> str:
        """A page, or a piece of one, as HTML."""
        return self._templates.get_template(template).render(visit=visit, **shown)


def parted(name: str) -> str:
    """A name made of words run together, in words: "hurtsSomeone" becomes "hurts someone"."""
    return "".join(f" {c.lower()}" if c.isupper() else c for c in name)


def money(amount: Decimal) -> str:
    """An amount with two decimals and thousands told apart: "1,234.50"."""
    return f"{amount:,.2f}"


def more(amount: Decimal) -> str:
    """A difference of money with its sign: "+28.00"."""
    return f"{amount:+,.2f}".replace("-", "−")


def count(number: int, one: str, many: str) -> str:
    """A number of things: "1 part", "3 parts"."""
    return f"{number} {one if number == 1 else many}"
