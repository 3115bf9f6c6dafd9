"""How a call is sent: address, token, retries and deadline; and the errors of a call without an answer."""

from __future__ import annotations

import math
import re
from collections.abc import Awaitable, Callable, Iterator
from contextlib import AbstractContextManager, contextmanager, nullcontext
from dataclasses import dataclass, fields
from typing import Any, Final, TypeAlias

import anyio
import httpx
from pydantic import SecretStr
from tenacity import RetryCallState, retry_if_exception, wait_random_exponential

from rules.version import NAME, VERSION
from service.contract import Problem, ProblemPart

__all__ = [
    "DEFAULT_ADDRESS",
    "AnsweredProblemError",
    "AsyncSleep",
    "ClientError",
    "Deadline",
    "OverdueError",
    "Patience",
    "Sleep",
    "UnreachableError",
    "UnreadableAnswerError",
    "UnsendableError",
    "async_time_limit",
    "checked_address",
    "http_options",
    "policy",
    "time_limit",
    "unreachable",
]

DEFAULT_ADDRESS: Final = "http://127.0.0.1:8713"

_TOKEN: Final = re.compile(r"[A-Za-z0-9._~+/-]+=*")
"""What a bearer token may consist of (RFC 6750, section 2.1)."""

_NOTHING_ANSWERED: Final = (httpx.NetworkError, httpx.ConnectTimeout, httpx.RemoteProtocolError)
"""Connections that could not be made or broke; a timeout of a connection that stands is not repeated, since a service
that is slow would be asked the more."""

Sleep: TypeAlias = Callable[[float], None]
AsyncSleep: TypeAlias = Callable[[float], Awaitable[None]]


class ClientError(Exception):
    """A call that brought no answer; the classes below say why."""

    def __init__(self, detail: str, *, repeatable: bool = False, retry_after_s: float | None = None) -> None:
        super().__init__(detail)
        self.detail = detail
        self.repeatable = repeatable
        """Whether the same call may succeed a little later; the client has then tried as long as it may."""
        self.retry_after_s = retry_after_s
        """How long the service asked to wait, in seconds, where it did."""


class AnsweredProblemError(ClientError):
    """The service answered with a problem (RFC 9457)."""

    def __init__(self, problem: Problem, *, repeatable: bool = False, retry_after_s: float | None = None) -> None:
        super().__init__(problem.detail, repeatable=repeatable, retry_after_s=retry_after_s)
        self.problem = problem

    @property
    def kind(self) -> str:
        """Name of the kind, the last part of its type: ``invalid-request``."""
        return self.problem.type.rstrip("/").rpartition("/")[2]

    @property
    def status(self) -> int:
        """HTTP status."""
        return self.problem.status

    @property
    def parts(self) -> tuple[ProblemPart, ...]:
        """Each fault with its JSON Pointer, where there are such."""
        return tuple(self.problem.errors or ())

    def __str__(self) -> str:
        told = [f"{part.pointer}: {part.detail}" if part.pointer else part.detail for part in self.parts]
        return f"{self.kind} ({self.status}): {'; '.join([self.detail, *told])}"


class UnreachableError(ClientError):
    """The network, or whatever listens at the address, gave no answer; ``__cause__`` says what happened."""


class OverdueError(UnreachableError):
    """The time of the call was up before there was an answer."""


class UnreadableAnswerError(ClientError):
    """There was an answer, and it is none of this contract: another program answered, or it was cut off."""

    def __init__(
        self,
        detail: str,
        *,
        status: int | None = None,
        repeatable: bool = False,
        retry_after_s: float | None = None,
    ) -> None:
        super().__init__(detail, repeatable=repeatable, retry_after_s=retry_after_s)
        self.status = status
        """HTTP status; None where the answer is a line of a batch."""


class UnsendableError(ClientError, ValueError):
    """What was given can't be written as JSON, or is no request; nothing was sent."""


def checked_address(address: str) -> httpx.URL:
    """The address as a URL; raises ValueError unless it is one of http or https without a user's name in it."""
    url = httpx.URL(address)
    if url.userinfo:
        raise ValueError("the address must not hold a user's name or password; give a token instead")
    if url.scheme not in ("http", "https") or not url.host or url.query or url.fragment:
        raise ValueError(f"an address as http://host:port is wanted, not {address!r}")
    return url


