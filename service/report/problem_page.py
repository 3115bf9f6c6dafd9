"""A problem as a page, for whoever asked with a browser."""

from __future__ import annotations

from service.operations.problems import Problem
from service.report.page_shell import rendered
from service.report.problem_text import place_of

__all__ = ["problem_page"]


def problem_page(problem: Problem, remedy: str) -> str:
    """Return the page."""
    parts = [
        (part.detail, part.pointer, place_of(part.model_copy(update={"pointer": None})))
        for part in problem.errors or ()
    ]
    return rendered("problem.html", title=problem.title, problem=problem, parts=parts, remedy=remedy)
