"""Problems in the form the client reads best: a page for browsers, plain text, or the JSON of RFC 9457."""

from __future__ import annotations

from fastapi import Request, Response

from service.negotiation import HTML, JSON, TEXT, preferred
from service.operations.problems import PROBLEM_MEDIA_TYPE, ProblemError, answer, note
from service.representations import readable_answer
from service.sheets.page import problem_page
from service.sheets.text import problem_text

__all__ = ["answer_readably"]


def answer_readably(problem: ProblemError, request: Request) -> Response:
    """The HTTP answer: for people where the client likes HTML or plain text better, else JSON whatever it accepts."""
    chosen = preferred(request, (PROBLEM_MEDIA_TYPE, JSON, HTML, TEXT))
    if chosen not in (HTML, TEXT):
        return answer(problem, request)
    note(problem, request)
    told = problem.problem(request.url.path)
    content = (problem_page if chosen == HTML else problem_text)(told, problem.kind.remedy)
    response = readable_answer(content, chosen, problem.kind.status)
    response.headers.update(problem.headers)
    return response
