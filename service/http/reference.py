"""Reference routes: rules in force, couplings, public keys, problem types and the OpenAPI document."""

from __future__ import annotations

import json
from collections.abc import Awaitable, Callable, Iterator
from copy import deepcopy
from functools import cache, partial
from threading import Lock
from typing import Annotated, Any, Final, TypeVar
from urllib.parse import urlencode

from fastapi import APIRouter, Path, Query, Request, Response
from fastapi.responses import JSONResponse
from pydantic_core import to_json
from starlette.concurrency import run_in_threadpool

from rules.couplings.sides import COUPLINGS
from rules.exchange.documents import Catalogue
from rules.parts.standard_parts import FAMILIES, standard_part, standard_parts
from rules.quantities.tables import table
from rules.quantities.units import ucum
from rules.rulebook.book import Rule, Rulebook
from rules.rulebook.expression import Expression, text_of
from rules.rulebook.linting import rule_in_words
from rules.schema.components import InvalidPart
from rules.schema.editor_schema import EDITOR_SCHEMA_PATH, editor_schema
from rules.schema.explanation import Condition
from rules.schema.import_map import IMPORT_MAP_SCHEMA_PATH, import_map_schema
from rules.schema.waivers import WAIVER_SCHEMA_PATH, waiver_schema
from service.contract import (
    KEYS_PATH,
    CatalogueList,
    CataloguePart,
    CouplingAnswer,
    CouplingList,
    CouplingSummary,
    NeedAnswer,
    PartAnswer,
    PartFamily,
    PartList,
    PartSummary,
    PartValue,
    ProblemList,
    ProblemType,
    PublicKey,
    PublicKeySet,
    RuleAnswer,
    RuleList,
    RuleSummary,
    ThresholdAnswer,
)
from service.http.answers import (
    HTML,
    JSON,
    JWK_SET,
    SCHEMA,
    Document,
    document,
    publish,
    published,
    require_acceptable,
    shown,
)
from service.http.openapi import as_text
from service.http.problem_answers import responses
from service.operations.keeping import kept, program_sha256
from service.operations.problems import KINDS, ProblemError, ProblemKind
from service.sheets.page import PAGE_HEADERS, problem_type_page

__all__ = [
    "catalogue_router",
    "contract_router",
    "couplings_router",
    "keys_router",
    "parts_router",
    "problems_router",
    "rules_router",
]


def rules_router(book: Rulebook) -> APIRouter:
    """The router for this rulebook; the responses are built once."""
    router = APIRouter(tags=["rules"])
    short = RuleList(
        rulebook_sha256=book.digest,
        items=[RuleSummary.model_validate(_summary(rule, book)) for rule in book.rules],
        next=None,
    )
    answers = {rule.code: _rule_answer(rule, book) for rule in book.rules}
    listed = document(short)
    single = {code: document(one) for code, one in answers.items()}
    first = _SHOWN if _SHOWN in answers else next(iter(answers))

    @router.get(
        "/v1/rules",
        operation_id="list_rules",
        summary="List the rules",
        response_model=RuleList,
        responses={
            **published(shown("the first two", short.model_copy(update={"items": short.items[:2]}))),
            **responses("not-acceptable", "invalid-request", "internal-fault"),
        },
    )
    async def list_rules(request: Request) -> Response:
        """Summaries of all rules in force."""
        require_acceptable(request)
        return publish(listed, request)

    @router.get(
        "/v1/rules/{code}",
        operation_id="show_rule",
        summary="Show a rule",
        response_model=RuleAnswer,
        responses={
            **published(shown(first, answers[first])),
            **responses("not-found", "not-acceptable", "invalid-request", "internal-fault"),
        },
    )
    async def show_rule(
        code: Annotated[str, Path(description="The rule's stable code.", examples=["GRIP-010"])],
        request: Request,
    ) -> Response:
        """One rule: message, reason, remedy, required quantities, thresholds, known limits and source."""
        require_acceptable(request)
        if code not in single:
            raise ProblemError("not-found", "No rule has this code; GET /v1/rules lists them.")
        return publish(single[code], request)

    return router


