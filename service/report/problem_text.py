"""A problem as plain text: what is wrong, each part with its place, what to do."""

from __future__ import annotations

from rich.text import Text

from service.operations.problems import Problem, ProblemPart
from service.report.layout import PlainText, say

__all__ = ["place_of", "problem_text"]


def problem_text(problem: Problem, remedy: str) -> str:
    """Return the problem in lines."""
    out = PlainText()
    say(Text(f"{problem.status}  {problem.title}"), out.console)
    say(Text(problem.detail), out.console)
    for part in problem.errors or ():
        where = place_of(part)
        say(Text(f"{where}: {part.detail}" if where else part.detail), out.console, 2)
    say(Text(remedy), out.console)
    return out.text()


def place_of(part: ProblemPart) -> str:
    """Say where in the body a part of a problem lies, as far as it is known.

    >>> place_of(ProblemPart(detail="", pointer=None, line=3, column=12))
    'line 3, column 12'
    """
    known = ((part.pointer, "{}"), (part.line, "line {}"), (part.column, "column {}"))
    return ", ".join(words.format(value) for value, words in known if value is not None)
