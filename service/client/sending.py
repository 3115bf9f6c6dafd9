"""What can go wrong with a call, each by a class of its own."""

from __future__ import annotations

from service.contract.problem import Problem, ProblemPart

__all__ = [
    "AnsweredProblemError",
    "ClientError",
    "OverdueError",
    "UnreachableError",
    "UnreadableAnswerError",
    "UnsendableError",
]


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
