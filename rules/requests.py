"""From parsed JSON to a request, with every fault located in the input and told in plain words."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final, TypeVar

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from rules.input_faults import describe, locate
from rules.model.request import CheckRequest

__all__ = ["BadRequestError", "Fault", "parse", "parse_request"]

_WITH_HELP: Final = 100
"""Faults of a request that are told with a suggestion: to look for a similar name costs a tenth of a millisecond."""

ModelT = TypeVar("ModelT", bound=BaseModel)


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong with a request.

    ``pointer`` is a JSON Pointer (RFC 6901) that resolves in the input, ``""`` being the whole of it;
    a missing field points at the object that lacks it.  ``detail`` says what was expected.
    """

    pointer: str
    detail: str


class BadRequestError(ValueError):
    """The input is no valid request; ``faults`` holds everything found, in the order of the contract."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults = tuple(faults)
        super().__init__("; ".join(f"{fault.pointer or '/'}: {fault.detail}" for fault in self.faults))


def parse(model: type[ModelT], data: object) -> ModelT:
    """Validate parsed JSON against a model of the contract.

    Raises :class:`BadRequestError` with a fault for each error found.
    """
    try:
        return model.model_validate(data)
    except ValidationError as error:
        errors = error.errors(include_url=False, include_input=False)
    raise BadRequestError(_fault(model, one, data, helpful=n < _WITH_HELP) for n, one in enumerate(errors))


def _fault(model: type[BaseModel], error: ErrorDetails, data: object, *, helpful: bool) -> Fault:
    place = locate(model, error, data)
    return Fault(place.pointer, describe(error, place, helpful=helpful))


def parse_request(data: object) -> CheckRequest:
    """Validate parsed JSON as the request of a check; raises :class:`BadRequestError`.

    >>> parse_request({"stack": {"components": [{"kind": "collet", "id": "c1", "mas_kg": 1}]}})
    Traceback (most recent call last):
    rules.requests.BadRequestError: /stack/components/0/mas_kg: unknown field; did you mean 'mass_kg'?
    """
    return parse(CheckRequest, data)
