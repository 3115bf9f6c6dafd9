"""Sending of calls: address, token, retries, deadline and errors."""

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
"""Characters of a bearer token (RFC 6750, section 2.1)."""

_NOTHING_ANSWERED: Final = (httpx.NetworkError, httpx.ConnectTimeout, httpx.RemoteProtocolError)
"""Errors worth a retry: failed or broken connections. Read timeouts are excluded, since retries would add load to a
slow service."""

Sleep: TypeAlias = Callable[[float], None]
AsyncSleep: TypeAlias = Callable[[float], Awaitable[None]]


class ClientError(Exception):
    """A call failed; the subclasses give the reason."""

    def __init__(self, detail: str, *, repeatable: bool = False, retry_after_s: float | None = None) -> None:
        super().__init__(detail)
        self.detail = detail
        self.repeatable = repeatable
        """Set the detail, whether a retry may succeed, and the Retry-After time in s."""
        self.retry_after_s = retry_after_s
        """How long the service asked to wait, in seconds, where it did."""


class AnsweredProblemError(ClientError):
    """The service responded with a problem (RFC 9457)."""

    def __init__(self, problem: Problem, *, repeatable: bool = False, retry_after_s: float | None = None) -> None:
        super().__init__(problem.detail, repeatable=repeatable, retry_after_s=retry_after_s)
        self.problem = problem

    @property
    def kind(self) -> str:
        """Name of the problem type, such as ``invalid-request``."""
        return self.problem.code

    @property
    def status(self) -> int:
        """HTTP status."""
        return self.problem.status

    @property
    def parts(self) -> tuple[ProblemPart, ...]:
        """Faults with their JSON Pointers, if any."""
        return tuple(self.problem.errors or ())

    def __str__(self) -> str:
        told = [": ".join((*filter(None, part.at), part.detail)) for part in self.parts]
        return f"{self.kind} ({self.status}): {'; '.join([self.detail, *told])}"


class UnreachableError(ClientError):
    """No response from the address; ``__cause__`` has the network error."""


class OverdueError(UnreachableError):
    """No response before the deadline."""


class UnreadableAnswerError(ClientError):
    """The response is incomplete or not from this service."""

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
        """Set the HTTP status; None for a line of a batch."""


class UnsendableError(ClientError, ValueError):
    """The request is invalid or has no JSON form; nothing was sent."""


def checked_address(address: str) -> httpx.URL:
    """The address as a URL; raises ValueError unless http or https without user information."""
    url = httpx.URL(address)
    if url.userinfo:
        raise ValueError("the address must not contain a user name or password; use a token")
    if url.scheme not in ("http", "https") or not url.host or url.query or url.fragment:
        raise ValueError(f"expected an address such as http://host:port, not {address!r}")
    return url


def http_options(address: httpx.URL, token: str | SecretStr | None) -> dict[str, Any]:
    """Options of the httpx client with the token in its headers; raises ValueError for an invalid token."""
    headers = {"User-Agent": f"{NAME}-client/{VERSION}"}
    if token is not None:
        secret = token.get_secret_value() if isinstance(token, SecretStr) else token
        if not _TOKEN.fullmatch(secret):
            raise ValueError("the token has invalid characters")
        headers["Authorization"] = f"Bearer {secret}"
    # A redirect would send the token to another host.
    return {"base_url": address, "headers": headers, "follow_redirects": False}


def unreachable(error: httpx.HTTPError, address: httpx.URL) -> UnreachableError:
    """The client's error for an httpx error."""
    told = str(error) or type(error).__name__
    detail = f"No response from {address}: {told}"
    return UnreachableError(detail, repeatable=isinstance(error, _NOTHING_ANSWERED))


@dataclass(frozen=True, slots=True, kw_only=True)
class Patience:
    """Time and retry limits of one call; each chunk of a batch is one call."""

    deadline_s: float = 30.0
    """Total time of all attempts and pauses, s."""
    timeout_s: float = 10.0
    """Timeout of a connection attempt or read, s."""
    attempts: int = 5
    first_pause_s: float = 0.2
    """Upper bound of the random first pause, s; doubled for each further one."""
    longest_pause_s: float = 5.0
    """Longest pause, s, unless Retry-After is longer."""

    def __post_init__(self) -> None:
        for one in fields(self):
            value = getattr(self, one.name)
            if not (math.isfinite(value) and value > 0):
                raise ValueError(f"{one.name} must be a number above 0, not {value!r}")


class Deadline:
    """The deadline of a call."""

    def __init__(self, patience: Patience, clock: Callable[[], float]) -> None:
        self._clock = clock
        self._timeout_s = patience.timeout_s
        self._deadline_s = patience.deadline_s
        self._end = clock() + patience.deadline_s

    def timeout_s(self) -> float:
        """Timeout of the next step, s; raises :class:`OverdueError` past the deadline."""
        self.check()
        return min(self._timeout_s, self.left_s())

    def left_s(self) -> float:
        """Remaining time, s; negative past the deadline."""
        return self._end - self._clock()

    def check(self) -> None:
        """Raise :class:`OverdueError` past the deadline."""
        if self.left_s() <= 0:
            raise self.overdue()

    def overdue(self) -> OverdueError:
        """The error for a missed deadline."""
        return OverdueError(f"No response within {self._deadline_s:g} s.")


@contextmanager
def async_time_limit(deadline: Deadline) -> Iterator[None]:
    """Cancel the block at the deadline and raise :class:`OverdueError`."""
    try:
        with anyio.fail_after(deadline.left_s()):
            yield
    except TimeoutError as error:
        raise deadline.overdue() from error


def time_limit(_: Deadline) -> AbstractContextManager[None]:
    """A null context: a synchronous call cannot be cancelled, only checked between reads."""
    return nullcontext()


def policy(patience: Patience, deadline: Deadline) -> dict[str, Any]:
    """The retry options of tenacity for one call; a pause beyond the deadline raises the last error instead."""
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
