"""The order list: the parts of a plan, bought the cheapest way, kits included."""

from collections import Counter
from collections.abc import Mapping, Sequence
from decimal import Decimal

from crosspin.answer.plan import OrderLine
from crosspin.catalog.catalog import Catalog
from crosspin.model.schema import Kit


def cheapest_order(needed: Mapping[str, Sequence[str]], catalog: Catalog) -> tuple[OrderLine, ...]:
    """What to order for these parts (part id to the places that each serves), cheapest in all.

    A kit is taken where it costs less than those of its parts that are needed; what it holds beyond the
    need is left over.  Exact: every useful number of every useful kit is weighed.  Equal totals prefer
    single parts, then the kit that comes first by id.
    """
    wanted = Counter({part: len(places) for part, places in needed.items()})
    useful = catalog.kits_with(wanted)
    _, kits = _best(wanted, useful, catalog)
    lines = [_kit_line(catalog.kits[kit], count, wanted) for kit, count in sorted(Counter(kits).items())]
    rest = wanted.copy()
    for kit in kits:
        rest = _after(rest, catalog.kits[kit])
    for part, count in sorted(rest.items()):
        record = catalog.parts[part]
        assert record.price is not None
        lines.append(
            OrderLine(
                id=part,
                label=record.label,
                is_kit=False,
                quantity=count,
                each=record.price,
                total=record.price * count,
                stock=record.stock,
                short=record.stock is not None and record.stock < count,
                serves=tuple(sorted(needed[part])),
            )
        )
    return tuple(lines)


def _kit_line(kit: Kit, count: int, wanted: Counter[str]) -> OrderLine:
    return OrderLine(
        id=kit.id,
        label=kit.label,
        is_kit=True,
        quantity=count,
        each=kit.price,
        total=kit.price * count,
        stock=kit.stock,
        short=kit.stock is not None and kit.stock < count,
        serves=tuple(sorted(line.part for line in kit.lines if line.part in wanted)),
    )


def _price(catalog: Catalog, part: str) -> Decimal:
    price = catalog.parts[part].price
    assert price is not None, f"{part} is not sold"
    return price


def _after(wanted: Counter[str], kit: Kit) -> Counter[str]:
    """What is still wanted once this kit is bought."""
    rest = wanted.copy()
    for line in kit.lines:
        rest[line.part] -= min(rest[line.part], line.quantity)
    return +rest


def _best(wanted: Counter[str], kits: Sequence[Kit], catalog: Catalog) -> tuple[Decimal, tuple[str, ...]]:
    """The least total for what is wanted, and the kits bought for it; kits are weighed in the order given."""
    single = sum((_price(catalog, part) * count for part, count in wanted.items()), Decimal(0))
    best: tuple[Decimal, tuple[str, ...]] = (single, ())
    for index, kit in enumerate(kits):
        rest = _after(wanted, kit)
        held = {line.part for line in kit.lines}
        saved = sum((_price(catalog, part) * (wanted[part] - rest[part]) for part in held & wanted.keys()), Decimal(0))
        if saved <= kit.price:  # dearer than its parts now, and more so once other kits are bought
            continue
        total, others = _best(rest, kits[index:], catalog)
        if total + kit.price < best[0]:
            best = (total + kit.price, (kit.id, *others))
    return best
