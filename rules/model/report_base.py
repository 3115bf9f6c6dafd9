"""What every part of an answer has in common."""

from __future__ import annotations

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

__all__ = ["LackingFact", "Out", "Pointer"]

Pointer = Annotated[
    str, Field(description="JSON Pointer (RFC 6901) into the request.", examples=["/stack/components/2"])
]


class Out(BaseModel):
    """A part of an answer: closed, and never changed once made."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class LackingFact(Out):
    """A quantity a rule needs that the request does not let one derive."""

    fact: str = Field(description="The quantity, as the rule names it.")
    fields: list[Pointer] = Field(description="Request fields that would supply it.")