_SHOWN: Final = "GRIP-010"
"""Rule that the contract shows as its example."""


_OF_BOOK: Final = frozenset({"revision", "sha256"})
"""Fields of an answer that the rule itself does not have under this name."""


def _summary(rule: Rule, book: Rulebook) -> dict[str, object]:
    return {
        **{name: getattr(rule, name) for name in RuleSummary.model_fields if name not in _OF_BOOK},
        "revision": book.revisions.get(rule.book),
        "sha256": rule.digest,
    }


def _rule_answer(rule: Rule, book: Rulebook) -> RuleAnswer:
    meanings = book.vocabulary.of(rule.applies_to)
    return RuleAnswer.model_validate(
        {
            **{name: getattr(rule, name) for name in RuleAnswer.model_fields if name not in _OF_BOOK},
            **_summary(rule, book),
            "where": None if rule.scope is None else _condition(rule, rule.scope, book),
            "require": _condition(rule, rule.requirement, book),
            "needs": [
                NeedAnswer(name=name, unit=ucum(meanings[name].unit), meaning=meanings[name].meaning)
                for name in rule.needs
            ],
            "thresholds": [
                ThresholdAnswer(name=name, **{**threshold.model_dump(), "unit": ucum(threshold.unit or "ratio")})
                for name, threshold in sorted(rule.thresholds.items())
            ],
        }
    )


def _condition(rule: Rule, one: Expression, book: Rulebook) -> Condition:
    return Condition(text=text_of(one), words=rule_in_words(rule, one, book.vocabulary))


def couplings_router() -> APIRouter:
    """The router; the responses are built once."""
    router = APIRouter(tags=["couplings"])
    answers = {name: _coupling_answer(name) for name in COUPLINGS}
    short = CouplingList(
        items=[
            CouplingSummary.model_validate({name: getattr(one, name) for name in CouplingSummary.model_fields})
            for one in answers.values()
        ],
        next=None,
    )
    listed = document(short)
    single = {name: document(one) for name, one in answers.items()}

    @router.get(
        "/v1/couplings",
        operation_id="list_couplings",
        summary="List the couplings",
        response_model=CouplingList,
        responses={
            **published(shown("the first two", short.model_copy(update={"items": short.items[:2]}))),
            **responses("not-acceptable", "invalid-request", "internal-fault"),
        },
    )
    async def list_couplings(request: Request) -> Response:
        """Summaries of all couplings."""
        require_acceptable(request)
        return publish(listed, request)

    @router.get(
        "/v1/couplings/{name}",
        operation_id="show_coupling",
        summary="Show a coupling",
        response_model=CouplingAnswer,
        responses={
            **published(shown("press_collet", answers["press_collet"])),
            **responses("not-found", "not-acceptable", "invalid-request", "internal-fault"),
        },
    )
    async def show_coupling(
        name: Annotated[str, Path(description="Name of the coupling in a request.", examples=["steep_taper"])],
        request: Request,
    ) -> Response:
        """One coupling with its dimension tables."""
        require_acceptable(request)
        if name not in single:
            raise ProblemError("not-found", "No coupling has this name; GET /v1/couplings lists them.")
        return publish(single[name], request)

    return router


