"""The methods of the client.

Edit ``asynchronous.py`` only; ``python -m tests.support.synchronous_client`` generates ``synchronous.py`` from it.
"""

from __future__ import annotations

import ssl
import time
from collections.abc import Callable, Iterator
from types import TracebackType
from typing import Self, TypeVar
from urllib.parse import quote

import httpx
from pydantic import SecretStr
from tenacity import Retrying

from rules.schema.budget import BudgetReport, BudgetRequest
from rules.schema.build import BuildReport, BuildRequest
from rules.schema.calibration import CalibrationReport, CalibrationRequest
from rules.schema.comparison import ComparisonReport, ComparisonRequest
from rules.schema.explanation import ExplanationReport, ExplanationRequest
from rules.schema.gate import GateReport, GateRequest
from rules.schema.import_map import ImportMap
from rules.schema.imports import ComponentKind, Decimals, ImportReport, ReadAs, Standard
from rules.schema.reading import ReadingReport, ReadingRequest
from rules.schema.report import Report
from rules.schema.request import CheckRequest
from rules.schema.search import SearchReport, SearchRequest
from service.client.calls import (
    JSON,
    SVG,
    XML,
    YAML,
    Call,
    Given,
    Received,
    as_model,
    form_with_map,
    got,
    posted,
    posted_for_bytes,
)
from service.client.lines import CHUNK_LINES, BatchLine, LineChunker, Lines, each
from service.client.release import Release, gate_call, judged, not_released, understood
from service.client.sending import (
    DEFAULT_ADDRESS,
    Deadline,
    Patience,
    Sleep,
    checked_address,
    http_options,
    policy,
    time_limit,
    unreachable,
)
from service.contract import (
    KEYS_PATH,
    BatchReport,
    BatchRequest,
    CatalogueList,
    CouplingAnswer,
    CouplingList,
    Defaults,
    PartAnswer,
    PartList,
    PictureName,
    PublicKeySet,
    RuleAnswer,
    RuleList,
    State,
    Version,
)
from service.signature import Keys

__all__ = ["Client"]

T = TypeVar("T")


