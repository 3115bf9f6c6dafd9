"""Requests to bytes: models of the contract and plain values alike."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any, TypeAlias, TypeVar

from pydantic import BaseModel

from service.client.sending import UnsendableError

__all__ = ["Given", "json_bytes"]

_Model = TypeVar("_Model", bound=BaseModel)

Given: TypeAlias = _Model | Mapping[str, Any]
"""A model of the contract, or the same as a dictionary; a dictionary may hold models."""


def json_bytes(value: Given[BaseModel]) -> bytes:
    """Write a request as compact JSON on one line.

    Of a model only what was stated is written, so that nothing left out becomes a stated null. Raises
    :class:`UnsendableError` for what JSON has no form for, not-a-number and infinity among it.
    """
    try:
        text = json.dumps(value, default=_plain, allow_nan=False, ensure_ascii=False, separators=(",", ":"))
        return text.encode()
    except (TypeError, ValueError, RecursionError) as error:
        raise UnsendableError(f"The request can't be written as JSON: {error}.") from error


def _plain(value: object) -> object:
    if isinstance(value, BaseModel):
        return value.model_dump(mode="json", exclude_unset=True, by_alias=True)
    if isinstance(value, Mapping):
        return dict(value)
    raise TypeError(f"{type(value).__name__} has no form in JSON")