def parts_router() -> APIRouter:
    """The router of the standard parts."""
    router = APIRouter(tags=["parts"])
    families = [PartFamily(form=one.form, kind=one.kind, title=one.title, standard=one.standard) for one in FAMILIES]
    items = [PartSummary(key=one.key, kind=one.component.kind, title=one.title) for one in standard_parts()]
    whole = PartList(families=families, items=items, next=None)
    example = _part_answer(_SHOWN_PART)
    if example is None:
        raise LookupError(_SHOWN_PART)

    @router.get(
        "/v1/parts",
        operation_id="list_parts",
        summary="List the standard parts",
        response_model=PartList,
        responses={
            **published(shown("two of each", PartList(families=families[:2], items=items[:2], next=None))),
            **responses("not-acceptable", "invalid-request", "internal-fault"),
        },
    )
    async def list_parts(
        request: Request,
        kind: Annotated[
            str | None, Query(description="Only parts of this kind.", max_length=64, examples=["collet"])
        ] = None,
        contains: Annotated[
            str | None,
            Query(
                description="Only parts with this text in key or title, or of this key.", max_length=64, examples=["32"]
            ),
        ] = None,
    ) -> Response:
        """Standard parts by number and size; every dimension that a form allows can be asked for."""
        require_acceptable(request)
        sought = (contains or "").lower()
        # a key with a free dimension is in no list
        exact = None if contains is None or any(one.key == contains for one in items) else standard_part(contains)
        named = [] if exact is None else [PartSummary(key=exact.key, kind=exact.component.kind, title=exact.title)]
        chosen = whole.model_copy(
            update={
                "families": [one for one in families if kind in (None, one.kind)],
                "items": [
                    one for one in items if kind in (None, one.kind) and sought in f"{one.key} {one.title}".lower()
                ]
                + [one for one in named if kind in (None, one.kind)],
            }
        )
        return publish(document(chosen), request)

    @router.get(
        "/v1/parts/{key}",
        operation_id="show_part",
        summary="Show a standard part",
        response_model=PartAnswer,
        responses={
            **published(shown("collet", example)),
            **responses("not-found", "not-acceptable", "invalid-request", "internal-fault"),
        },
    )
    async def show_part(
        key: Annotated[str, Path(description="Key of the part.", examples=[_SHOWN_PART])], request: Request
    ) -> Response:
        """One standard part as a component, with what its standard states and where."""
        require_acceptable(request)
        answer = _part_answer(key)
        if answer is None:
            raise ProblemError("not-found", "No standard part has this key; GET /v1/parts lists the forms of keys.")
        return publish(document(answer), request)

    return router


_SHOWN_PART: Final = "iso15488:32:12"


def _part_answer(key: str) -> PartAnswer | None:
    found = standard_part(key)
    if found is None:
        return None
    return PartAnswer(
        key=found.key,
        kind=found.component.kind,
        title=found.title,
        component=found.component.model_dump(mode="json", exclude_none=True),
        stated=[
            PartValue(field=one.field, value=one.value, unit=one.unit, source=one.source, confidence=one.confidence)
            for one in found.stated
        ],
    )


_CATALOGUE: Final = "/v1/catalogue"
MOST_LISTED: Final = 500


def catalogue_router(catalogue: Catalogue) -> APIRouter:
    """The router with this catalogue."""
    router = APIRouter(tags=["parts"])
    listed = sorted(_listed(catalogue), key=lambda one: (one.key, one.revision or "", one.kind or ""))
    example = CatalogueList(catalogue_sha256="0" * 64, total=2, items=_SHOWN_ENTRIES, next=None)

    @router.get(
        _CATALOGUE,
        operation_id="list_catalogue",
        summary="List the mounted catalogue",
        response_model=CatalogueList,
        responses={
            **published(shown("one in force, one quarantined", example)),
            **responses("not-acceptable", "invalid-request", "internal-fault"),
        },
    )
    async def list_catalogue(
        request: Request,
        kind: Annotated[
            str | None, Query(description="Only parts of this kind, or machines.", max_length=64, examples=["collet"])
        ] = None,
        contains: Annotated[
            str | None, Query(description="Only parts with this text in key or label.", max_length=64, examples=["32"])
        ] = None,
        offset: Annotated[int, Query(description="Items to leave out first.", ge=0, le=1_000_000, examples=[100])] = 0,
        limit: Annotated[int, Query(description="Most items of a page.", ge=1, le=MOST_LISTED, examples=[20])] = 100,
    ) -> Response:
        """Parts and machines that the operator has mounted, with the reason for each that no stack can use."""
        require_acceptable(request)
        sought = (contains or "").lower()
        found = [one for one in listed if kind in (None, one.kind) and sought in f"{one.key} {one.label or ''}".lower()]
        following = offset + limit
        asked = {"kind": kind, "contains": contains, "offset": following, "limit": limit}
        query = urlencode({name: value for name, value in asked.items() if value is not None})
        page = CatalogueList(
            catalogue_sha256=catalogue.digest,
            total=len(found),
            items=found[offset:following],
            next=f"{_CATALOGUE}?{query}" if following < len(found) else None,
        )
        return publish(document(page), request)

    return router