class Client:
    """Client of the service at an address; keeps its connections until closed.

    A failed call raises a :class:`~service.client.sending.ClientError`. ``token`` is the bearer token and is never
    shown. ``sleep`` and ``clock`` are for tests. ``AsyncClient`` cancels a call at its deadline. ``Client`` checks the
    deadline between reads, so a slow response may exceed it by one ``timeout_s``; threads may share it.
    """

    def __init__(
        self,
        address: str = DEFAULT_ADDRESS,
        *,
        token: str | SecretStr | None = None,
        patience: Patience | None = None,
        verify: ssl.SSLContext | bool = True,
        transport: httpx.BaseTransport | None = None,
        sleep: Sleep = time.sleep,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._address = checked_address(address)
        self._http = httpx.Client(**http_options(self._address, token), verify=verify, transport=transport)
        self._patience = patience or Patience()
        self._sleep = sleep
        self._clock = clock

    def __repr__(self) -> str:
        return f"{type(self).__name__}({str(self._address)!r})"

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the connections."""
        self._http.close()

    def check(self, request: Given[CheckRequest]) -> Report:
        """Check one stack."""
        return self._send(posted("/v1/checks", request, Report))

    def check_batch(self, request: Given[BatchRequest]) -> BatchReport:
        """Check up to a thousand stacks as one document; ``check_lines`` takes any number."""
        return self._send(posted("/v1/check-batches", request, BatchReport))

    def budget(self, request: Given[BudgetRequest]) -> BudgetReport:
        """The full runout budget of a stack."""
        return self._send(posted("/v1/budgets", request, BudgetReport))

    def reading(self, request: Given[ReadingRequest]) -> ReadingReport:
        """The report of a runout reading."""
        return self._send(posted("/v1/readings", request, ReadingReport))

    def build(self, request: Given[BuildRequest]) -> BuildReport:
        """The report of a stack read stage by stage while it is built."""
        return self._send(posted("/v1/builds", request, BuildReport))

    def calibration(self, request: Given[CalibrationRequest]) -> CalibrationReport:
        """A shop's readings turned into its own assumed values."""
        return self._send(posted("/v1/calibrations", request, CalibrationReport))

    def comparison(self, request: Given[ComparisonRequest]) -> ComparisonReport:
        """The comparison of alternative stacks."""
        return self._send(posted("/v1/comparisons", request, ComparisonReport))

    def explanation(self, request: Given[ExplanationRequest]) -> ExplanationReport:
        """What a rule makes of a stack, and why."""
        return self._send(posted("/v1/explanations", request, ExplanationReport))

    def search(self, request: Given[SearchRequest]) -> SearchReport:
        """One page of a search; its continuation goes into the next request."""
        return self._send(posted("/v1/searches", request, SearchReport))

    def gate(self, request: Given[GateRequest]) -> GateReport:
        """The decision on a work order, unverified; ``releases`` says whether the order may start."""
        return self._send(gate_call(request))

    def import_components(
        self,
        document: bytes | str,
        media_type: str = XML,
        *,
        kind: ComponentKind | None = None,
        read_as: ReadAs | None = None,
        decimal: Decimals | None = None,
        strict: bool = False,
        map: Given[ImportMap] | None = None,  # noqa: A002
    ) -> ImportReport:
        """The components of a document: XML, ``text/csv``, ``application/p21`` or a package, ``application/zip``.

        ``map`` is the operator's map of codes, classes, items and names.
        """
        body = document.encode() if isinstance(document, str) else document
        if map is not None:
            media_type, body = form_with_map(body, media_type, map)
        named = {"kind": kind, "as": read_as, "decimal": decimal, "strict": "true" if strict else None}
        params = {name: value for name, value in named.items() if value is not None}
        headers = {"Content-Type": media_type, "Accept": JSON}
        return self._send(Call("POST", "/v1/imports", as_model(ImportReport), params, headers, body))

    def export_tool(
        self, request: Given[CheckRequest], *, timestamp: str | None = None, standard: Standard | None = None
    ) -> bytes:
        """A checked stack as one CuttingTool, in XML."""
        return self._send(posted_for_bytes("/v1/exports", request, XML, timestamp=timestamp, standard=standard))

    def drawing(self, request: Given[CheckRequest], picture: PictureName | None = None, *, bent: bool = True) -> bytes:
        """A picture of a stack in SVG, by default the side view."""
        return self._send(
            posted_for_bytes("/v1/drawings", request, SVG, picture=picture, bent="true" if bent else "false")
        )

    def read_request(self, document: bytes | str, media_type: str = YAML) -> CheckRequest:
        """The full form of a check request in YAML, the short form included, or in JSON; nothing is judged."""
        body = document.encode() if isinstance(document, str) else document
        headers = {"Content-Type": media_type, "Accept": JSON}
        return self._send(Call("POST", "/v1/requests", as_model(CheckRequest), headers=headers, body=body))

    def request_in_yaml(self, request: Given[CheckRequest]) -> bytes:
        """A check request in YAML."""
        return self._send(posted_for_bytes("/v1/requests", request, YAML))

    def rules(self) -> RuleList:
        """Summaries of the rules in force."""
        return self._send(got("/v1/rules", RuleList))

    def rule(self, code: str) -> RuleAnswer:
        """The full description of a rule."""
        return self._send(got("/v1/rules/" + quote(code, safe=""), RuleAnswer))

    def parts(self) -> PartList:
        """Standard parts by number and size."""
        return self._send(got("/v1/parts", PartList))

    def part(self, key: str) -> PartAnswer:
        """One standard part."""
        return self._send(got("/v1/parts/" + quote(key, safe=""), PartAnswer))

    def catalogue(
        self, *, kind: str | None = None, contains: str | None = None, offset: int = 0, limit: int = 100
    ) -> CatalogueList:
        """Parts and machines of the mounted catalogue, one page."""
        page = {"offset": str(offset), "limit": str(limit)}
        return self._send(got("/v1/catalogue", CatalogueList, kind=kind, contains=contains, **page))

    def couplings(self) -> CouplingList:
        """Summaries of the couplings."""
        return self._send(got("/v1/couplings", CouplingList))

    def coupling(self, name: str) -> CouplingAnswer:
        """A coupling with its tables."""
        return self._send(got("/v1/couplings/" + quote(name, safe=""), CouplingAnswer))

    def health(self) -> State:
        """Whether the process is alive."""
        return self._send(got("/healthz", State))

    def readiness(self) -> State:
        """Whether the service is ready to check stacks."""
        return self._send(got("/readyz", State))

    def public_keys(self) -> PublicKeySet:
        """Keys that the service publishes for the signatures of its gates.

        For the operator's first look: keys that prove an origin are kept, not fetched with each answer.
        """
        return self._send(got(KEYS_PATH, PublicKeySet))

    def version(self) -> Version:
        """Version of the service and its rulebooks."""
        return self._send(got("/version", Version))

    def check_lines(
        self,
        requests: Lines,
        *,
        shared: Given[Defaults] | None = None,
        chunk_size: int = CHUNK_LINES,
    ) -> Iterator[BatchLine]:
        """Check any number of stacks and yield the results in order.

        Requests are read one chunk at a time, on demand. ``shared`` fields apply to every request without its own. A
        fault affects only the result of its own request.
        """
        chunks = LineChunker(shared, chunk_size)
        for request in each(requests):
            if (ready := chunks.add(request)) is not None:
                for answer in self._send(ready.call()):
                    yield answer
        if (ready := chunks.close()) is not None:
            for answer in self._send(ready.call()):
                yield answer

    def releases(self, order: Given[GateRequest], *, keys: Keys | None = None) -> Release:
        """Have the gate decide an order and verify its answer; true only for an order that may start.

        With ``keys``, a JWK set that the caller keeps, the answer must be signed by one of them. Fails closed: any
        error means no release and is not raised; ``why`` gives the reason.
        """
        try:
            call = gate_call(order)
            return judged(understood(call.body or b""), self._send(call), keys)
        except Exception as error:
            return not_released(error)

    def _send(self, call: Call[T]) -> T:
        deadline = Deadline(self._patience, self._clock)
        retrying = Retrying(**policy(self._patience, deadline), sleep=self._sleep)
        answer: T = retrying(self._attempt, call, deadline)
        return answer

    def _attempt(self, call: Call[T], deadline: Deadline) -> T:
        headers, content = call.sent()
        request = self._http.build_request(
            call.method,
            call.path,
            params=call.params,
            headers=headers,
            content=content,
            timeout=deadline.timeout_s(),
        )
        try:
            with time_limit(deadline):
                return call.read(self._received(request, deadline))
        except httpx.HTTPError as error:
            deadline.check()
            raise unreachable(error, self._address) from error

    def _received(self, request: httpx.Request, deadline: Deadline) -> Received:
        response = self._http.send(request, stream=True)
        try:
            pieces = []
            for piece in response.iter_bytes():
                deadline.check()
                pieces.append(piece)
            return Received(response.status_code, response.headers, b"".join(pieces))
        finally:
            response.close()
