"""Checking one part of a YAML file against its closed model, with reasons in plain words."""

from __future__ import annotations

from typing import Any, Final, TypeVar

from pydantic import BaseModel, ConfigDict, ValidationError
from pydantic_core import ErrorDetails

from rules.rulebook.problem import Problem
from rules.rulebook.yaml_source import Source, Step

__all__ = ["ClosedModel", "validated"]

ModelT = TypeVar("ModelT", bound=BaseModel)


class ClosedModel(BaseModel):
    """Unknown fields are refused, types are strict, numbers finite, instances frozen."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True, allow_inf_nan=False)


_KIND_OF_VALUE: Final = {
    "string_type": "must be text",
    "bool_type": "must be true or false",
    "float_type": "must be a number",
    "int_type": "must be a whole number",
    "finite_number": "must be a finite number",
    "dict_type": "must be a mapping of names to values",
    "model_type": "must be a mapping of names to values",
    "model_attributes_type": "must be a mapping of names to values",
    "tuple_type": "must be a list",
    "list_type": "must be a list",
    "string_too_short": "must not be empty",
    "too_short": "must not be empty",
    "recursion_loop": "must not contain itself",
    "invalid-json-value": "must be text, a number, true, false, null, a list or a mapping",
}


def validated(
    model: type[ModelT], raw: object, source: Source, path: tuple[Step, ...], code: str = ""
) -> tuple[ModelT | None, list[Problem]]:
    """Check ``raw``, which stands at ``path`` of ``source``; the model, or every reason why not."""
    try:
        return model.model_validate(raw), []
    except ValidationError as error:
        return None, [
            Problem(source.file, source.lines.at((*path, *_steps(detail))), code, _plain(detail))
            for detail in error.errors(include_url=False, include_context=True)
        ]


def _steps(detail: ErrorDetails) -> tuple[Step, ...]:
    return tuple(step for step in detail["loc"] if step != "[key]")


def _plain(detail: ErrorDetails) -> str:
    kind, context = detail["type"], detail.get("ctx", {})
    name = ".".join(str(step) for step in detail["loc"]) or "the entry"
    if kind == "missing":
        return f"{name} is missing"
    if kind == "extra_forbidden":
        return f"{name} is not a known field"
    if kind == "literal_error":
        return f"{name} must be one of {context.get('expected')}, not {_shown(detail['input'])}"
    if kind == "string_pattern_mismatch":
        return f"{name} must look like {context.get('pattern')}, not {_shown(detail['input'])}"
    if kind == "value_error":
        return f"{name}: {context.get('error')}"
    if words := _KIND_OF_VALUE.get(kind):
        return f"{name} {words}, not {_shown(detail['input'])}"
    return f"{name}: {detail['msg']}"


def _shown(value: Any) -> str:
    text = repr(value)
    return text if len(text) <= 60 else text[:57] + "..."
