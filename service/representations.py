"""The forms in which the report of a check is given: JSON for programs, a page for eyes and paper, plain text.

JSON is the contract and stays as it is; the other two say the same to people.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any, Final, Generic, TypeVar

from fastapi import Response
from pydantic import BaseModel

from rules.analysis import Derived
from rules.answer.provenance import request_sha256
from rules.assessor import Assessor
from rules.schema.report import Report
from rules.schema.request import CheckRequest
from service.negotiation import HTML, TEXT
from service.sheets.check import report_text
from service.sheets.page import PAGE_HEADERS, report_page
from service.sheets.text import PLAIN_WIDTH

__all__ = ["Representation", "assess_instructed", "check_representations", "readable_answer"]

Asked = TypeVar("Asked", bound=BaseModel)

_SHOWN_LINES: Final = 5


@dataclass(frozen=True, slots=True)
class Representation(Generic[Asked]):
    """A form of a route's answer beside JSON."""

    text: Callable[[Asked], str]
    description: str

    def described(self, example: Asked) -> dict[str, Any]:
        """Return the content of an OpenAPI answer: a string, and how it begins for this request."""
        begins = "".join(self.text(example).splitlines(keepends=True)[:_SHOWN_LINES])
        # As JSON, see service.answers.shown.
        shown = {"summary": "How it begins", "value": json.dumps(begins)}
        return {"schema": {"type": "string", "description": self.description}, "examples": {"begin": shown}}


def check_representations(assessor: Assessor) -> Mapping[str, Representation[CheckRequest]]:
    """The forms beside JSON by media type, judged with this assessor."""

    def page(asked: CheckRequest) -> str:
        return report_page(*assess_instructed(assessor, asked))

    def text(asked: CheckRequest) -> str:
        return report_text(assessor.assess(asked))

    about_page = "A page that needs nothing else, made to be read and printed; the work instruction is always on it."
    about_text = f"The report as plain text, in lines of at most {PLAIN_WIDTH} characters."
    return MappingProxyType({HTML: Representation(page, about_page), TEXT: Representation(text, about_text)})


def assess_instructed(assessor: Assessor, asked: CheckRequest) -> tuple[Report, Derived]:
    """Judge a request with the work instruction, whether it asked for it or not; errors as ``Assessor.assess``.

    The digest stays that of the request as it was asked, so that it is the same in every form of the answer.
    """
    report, derived = assessor.assess_derived(asked.model_copy(update={"with_assembly": True}))
    provenance = report.provenance.model_copy(update={"request_sha256": request_sha256(asked)})
    return report.model_copy(update={"provenance": provenance}), derived


def readable_answer(content: str, media_type: str, status: int = 200) -> Response:
    """An answer for people, made for this request alone."""
    headers = {"Cache-Control": "no-store", "Vary": "Accept", **(PAGE_HEADERS if media_type == HTML else {})}
    return Response(content, status, headers, media_type=media_type)
