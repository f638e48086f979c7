"""Addresses of the ontology: the whole model, kinds, rules, terms."""

import json
from threading import Lock
from typing import Annotated

from fastapi import APIRouter, Depends, Path, Request, Response

from crosspin.answer.desk import Desk, NotOnRecord
from crosspin.api import examples
from crosspin.api.accept import CSV, CSVW, HTML, JSON
from crosspin.api.csv_sheet import csvw_metadata, empty_csv
from crosspin.api.html import html_reply, record_pages
from crosspin.api.negotiate import offer
from crosspin.api.shapes import (
    FeatureSheet,
    KindLine,
    KindSheet,
    Page,
)
from crosspin.api.wiring import TheDesk, errors, known_parameters
from crosspin.model.schema import Model

router = APIRouter(tags=["ontology"], dependencies=[Depends(known_parameters)])

_PAGE = {HTML: {"schema": {"type": "string"}}}
KindId = Annotated[str, Path(description="A kind, such as those under /v1/kinds.", examples=[examples.KIND])]


class ModelText:
    """The whole model as JSON, written once for each version."""

    def __init__(self) -> None:
        self._lock = Lock()
        self._written: tuple[str, bytes] | None = None

    def of(self, model: Model) -> bytes:
        """The model's JSON."""
        with self._lock:
            if self._written is None or self._written[0] != model.version:
                self._written = (model.version, model.model_dump_json().encode())
            return self._written[1]


@router.get("/v1/model", responses={200: {"model": Model}, **errors()})
def whole_model(request: Request, desk: TheDesk, media: Annotated[str, Depends(offer(JSON))]) -> Response:
    """The whole ontology as it is applied: kinds, features, dimensions, roles, rules, layouts, units.

    Enough, together with the parts, to check every answer of this service with a program of one's own.
    """
    text: ModelText = request.app.state.model_text
    return Response(text.of(desk.holdings.model), media_type=media)


@router.get("/v1/kinds", response_model=Page[KindLine], responses={200: {"content": _PAGE}, **errors()})
def list_kinds(
    request: Request, desk: TheDesk, media: Annotated[str, Depends(offer(JSON, HTML))]
) -> Page[KindLine] | Response:
    """All kinds of parts."""
    if media == HTML:
        return html_reply(request, record_pages(request).kinds())
    model, catalog = desk.holdings.model, desk.holdings.catalog
    lines = tuple(
        KindLine(
            id=kind.id,
            label=kind.label,
            definition=kind.definition,
            parents=kind.parents,
            orderable=catalog.count(model, kind.id),
        )
        for kind in model.kinds.values()
    )
    return Page(items=lines, total=len(lines))


def _known_kind(desk: Desk, kind: str) -> Model:
    if kind not in desk.holdings.model.kinds:
        raise NotOnRecord("there is no such kind; look it up under /v1/kinds")
    return desk.holdings.model


@router.get("/v1/kinds/{kind}", response_model=KindSheet, responses={200: {"content": _PAGE}, **errors(404)})
def one_kind(
    request: Request, kind: KindId, desk: TheDesk, media: Annotated[str, Depends(offer(JSON, HTML))]
) -> KindSheet | Response:
    """One kind: its features and what is measured there, the roles that take it, the rules that name it."""
    model = _known_kind(desk, kind)
    record = model.kinds[kind]
    features = []
    for name in record.features:
        feature = model.features[name]
        dimensions = model.feature_kinds[feature.feature_kind].dimensions
        features.append(
            FeatureSheet(
                id=feature.id,
                label=feature.label,
                definition=feature.definition,
                feature_kind=feature.feature_kind,
                dimensions=tuple(model.dimensions[d] for d in dimensions),
            )
        )
    roles = tuple(r.id for r in model.roles.values() if r.kind in record.ancestors)
    rules = _rules_of(model, record.ancestors, roles)
    if media == HTML:
        return html_reply(request, record_pages(request).kind(kind, rules))
    return KindSheet(
        kind=record,
        below=tuple(k.id for k in model.kinds.values() if kind in k.ancestors and k.id != kind),
        roles=roles,
        features=tuple(features),
        rules=rules,
    )


def _rules_of(model: Model, kinds: tuple[str, ...], roles: tuple[str, ...]) -> tuple[str, ...]:
    """The rules that can concern a part of these kinds."""
    found = [j.id for j in model.joint_kinds.values() if j.left_kind in kinds or j.right_kind in kinds]
    found += [n.id for n in model.needs.values() if n.when.kind in kinds or n.then_role in roles]
    found += [
        n.id
        for n in model.figure_needs.values()
        if n.then_role in roles or (n.then is not None and n.then.kind in kinds)
    ]
    found += [r.id for r in model.renewals.values() if r.when_kind in kinds or r.then_kind in kinds]
    found += [c.id for c in model.consequences.values() if c.when.kind in kinds]
    return tuple(sorted(found))


@router.get(
    "/v1/kinds/{kind}/csv",
    responses={200: {"content": {CSV: {"schema": {"type": "string"}}}}, **errors(404)},
    response_class=Response,
)
def kind_csv(kind: KindId, desk: TheDesk, media: Annotated[str, Depends(offer(CSV))]) -> Response:
    """An empty CSV file for parts of this kind: the row of columns and the row of units, ready to fill in."""
    text = empty_csv(_known_kind(desk, kind), kind)
    return Response(text, media_type=media, headers={"Content-Disposition": f'attachment; filename="{kind}.csv"'})


@router.get(
    "/v1/kinds/{kind}/csv-metadata",
    responses={200: {"content": {CSVW: {"schema": {"type": "object"}}}}, **errors(404)},
    response_class=Response,
)
def kind_csv_metadata(kind: KindId, desk: TheDesk, media: Annotated[str, Depends(offer(CSVW, JSON))]) -> Response:
    """What the columns of that CSV file mean, as metadata of the W3C's CSV on the Web."""
    text = json.dumps(csvw_metadata(_known_kind(desk, kind), kind), ensure_ascii=False, indent=1)
    return Response(text, media_type=media)