def http_options(address: httpx.URL, token: str | SecretStr | None) -> dict[str, Any]:
    """Options for the client of httpx, the token among its headers; raises ValueError for what is no token."""
    headers = {"User-Agent": f"{NAME}-client/{VERSION}"}
    if token is not None:
        secret = token.get_secret_value() if isinstance(token, SecretStr) else token
        if not _TOKEN.fullmatch(secret):
            raise ValueError("the token holds characters that no bearer token may hold")
        headers["Authorization"] = f"Bearer {secret}"
    # Followed to another place, the token would go there too.
    return {"base_url": address, "headers": headers, "follow_redirects": False}


def unreachable(error: httpx.HTTPError, address: httpx.URL) -> UnreachableError:
    """The client's error for one of httpx."""
    told = str(error) or type(error).__name__
    detail = f"No answer from {address}: {told}"
    return UnreachableError(detail, repeatable=isinstance(error, _NOTHING_ANSWERED))


@dataclass(frozen=True, slots=True, kw_only=True)
class Patience:
    """Seconds and attempts of one call; a batch of lines spends it on each portion anew."""

    deadline_s: float = 30.0
    """All attempts and the pauses between them together."""
    timeout_s: float = 10.0
    """To connect, or between two signs of life of the service."""
    attempts: int = 5
    first_pause_s: float = 0.2
    """The first pause is random below it, each further one below twice as much."""
    longest_pause_s: float = 5.0
    """Pauses grow no longer, unless the service asks for more by Retry-After."""

    def __post_init__(self) -> None:
        for one in fields(self):
            value = getattr(self, one.name)
            if not (math.isfinite(value) and value > 0):
                raise ValueError(f"{one.name} must be a number above 0, not {value!r}")


class Deadline:
    """The moment a call must be over."""

    def __init__(self, patience: Patience, clock: Callable[[], float]) -> None:
        self._clock = clock
        self._timeout_s = patience.timeout_s
        self._deadline_s = patience.deadline_s
        self._end = clock() + patience.deadline_s

    def timeout_s(self) -> float:
        """How long the next step may wait; raises :class:`OverdueError` when the time is up."""
        self.check()
        return min(self._timeout_s, self.left_s())

    def left_s(self) -> float:
        """Seconds left, negative when overdue."""
        return self._end - self._clock()

    def check(self) -> None:
        """Raise :class:`OverdueError` when the time is up."""
        if self.left_s() <= 0:
            raise self.overdue()

    def overdue(self) -> OverdueError:
        """The error for a call whose time is up."""
        return OverdueError(f"There was no answer within {self._deadline_s:g} s.")


@contextmanager
def async_time_limit(deadline: Deadline) -> Iterator[None]:
    """Cancel what is awaited inside at the deadline; raises :class:`OverdueError` then."""
    try:
        with anyio.fail_after(deadline.left_s()):
            yield
    except TimeoutError as error:
        raise deadline.overdue() from error


def time_limit(_: Deadline) -> AbstractContextManager[None]:
    """Nothing: without ``async`` a call can't be cancelled, only its deadline checked between two pieces."""
    return nullcontext()


def policy(patience: Patience, deadline: Deadline) -> dict[str, Any]:
    """The options of tenacity for one call: what is repeated, when, and how often.

    A pause that would outlast the deadline is not begun; the last error is raised then.
    """
    random_pause = wait_random_exponential(multiplier=patience.first_pause_s, max=patience.longest_pause_s)

    def pause(state: RetryCallState) -> float:
        error = state.outcome.exception() if state.outcome is not None else None
        asked = error.retry_after_s if isinstance(error, ClientError) else None
        return max(random_pause(state), asked or 0.0)

    def enough(state: RetryCallState) -> bool:
        return state.attempt_number >= patience.attempts or state.upcoming_sleep >= deadline.left_s()

    return {"retry": retry_if_exception(_repeatable), "wait": pause, "stop": enough, "reraise": True}


def _repeatable(error: BaseException) -> bool:
    return isinstance(error, ClientError) and error.repeatable
