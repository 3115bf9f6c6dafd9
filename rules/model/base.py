"""The base of every model of the public contract: closed, frozen, finite."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict

__all__ = ["Model"]


class Model(BaseModel):
    """A part of the public contract.

    Unknown fields are refused, since a misspelt limit must never pass silently;
    types are strict (``true`` is no number, ``"5"`` is no mass) and numbers finite.
    """

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True, allow_inf_nan=False)
