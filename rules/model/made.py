"""Parts of an answer made of what the house worked out itself, without looking through it again."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from typing import Any, Final, ParamSpec, TypeVar

from pydantic import BaseModel

from rules.model.report_base import Out

__all__ = ["made"]

P = ParamSpec("P")
Part = TypeVar("Part", bound=Out)

_new: Final[Callable[[Any], Any]] = object.__new__
# What pydantic's own `model_construct` sets. By their descriptors, since looking each up by name costs as much as
# the validation that is saved.
_set_values, _set_names, _set_extra, _set_private = (BaseModel.__dict__[name].__set__ for name in BaseModel.__slots__)


def made(part: Callable[P, Part], /, *_: P.args, **fields: P.kwargs) -> Part:
    """Make a part of an answer; instead of the validator at run time, mypy compares the fields with the model.

    A check makes some forty parts, and validating what our own code has typed would be a twentieth of it.
    The fields must stand in the order of the model, since the answer is written in the order they are given.
    """
    one: Part = _new(part)
    _set_values(one, fields)
    _set_names(one, _names(part))
    _set_extra(one, None)
    _set_private(one, None)
    return one


@cache
def _names(part: Any) -> set[str]:
    """The fields of a model, all of which are set; one set for all its parts, which never change."""
    return set(part.model_fields)
