"""A problem as it is answered (RFC 9457)."""

from __future__ import annotations

from typing import Final

from pydantic import BaseModel, ConfigDict, Field

__all__ = ["PROBLEM_MEDIA_TYPE", "Problem", "ProblemPart"]


PROBLEM_MEDIA_TYPE: Final = "application/problem+json"


class ProblemPart(BaseModel):
    """One of several things wrong, and where."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    detail: str
    pointer: str | None = Field(
        None,
        description="JSON Pointer into the body, as a URI fragment (RFC 6901, section 6).",
        examples=["#/stack/components/0/mass_kg"],
    )
    line: int | None = Field(None, description="Line in the body, from 1.")
    column: int | None = Field(None, description="Column in the line, from 1, in characters.")


class Problem(BaseModel):
    """What went wrong (RFC 9457)."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    type: str = Field(description="Kind of problem: a URI reference.", examples=["/problems/invalid-request"])
    title: str = Field(description="The kind in words.")
    status: int = Field(description="HTTP status.", ge=400, le=599)
    detail: str = Field(description="This occurrence in words.")
    instance: str | None = Field(None, description="The path that was asked.", examples=["/v1/checks"])
    errors: list[ProblemPart] | None = Field(None, description="Each fault with its place, where there is one.")
