"""The examples of a rule as requests: a valid base, changed in a place or two."""

from __future__ import annotations

import copy
from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from typing import Any

import yaml

from rules.rulebook.model import Example

__all__ = ["base_names", "base_request", "example_request"]


@cache
def _bases() -> Mapping[str, dict[str, Any]]:
    folder = files("rules").joinpath("books", "bases")
    return {
        file.name.removesuffix(".yaml"): yaml.safe_load(file.read_text(encoding="utf-8"))
        for file in sorted(folder.iterdir(), key=lambda entry: entry.name)
        if file.name.endswith(".yaml")
    }


def base_names() -> tuple[str, ...]:
    """Return the names of the base requests."""
    return tuple(_bases())


def base_request(name: str) -> dict[str, Any]:
    """Return a base request, to change as wanted; raises KeyError for an unknown name."""
    return copy.deepcopy(_bases()[name])


def example_request(example: Example) -> dict[str, Any]:
    """Return the base of an example with its values set and its fields removed.

    Pointers are RFC 6901; a set with "-" at the end appends to a list. Raises KeyError or IndexError
    for a place that is not there.
    """
    request = base_request(example.base)
    for pointer, value in example.set.items():
        holder, last = _holder(request, pointer)
        if isinstance(holder, list) and last == "-":
            holder.append(copy.deepcopy(value))
        else:
            holder[int(last) if isinstance(holder, list) else last] = copy.deepcopy(value)
    for pointer in example.remove:
        holder, last = _holder(request, pointer)
        del holder[int(last) if isinstance(holder, list) else last]
    return request


def _holder(request: dict[str, Any], pointer: str) -> tuple[Any, str]:
    steps = [step.replace("~1", "/").replace("~0", "~") for step in pointer.split("/")[1:]]
    place: Any = request
    for step in steps[:-1]:
        place = place[int(step)] if isinstance(place, list) else place[step]
    return place, steps[-1]