_SHOWN_ENTRIES: Final = [
    CataloguePart(key="KB-32-12", revision="B", kind="collet", label="collet 32, bore 12 mm", quarantined=None),
    CataloguePart(key="KB-32-16", revision=None, kind=None, label=None, quarantined="mass_kg: must be 0 or more"),
]


def _listed(catalogue: Catalogue) -> Iterator[CataloguePart]:
    mounted = catalogue.definitions
    reasons = {(one.key, one.revision): one.reason for one in catalogue.quarantined}
    for key, entries in mounted.components.items():
        revisions = mounted.revisions.get(key, (None,) * len(entries))
        for entry, revision in zip(entries, revisions, strict=True):
            if isinstance(entry, InvalidPart):
                told: dict[str, str | None] = {"kind": None, "label": None, "quarantined": entry.reason}
            else:
                label = getattr(entry, "description", None) or getattr(entry, "part_number", None)
                # of two definitions with one key and revision neither can be used
                told = {"kind": entry.kind, "label": label, "quarantined": reasons.get((key, revision))}
            yield CataloguePart.model_validate({"key": key, "revision": revision, **told})
    for key, machines in mounted.machines.items():
        for machine in machines:
            if not isinstance(machine, InvalidPart):
                twin = reasons.get((key, None)) if len(machines) > 1 else None
                yield CataloguePart(key=key, revision=None, kind="machine", label=None, quarantined=twin)


def _coupling_answer(name: str) -> CouplingAnswer:
    found = COUPLINGS[name]
    told = found.described.model_dump(include=set(CouplingAnswer.model_fields))
    tables = [table(one).as_json() for one in found.described.tables]
    return CouplingAnswer.model_validate({**told, "name": name, "ends": found.ends, "tables": tables})


def keys_router(keys: PublicKeySet) -> APIRouter:
    """The router with these keys; the responses are built once."""
    router = APIRouter(tags=["gates"])
    # generic clients ask for JSON, of which a JWK set is one
    offers = (JWK_SET, JSON)
    served = {media_type: document(keys, media_type) for media_type in offers}
    example = shown("one", PublicKeySet(keys=[_SHOWN_KEY]))["content"][JSON]
    also = {**deepcopy(example), "schema": {"$ref": f"#/components/schemas/{PublicKeySet.__name__}"}}

    @router.get(
        KEYS_PATH,
        operation_id="list_keys",
        summary="List the public keys",
        response_model=PublicKeySet,
        response_class=_KeySetResponse,
        responses={
            **published({"content": {JWK_SET: example, JSON: also}}),
            **responses("not-acceptable", "invalid-request", "internal-fault"),
        },
    )
    async def list_keys(request: Request) -> Response:
        """JWK set (RFC 7517) that verifies the signatures of gates; empty without a key of the operator."""
        return publish(served[require_acceptable(request, offers)], request)

    return router


class _KeySetResponse(JSONResponse):
    """Gives the OpenAPI document the media type of RFC 7517, section 8.5."""

    media_type = JWK_SET


_SHOWN_KEY: Final = PublicKey(
    kty="OKP",
    crv="Ed25519",
    x="11qYAYKxCrfVS_7TyWQHOg7hcvPapiMlrwIaaPcHURo",
    kid="kPrK_qmxVWaYVA9wwBF6Iuo3vVzz7TxHCTwXBygrS4k",
    use="sig",
    alg="Ed25519",
)
"""Key of RFC 8037, appendix A, that the contract shows as its example."""


