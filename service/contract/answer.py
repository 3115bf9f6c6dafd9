"""The base of the models of answers."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict

__all__ = ["Answer"]


class Answer(BaseModel):
    """The base of the answers that only the HTTP face gives: closed, and every field always there."""

    model_config = ConfigDict(extra="forbid", frozen=True)
