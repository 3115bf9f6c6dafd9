"""The client for programs without ``async``."""

from __future__ import annotations

import ssl
import time
from collections.abc import Callable, Iterable, Iterator
from types import TracebackType
from typing import TYPE_CHECKING, Self, TypeVar

import httpx
from pydantic import SecretStr
from tenacity import Retrying

from rules.model.budget import BudgetReport, BudgetRequest
from rules.model.comparison import ComparisonReport, ComparisonRequest
from rules.model.gate import GateReport, GateRequest
from rules.model.gate_verification import GateVerification, GateVerificationReport
from rules.model.imports import ComponentKind, ImportReport
from rules.model.reading import ReadingReport, ReadingRequest
from rules.model.report import Report
from rules.model.request import CheckRequest
from rules.model.search import SearchRequest
from rules.model.search_report import SearchReport
from service.client import calls
from service.client.bodies import Given
from service.client.calls import Call
from service.client.connection import DEFAULT_ADDRESS, checked_address, http_options, unreachable
from service.client.lines import PORTION_LINES, BatchLine, Line, Portions
from service.client.received import Received
from service.client.release import Release, judged, not_released, understood
from service.client.retrying import Deadline, Patience, policy
from service.contract.batches import BatchReport, BatchRequest, Defaults, Include
from service.contract.couplings import CouplingAnswer, CouplingList
from service.contract.pictures import PictureName
from service.contract.rules import RuleAnswer, RuleList
from service.contract.state import State, Version

if TYPE_CHECKING:
    from rules.exchange.cutting_tool_export import Standard

__all__ = ["Client"]

T = TypeVar("T")


class Client:
    """Asks the service at an address; keeps its connections until it is closed.

    Whatever brings no answer raises a :class:`~service.client.sending.ClientError`. ``token`` is sent as bearer token
    and shown nowhere. The deadline is looked at between the pieces of an answer, so that one which trickles in may
    outlast it by one ``timeout_s``. ``sleep`` and ``clock`` are for tests. May be used by several threads.
    """

    def __init__(
        self,
        address: str = DEFAULT_ADDRESS,
        *,
        token: str | SecretStr | None = None,
        patience: Patience | None = None,
        verify: ssl.SSLContext | bool = True,
        transport: httpx.BaseTransport | None = None,
        sleep: Callable[[float], None] = time.sleep,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._address = checked_address(address)
        self._http = httpx.Client(**http_options(self._address, token), verify=verify, transport=transport)
        self._patience = patience or Patience()
        self._sleep = sleep
        self._clock = clock

    def __repr__(self) -> str:
        return f"Client({str(self._address)!r})"

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the connections."""
        self._http.close()

    def check(self, request: Given[CheckRequest]) -> Report:
        """Check one stack."""
        return self._send(calls.check(request))

    def check_batch(self, request: Given[BatchRequest], *, include: Include | None = None) -> BatchReport:
        """Check up to a thousand stacks as one document; ``check_lines`` takes any number."""
        return self._send(calls.check_batch(request, include))

    def budget(self, request: Given[BudgetRequest]) -> BudgetReport:
        """The whole runout budget of a stack."""
        return self._send(calls.budget(request))

    def reading(self, request: Given[ReadingRequest]) -> ReadingReport:
        """What a gauge reading means."""
        return self._send(calls.reading(request))

    def comparison(self, request: Given[ComparisonRequest]) -> ComparisonReport:
        """Alternatives side by side."""
        return self._send(calls.comparison(request))

    def search(self, request: Given[SearchRequest]) -> SearchReport:
        """One page of the stacks that an inventory allows; its continuation goes into the next request."""
        return self._send(calls.search(request))

    def gate(self, request: Given[GateRequest]) -> GateReport:
        """The decision on a work order as it is answered; what may start is said by ``releases``."""
        return self._send(calls.gate(request))

    def verify_gate(self, request: Given[GateVerification]) -> GateVerificationReport:
        """Whether a stored decision is reproduced."""
        return self._send(calls.verify_gate(request))

    def import_components(
        self, document: bytes | str, media_type: str = calls.XML, *, kind: ComponentKind | None = None
    ) -> ImportReport:
        """Components out of a document, XML or ``text/csv``."""
        return self._send(calls.import_components(document, media_type, kind))

    def export_tool(
        self, request: Given[CheckRequest], *, timestamp: str | None = None, standard: Standard | None = None
    ) -> bytes:
        """A checked stack as one CuttingTool, in XML."""
        return self._send(calls.export_tool(request, timestamp, standard))

    def drawing(self, request: Given[CheckRequest], picture: PictureName | None = None, *, bent: bool = True) -> bytes:
        """A picture of a stack, the side view unless another is named, in SVG."""
        return self._send(calls.drawing(request, picture, bent))

    def rules(self) -> RuleList:
        """The rules in force, in short."""
        return self._send(calls.rules())

    def rule(self, code: str) -> RuleAnswer:
        """A rule in full."""
        return self._send(calls.rule(code))

    def couplings(self) -> CouplingList:
        """The couplings known, in short."""
        return self._send(calls.couplings())

    def coupling(self, name: str) -> CouplingAnswer:
        """A coupling with its tables."""
        return self._send(calls.coupling(name))

    def health(self) -> State:
        """Whether the process is alive."""
        return self._send(calls.health())

    def readiness(self) -> State:
        """Whether it can judge."""
        return self._send(calls.readiness())

    def version(self) -> Version:
        """Which version runs, with which rulebooks."""
        return self._send(calls.version())

    def check_lines(
        self,
        requests: Iterable[Line],
        *,
        shared: Given[Defaults] | None = None,
        include: Include = "reports",
        portion: int = PORTION_LINES,
    ) -> Iterator[BatchLine]:
        """Check any number of stacks and yield an answer to each, in order.

        Requests are taken a portion at a time, when its first answer is asked for. What is ``shared`` holds for every
        request that says nothing else. Whatever is wrong with one request is the answer to that request.
        """
        portions = Portions(shared, include, portion)
        for request in requests:
            if (ready := portions.add(request)) is not None:
                yield from self._send(ready.call())
        if (ready := portions.close()) is not None:
            yield from self._send(ready.call())

    def releases(self, order: Given[GateRequest]) -> Release:
        """Ask the gate and verify its answer; true only for an order that may start.

        Fails closed: whatever goes wrong is no release and raises nothing; ``why`` says what it was.
        """
        try:
            call = calls.gate(order)
            return judged(understood(call.body or b""), self._send(call))
        except Exception as error:
            return not_released(error)

    def _send(self, call: Call[T]) -> T:
        deadline = Deadline(self._patience, self._clock)
        retrying = Retrying(**policy(self._patience, deadline), sleep=self._sleep)
        answer: T = retrying(self._attempt, call, deadline)
        return answer

    def _attempt(self, call: Call[T], deadline: Deadline) -> T:
        request = self._http.build_request(
            call.method,
            call.path,
            params=call.params,
            headers=call.headers,
            content=call.body,
            timeout=deadline.timeout_s(),
        )
        try:
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
