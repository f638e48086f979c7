"""Finding by what somebody types, as the counter does it, for programs."""

from decimal import Decimal
from typing import Annotated

from fastapi import APIRouter, Depends, Query

from crosspin.api import examples
from crosspin.api.accept import JSON
from crosspin.api.negotiate import offer
from crosspin.api.shapes import DescribedLine, FoundSheet, PartSummary
from crosspin.api.wiring import TheDesk, errors, known_parameters
from crosspin.catalog.lookup import Wanted
from crosspin.knockon.ask import ReadingWish

router = APIRouter(tags=["records"], dependencies=[Depends(known_parameters)])


@router.get("/v1/find", dependencies=[Depends(offer(JSON))], responses=errors())
def find(
    desk: TheDesk,
    text: Annotated[str, Query(max_length=200, description="Words and readings.", examples=[examples.TYPED])],
    limit: Annotated[int, Query(ge=1, le=100, description="How many parts at most.")] = 20,
) -> FoundSheet:
    """Parts, kits and describable wishes that go with everything typed: words of names and kinds, also begun
    ones, and readings as numbers, in inches or in the unit of the dimension where no unit is typed."""
    found = desk.find(text, limit)
    return FoundSheet(
        parts=tuple(
            PartSummary(id=p.id, kind=p.kind, label=p.label, price=p.price, stock=p.stock) for p in found.parts
        ),
        kits=found.kits,
        wishes=tuple(map(_described, found.kinds)),
        more=found.more,
    )


def _described(wanted: Wanted) -> DescribedLine:
    return DescribedLine(kind=wanted.kind, readings=tuple(_reading(place, value) for place, value in wanted.readings))


def _reading(place: str, value: str) -> ReadingWish:
    feature, _, dimension = place.partition(".")
    least, dots, most = value.partition("..")
    if not dots:
        return ReadingWish(feature=feature, dimension=dimension, equals=value)
    return ReadingWish(feature=feature, dimension=dimension, least=Decimal(least), most=Decimal(most))