def problems_router() -> APIRouter:
    """The router; the responses are built once."""
    router = APIRouter(tags=["service"])
    types = {name: _problem_type(kind) for name, kind in KINDS.items()}
    listed = document(ProblemList(items=list(types.values()), next=None))
    single = {
        (name, media_type): document(content, media_type, PAGE_HEADERS if media_type == HTML else None)
        for name, one in types.items()
        for media_type, content in ((JSON, one), (HTML, problem_type_page(one).encode()))
    }

    @router.get(
        "/problems",
        operation_id="list_problems",
        summary="List the problem types",
        response_model=ProblemList,
        responses={
            **published(shown("the first two", ProblemList(items=list(types.values())[:2], next=None))),
            **responses("not-acceptable", "invalid-request", "internal-fault"),
        },
    )
    async def list_problems(request: Request) -> Response:
        """All problem types, with their remedies."""
        require_acceptable(request)
        return publish(listed, request)

    @router.get(
        "/problems/{name}",
        operation_id="show_problem",
        summary="Show a problem type",
        response_model=ProblemType,
        responses={
            **published(_with_page(shown("invalid-request", types["invalid-request"]))),
            **responses("not-found", "not-acceptable", "invalid-request", "internal-fault"),
        },
    )
    async def show_problem(
        name: Annotated[str, Path(description="Code of a problem.", examples=["invalid-request"])],
        request: Request,
    ) -> Response:
        """The meaning of a problem type and its remedy, as JSON or as an HTML page."""
        chosen = require_acceptable(request, (JSON, HTML))
        if name not in types:
            raise ProblemError("not-found", "No problem type has this code; GET /problems lists them.")
        return publish(single[name, chosen], request)

    return router


def _problem_type(kind: ProblemKind) -> ProblemType:
    return ProblemType(type=kind.type, code=kind.name, status=kind.status, title=kind.title, remedy=kind.remedy)


def _with_page(response: dict[str, Any]) -> dict[str, Any]:
    """The OpenAPI response with an HTML page besides."""
    # JSON text, see service.http.answers.shown
    begins = json.dumps("<!DOCTYPE html>")
    page = {"schema": {"type": "string"}, "examples": {"begin": {"summary": "First line", "value": begins}}}
    return {"content": {**response["content"], HTML: page}}


Made = TypeVar("Made")

_SCHEMAS: Final[dict[str, Callable[[], dict[str, Any]]]] = {
    EDITOR_SCHEMA_PATH: editor_schema,
    IMPORT_MAP_SCHEMA_PATH: import_map_schema,
    WAIVER_SCHEMA_PATH: waiver_schema,
}
"""Schemas for editors, by their addresses."""


def contract_router(describe: Callable[[], tuple[dict[str, Any], dict[str, str]]]) -> APIRouter:
    """The router; the document and the answers that it refers to are made or read on the first request."""
    router = APIRouter(include_in_schema=False)
    # cache alone would let two first requests work at once
    first = Lock()

    @cache
    def contract() -> tuple[Document, dict[str, Document]]:
        told, answers = json.loads(kept("contract", program_sha256(), made_whole))
        return document(told.encode()), {path: document(text.encode()) for path, text in answers.items()}

    def made_whole() -> bytes:
        told, answers = describe()
        return json.dumps([as_text(told), answers]).encode()

    @cache
    def schema(path: str) -> Document:
        return document(to_json(_SCHEMAS[path]()), SCHEMA)

    async def made(make: Callable[[], Made]) -> Made:
        def alone() -> Made:
            with first:
                return make()

        # making either takes seconds, in which the event loop goes on
        return await run_in_threadpool(alone)

    @router.get("/openapi.json")
    async def show_contract(request: Request) -> Response:
        require_acceptable(request)
        return publish((await made(contract))[0], request)

    def show_schema(path: str) -> Callable[[Request], Awaitable[Response]]:
        async def show(request: Request) -> Response:
            require_acceptable(request, (SCHEMA, JSON))
            return publish(await made(partial(schema, path)), request)

        return show

    for path in _SCHEMAS:
        router.get(path)(show_schema(path))

    @router.get("/examples/{route}/{name}")
    async def show_answer(route: str, name: str, request: Request) -> Response:
        require_acceptable(request)
        answer = (await made(contract))[1].get(f"examples/{route}/{name}")
        if answer is None:
            raise ProblemError("not-found", "The OpenAPI document refers to no such example.")
        return publish(answer, request)

    return router
