"""What is wrong with a rulebook: file, line, rule and reason, all of it at once."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

__all__ = ["Problem", "RulebookError"]


@dataclass(frozen=True, slots=True, order=True)
class Problem:
    """One defect of a rulebook or of the vocabulary.

    ``line`` counts from 1, 0 stands for the file as a whole; ``code`` is the rule's, empty outside rules.
    """

    file: str
    line: int
    code: str
    reason: str

    def __str__(self) -> str:
        return f"{self.file}:{self.line}: {self.code + ': ' if self.code else ''}{self.reason}"


class RulebookError(ValueError):
    """The rulebooks can't be used; ``problems`` holds every defect found, in the order of the files."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems: tuple[Problem, ...] = tuple(problems)
        super().__init__("\n".join(str(problem) for problem in self.problems))
