"""The client for programs with ``async``."""

from __future__ import annotations

import ssl
import time
from collections.abc import AsyncIterable, AsyncIterator, Awaitable, Callable, Iterable
from types import TracebackType
from typing import TYPE_CHECKING, Self, TypeVar

import anyio
import httpx
from pydantic import SecretStr
from tenacity import AsyncRetrying

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

__all__ = ["AsyncClient"]

T = TypeVar("T")


class AsyncClient:
    """As :class:`~service.client.synchronous.Client`, to be awaited; here the deadline is kept to the moment."""

    def __init__(
        self,
        address: str = DEFAULT_ADDRESS,
        *,
        token: str | SecretStr | None = None,
        patience: Patience | None = None,
        verify: ssl.SSLContext | bool = True,
        transport: httpx.AsyncBaseTransport | None = None,
        sleep: Callable[[float], Awaitable[None]] = anyio.sleep,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._address = checked_address(address)
        self._http = httpx.AsyncClient(**http_options(self._address, token), verify=verify, transport=transport)
        self._patience = patience or Patience()
        self._sleep = sleep
        self._clock = clock

    def __repr__(self) -> str:
        return f"AsyncClient({str(self._address)!r})"

    async def __aenter__(self) -> Self:
        return self

    async def __aexit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        await self.aclose()

    async def aclose(self) -> None:
        """Let go of the connections."""
        await self._http.aclose()

    async def check(self, request: Given[CheckRequest]) -> Report:
        """Check one stack."""
        return await self._send(calls.check(request))

    async def check_batch(self, request: Given[BatchRequest], *, include: Include | None = None) -> BatchReport:
        """Check up to a thousand stacks as one document; ``check_lines`` takes any number."""
        return await self._send(calls.check_batch(request, include))

    async def budget(self, request: Given[BudgetRequest]) -> BudgetReport:
        """The whole runout budget of a stack."""
        return await self._send(calls.budget(request))

    async def reading(self, request: Given[ReadingRequest]) -> ReadingReport:
        """What a gauge reading means."""
        return await self._send(calls.reading(request))

    async def comparison(self, request: Given[ComparisonRequest]) -> ComparisonReport:
        """Alternatives side by side."""
        return await self._send(calls.comparison(request))

    async def search(self, request: Given[SearchRequest]) -> SearchReport:
        """One page of the stacks that an inventory allows; its continuation goes into the next request."""
        return await self._send(calls.search(request))

    async def gate(self, request: Given[GateRequest]) -> GateReport:
        """The decision on a work order as it is answered; what may start is said by ``releases``."""
        return await self._send(calls.gate(request))

    async def verify_gate(self, request: Given[GateVerification]) -> GateVerificationReport:
        """Whether a stored decision is reproduced."""
        return await self._send(calls.verify_gate(request))

    async def import_components(
        self, document: bytes | str, media_type: str = calls.XML, *, kind: ComponentKind | None = None
    ) -> ImportReport:
        """Components out of a document, XML or ``text/csv``."""
        return await self._send(calls.import_components(document, media_type, kind))

    async def export_tool(
        self, request: Given[CheckRequest], *, timestamp: str | None = None, standard: Standard | None = None
    ) -> bytes:
        """A checked stack as one CuttingTool, in XML."""
        return await self._send(calls.export_tool(request, timestamp, standard))

    async def drawing(
        self, request: Given[CheckRequest], picture: PictureName | None = None, *, bent: bool = True
    ) -> bytes:
        """A picture of a stack, the side view unless another is named, in SVG."""
        return await self._send(calls.drawing(request, picture, bent))

    async def rules(self) -> RuleList:
        """The rules in force, in short."""
        return await self._send(calls.rules())

    async def rule(self, code: str) -> RuleAnswer:
        """A rule in full."""
        return await self._send(calls.rule(code))

    async def couplings(self) -> CouplingList:
        """The couplings known, in short."""
        return await self._send(calls.couplings())

    async def coupling(self, name: str) -> CouplingAnswer:
        """A coupling with its tables."""
        return await self._send(calls.coupling(name))

    async def health(self) -> State:
        """Whether the process is alive."""
        return await self._send(calls.health())

    async def readiness(self) -> State:
        """Whether it can judge."""
        return await self._send(calls.readiness())

    async def version(self) -> Version:
        """Which version runs, with which rulebooks."""
        return await self._send(calls.version())

    async def check_lines(
        self,
        requests: Iterable[Line] | AsyncIterable[Line],
        *,
        shared: Given[Defaults] | None = None,
        include: Include = "reports",
        portion: int = PORTION_LINES,
    ) -> AsyncIterator[BatchLine]:
        """Check any number of stacks and yield an answer to each, in order.

        Requests are taken a portion at a time, when its first answer is asked for. What is ``shared`` holds for every
        request that says nothing else. Whatever is wrong with one request is the answer to that request.
        """
        portions = Portions(shared, include, portion)
        async for request in _each(requests):
            if (ready := portions.add(request)) is not None:
                for answer in await self._send(ready.call()):
                    yield answer
        if (ready := portions.close()) is not None:
            for answer in await self._send(ready.call()):
                yield answer

    async def releases(self, order: Given[GateRequest]) -> Release:
        """Ask the gate and verify its answer; true only for an order that may start.

        Fails closed: whatever goes wrong is no release and raises nothing; ``why`` says what it was.
        """
        try:
            call = calls.gate(order)
            return judged(understood(call.body or b""), await self._send(call))
        except Exception as error:
            return not_released(error)

    async def _send(self, call: Call[T]) -> T:
        deadline = Deadline(self._patience, self._clock)
        retrying = AsyncRetrying(**policy(self._patience, deadline), sleep=self._sleep)
        return await retrying(self._attempt, call, deadline)

    async def _attempt(self, call: Call[T], deadline: Deadline) -> T:
        request = self._http.build_request(
            call.method,
            call.path,
            params=call.params,
            headers=call.headers,
            content=call.body,
            timeout=deadline.timeout_s(),
        )
        try:
            with anyio.fail_after(deadline.left_s()):
                return call.read(await self._received(request, deadline))
        except TimeoutError as error:
            raise deadline.overdue() from error
        except httpx.HTTPError as error:
            deadline.check()
            raise unreachable(error, self._address) from error

    async def _received(self, request: httpx.Request, deadline: Deadline) -> Received:
        response = await self._http.send(request, stream=True)
        try:
            pieces = []
            async for piece in response.aiter_bytes():
                deadline.check()
                pieces.append(piece)
            return Received(response.status_code, response.headers, b"".join(pieces))
        finally:
            await response.aclose()


async def _each(requests: Iterable[Line] | AsyncIterable[Line]) -> AsyncIterator[Line]:
    if isinstance(requests, AsyncIterable):
        async for request in requests:
            yield request
    else:
        for request in requests:
            yield request
