"""Addresses of what is on record: parts, specs, kits, vehicles."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Annotated

from fastapi import APIRouter, Depends, Path, Query, Request, Response
from fastapi.responses import RedirectResponse

from crosspin.answer.desk import Desk, NotOnRecord
from crosspin.answer.plan import Mate, PartLine, Taker
from crosspin.api import examples
from crosspin.api.accept import HTML, JSON, JSON_LD, TURTLE
from crosspin.api.html import html_reply, record_pages
from crosspin.api.language import TheLanguage
from crosspin.api.negotiate import offer
from crosspin.api.paging import last_of, page_of, token
from crosspin.api.problems import ProblemLine, Refusal
from crosspin.api.shapes import (
    FeatureReadings,
    Page,
    PartSheet,
    PartSummary,
    PositionLine,
    PositionState,
    ReadingLine,
    SpecSheet,
    VehicleLine,
    VehicleSheet,
)
from crosspin.api.wiring import TheDesk, TheTurns, errors, known_parameters
from crosspin.catalog.library import Holdings
from crosspin.figures.exact import parse_number
from crosspin.model.judge import functions_of
from crosspin.model.schema import Datatype, Kit, Part, Value
from crosspin.model.terms import thing
from crosspin.store.describe import about, write

router = APIRouter(tags=["records"], dependencies=[Depends(known_parameters)])

PartId = Annotated[str, Path(description="A part's id.", examples=[examples.PART])]
TwinId = Annotated[str, Path(description="A part's id.", examples=[examples.TWIN])]
VehicleId = Annotated[str, Path(description="A vehicle's id.", examples=[examples.VEHICLE])]
Limit = Annotated[int, Query(ge=1, le=200, description="How many items a page has.")]
Next = Annotated[str | None, Query(max_length=400, description="`next` of the page before.")]
_PAGE = {HTML: {"schema": {"type": "string"}}}
_GRAPHS = {TURTLE: {"schema": {"type": "string"}}, JSON_LD: {"schema": {"type": "array"}}, **_PAGE}


def _summary(part: Part) -> PartSummary:
    return PartSummary(id=part.id, kind=part.kind, label=part.label, price=part.price, stock=part.stock)


# ---------------------------------------------------------------------- parts


MOST_HOLDERS = 1000
"""Most parts told that have a spec at one feature."""


@dataclass(frozen=True, slots=True)
class _Wanted:
    """A reading that a searched part must have: one of the values, or between two bounds."""

    feature: str
    dimension: str
    test: Callable[[Value], bool]


def _wanted(holdings: Holdings, text: str) -> _Wanted:
    """`feature.dimension=value` or `feature.dimension=least..most`; raises Refusal."""
    name, equals, value = text.partition("=")
    feature_id, _, dimension_id = name.strip().partition(".")
    model = holdings.model
    feature = model.features.get(feature_id)

    def refused(wrong: str, mend: str) -> Refusal:
        line = ProblemLine(place="reading", wrong=wrong, mend=mend)
        return Refusal(422, "unreadable", "The parts cannot be searched so.", line)

    if not equals or not dimension_id:
        raise refused("it is not feature.dimension=value", f"Write it like {examples.READING}")
    if feature is None:
        raise refused("there is no such feature", "Look the features of a kind up under /v1/kinds")
    known = model.feature_kinds[feature.feature_kind].dimensions
    if dimension_id not in known:
        raise refused("the feature has no such dimension", f"Its dimensions: {', '.join(known)}")
    if model.dimensions[dimension_id].datatype is Datatype.CODE:
        return _Wanted(feature_id, dimension_id, lambda held: held == value.strip())
    least, dots, most = value.partition("..")
    try:
        lower = parse_number(least) if least.strip() or not dots else None
        upper = (parse_number(most) if most.strip() else None) if dots else lower
    except ValueError:
        raise refused("the value is not a number", "Write 41.275, 3 1/8, or 40..42.5 for a range") from None

    def inside(held: Value) -> bool:
        return isinstance(held, Decimal) and (lower is None or held >= lower) and (upper is None or held <= upper)

    return _Wanted(feature_id, dimension_id, inside)


def _classes(holdings: Holdings, wanted: Sequence[_Wanted]) -> set[int] | None:
    """The classes of parts alike that have every reading; None where none is wanted."""
    found: set[int] | None = None
    for reading in wanted:
        feature_kind = holdings.model.features[reading.feature].feature_kind
        specs = [
            (reading.feature, spec.id)
            for spec in holdings.catalog.specs_of(feature_kind)
            if any(map(reading.test, spec.values.get(reading.dimension, ())))
        ]
        having = set(holdings.catalog.having(specs))
        found = having if found is None else found & having
    return found


@router.get("/v1/parts", dependencies=[Depends(offer(JSON))], responses=errors())
def list_parts(
    desk: TheDesk,
    kind: Annotated[
        str | None, Query(description="Only this kind and kinds below it.", examples=[examples.SEARCHED_KIND])
    ] = None,
    text: Annotated[
        str | None, Query(max_length=200, description="Only parts with all these words in id or label.")
    ] = None,
    reading: Annotated[
        list[str] | None,
        Query(description="Only parts with this reading, in the dimension's own unit.", examples=[[examples.READING]]),
    ] = None,
    orderable: Annotated[
        bool | None, Query(description="Only parts that have a price, or only those that have none.")
    ] = None,
    in_stock: Annotated[bool | None, Query(description="Only parts known to be there, or only the others.")] = None,
    limit: Limit = 50,
    next: Next = None,
) -> Page[PartSummary]:
    """Parts that have everything asked for, by id."""
    holdings = desk.holdings
    if kind is not None and kind not in holdings.model.kinds:
        line = ProblemLine(place="kind", wrong="there is no such kind", mend="Look it up under /v1/kinds")
        raise Refusal(422, "unreadable", "The parts cannot be searched so.", line)
    wanted = [_wanted(holdings, item) for item in reading or ()]
    words = text.casefold().split() if text else []
    found = holdings.catalog.listing(
        kinds=None if kind is None else holdings.model.kinds_below[kind],
        classes=_classes(holdings, wanted),
        words=words,
        orderable=orderable,
        in_stock=in_stock,
        after="" if next is None else last_of(next),
        limit=limit + 1,
    )
    items = found.parts[:limit]
    more = token(items[-1].id) if len(found.parts) > limit else None
    return Page(items=tuple(map(_summary, items)), total=found.total, next=more)


def _part(desk: Desk, part: str) -> Part:
    found = desk.holdings.catalog.parts.get(part)
    if found is None:
        raise NotOnRecord("there is no such part on record; look it up under /v1/parts")
    return found


@router.get("/v1/parts/{part}", response_model=PartSheet, responses={200: {"content": _GRAPHS}, **errors(404)})
def one_part(
    request: Request, part: PartId, desk: TheDesk, media: Annotated[str, Depends(offer(JSON, TURTLE, JSON_LD, HTML))]
) -> PartSheet | Response:
    """One part with every reading on record, and the features that nobody has measured."""
    record = _part(desk, part)
    if media == HTML:
        return html_reply(request, record_pages(request).part(record, desk.mates(part), desk.equals(part)))
    if media != JSON:
        return Response(write(about(desk.holdings.graph, thing("part", record.id)), media), media_type=media)
    model = desk.holdings.model
    features = model.kinds[record.kind].features
    return PartSheet(
        id=record.id,
        iri=thing("part", record.id),
        kind=record.kind,
        label=record.label,
        price=record.price,
        currency=model.shop.currency,
        stock=record.stock,
        features=tuple(_readings(desk.holdings, record, f) for f in features if f in record.specs),
        lacks=record.lacks,
        functions=tuple(sorted(functions_of(model, record))),
        not_recorded=tuple(f for f in features if f not in record.specs and f not in record.lacks),
    )


def _readings(holdings: Holdings, part: Part, feature: str) -> FeatureReadings:
    model, spec = holdings.model, holdings.catalog.specs[part.specs[feature]]
    lines = []
    for name, values in spec.values.items():
        dimension = model.dimensions[name]
        lines.append(
            ReadingLine(
                dimension=name,
                label=dimension.label,
                values=values,
                unit=model.units[dimension.unit].symbol if dimension.unit in model.units else None,
                disputed=len(values) > 1 and not dimension.many,
                published=part.published.get(f"{feature}.{name}"),
            )
        )
    return FeatureReadings(feature=feature, label=model.features[feature].label, spec=spec.id, readings=tuple(lines))


@router.get("/v1/parts/{part}/mates", dependencies=[Depends(offer(JSON))], responses=errors(404, 503))
async def part_mates(
    part: PartId,
    desk: TheDesk,
    turns: TheTurns,
    language: TheLanguage,
    vehicle: Annotated[
        str | None, Query(description="Only what this vehicle has.", examples=[examples.VEHICLE])
    ] = None,
) -> Page[Mate]:
    """What fits a part: orderable parts on record, or, given a vehicle, its parts that this one would meet,
    each with the verdict there."""
    found = await turns.run(lambda: desk.mates(part, vehicle, language))
    return Page(items=tuple(found), total=len(found))


@router.get("/v1/parts/{part}/equals", dependencies=[Depends(offer(JSON))], responses=errors(404))
def part_equals(part: TwinId, desk: TheDesk) -> Page[PartLine]:
    """Parts of the same kind with the same readings everywhere, cheapest first."""
    found = desk.equals(part)
    return Page(items=tuple(found), total=len(found))


@router.get("/v1/parts/{part}/takers", dependencies=[Depends(offer(JSON))], responses=errors(404, 503))
async def part_takers(part: TwinId, desk: TheDesk, turns: TheTurns) -> Page[Taker]:
    """Which vehicles on record could take a part, where, and what each would then need as well."""
    found = await turns.run(lambda: desk.takers(part))
    return Page(items=tuple(found), total=len(found))


# ---------------------------------------------------------------------- specs and kits


@router.get("/v1/specs/{spec}", dependencies=[Depends(offer(JSON))], responses=errors(404))
def one_spec(
    spec: Annotated[str, Path(description="A spec's id, as parts name it.", examples=[examples.SPEC])], desk: TheDesk
) -> SpecSheet:
    """The readings that some parts share at a feature, and which parts those are."""
    model, catalog = desk.holdings.model, desk.holdings.catalog
    if spec not in catalog.specs:
        raise NotOnRecord("there is no such spec on record; parts under /v1/parts name theirs")
    found = catalog.specs[spec]
    parts = {}
    for feature in model.features.values():
        if feature.feature_kind == found.feature_kind:
            holders = catalog.listing(classes=catalog.having([(feature.id, spec)]), limit=MOST_HOLDERS).parts
            if holders:
                parts[feature.id] = tuple(part.id for part in holders)
    return SpecSheet(spec=found, parts=parts)


@router.get("/v1/kits", dependencies=[Depends(offer(JSON))], responses=errors())
def list_kits(desk: TheDesk, limit: Limit = 50, next: Next = None) -> Page[Kit]:
    """Kits: several parts sold together at one price."""
    kits = list(desk.holdings.catalog.kits.values())
    items, more = page_of(kits, lambda kit: kit.id, limit, next)
    return Page(items=tuple(items), total=len(kits), next=more)


@router.get("/v1/kits/{kit}", response_model=Kit, responses={200: {"content": _PAGE}, **errors(404)})
def one_kit(
    request: Request,
    kit: Annotated[str, Path(description="A kit's id.", examples=[examples.KIT])],
    desk: TheDesk,
    media: Annotated[str, Depends(offer(JSON, HTML))],
) -> Kit | Response:
    """One kit and what it contains."""
    found = desk.holdings.catalog.kits.get(kit)
    if found is None:
        raise NotOnRecord("there is no such kit on record; look it up under /v1/kits")
    return html_reply(request, record_pages(request).kit(found)) if media == HTML else found


# ---------------------------------------------------------------------- vehicles


@router.get("/v1/vehicles", response_model=Page[VehicleLine], responses={200: {"content": _PAGE}, **errors()})
def list_vehicles(
    request: Request,
    desk: TheDesk,
    media: Annotated[str, Depends(offer(JSON, HTML))],
    limit: Limit = 50,
    next: Next = None,
) -> Page[VehicleLine] | Response:
    """Vehicles on record."""
    if media == HTML:
        return html_reply(request, record_pages(request).vehicles())
    vehicles = list(desk.holdings.catalog.vehicles.values())
    items, more = page_of(vehicles, lambda vehicle: vehicle.id, limit, next)
    lines = tuple(VehicleLine(id=v.id, label=v.label, layout=v.layout) for v in items)
    return Page(items=lines, total=len(vehicles), next=more)


@router.get("/v1/vehicles/{vehicle}", response_model=VehicleSheet, responses={200: {"content": _GRAPHS}, **errors(404)})
def one_vehicle(
    request: Request,
    vehicle: VehicleId,
    desk: TheDesk,
    media: Annotated[str, Depends(offer(JSON, TURTLE, JSON_LD, HTML))],
) -> VehicleSheet | Response:
    """One vehicle as received: every position with what stands there."""
    record = desk.vehicle(vehicle)
    if media == HTML:
        return html_reply(request, record_pages(request).vehicle(record))
    if media != JSON:
        return Response(write(about(desk.holdings.graph, thing("vehicle", record.id)), media), media_type=media)
    model, catalog = desk.holdings.model, desk.holdings.catalog
    lines = []
    for position in sorted(model.layouts[record.layout].positions, key=lambda p: p.path):
        part = record.parts.get(position.path)
        unseen = position.path in record.unseen
        lines.append(
            PositionLine(
                path=position.path,
                role=position.role,
                takes=model.roles[position.role].kind,
                state=PositionState.FILLED if part else PositionState.UNSEEN if unseen else PositionState.EMPTY,
                part=_summary(catalog.parts[part]) if part else None,
            )
        )
    return VehicleSheet(
        id=record.id, iri=thing("vehicle", record.id), label=record.label, layout=record.layout, positions=tuple(lines)
    )


# ---------------------------------------------------------------------- names


_SORTS = {"part": "parts", "spec": "specs", "kit": "kits", "vehicle": "vehicles"}


@router.get("/id/{sort}/{name}", status_code=303, response_class=RedirectResponse, responses=errors(404))
def thing_named(
    sort: Annotated[str, Path(examples=["part"])], name: Annotated[str, Path(examples=[examples.PART])], desk: TheDesk
) -> RedirectResponse:
    """The address of the document about a thing of the graph, given the thing's own name."""
    catalog = desk.holdings.catalog
    if sort not in _SORTS or name not in getattr(catalog, _SORTS[sort]):
        raise NotOnRecord("there is no such thing on record; look it up under /v1/parts")
    return RedirectResponse(f"/v1/{_SORTS[sort]}/{name}", status_code=303)
