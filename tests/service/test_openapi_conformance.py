"""Requests made from the contract, right and wrong, and answers held against it."""

from __future__ import annotations

import zlib

import pytest
import schemathesis
from hypothesis import HealthCheck, settings
from pydantic_core import to_json
from schemathesis import Case

from rules.assess import Assessor
from service.app import create_app
from service.settings import Settings

_SCHEMA = schemathesis.openapi.from_asgi("/openapi.json", create_app(Settings(), Assessor.load()))


def _chosen(case: Case, config: pytest.Config) -> bool:
    """Half of the thousands of boundary cases of a check, always the same half; with --long all of them."""
    if case.path != "/v1/checks" or not isinstance(case.body, dict) or config.getoption("--long", default=False):
        return True
    return zlib.crc32(to_json(case.body, fallback=repr)) % 2 == 0


@_SCHEMA.parametrize()
@settings(max_examples=40, derandomize=True, deadline=None, suppress_health_check=list(HealthCheck))
def test_the_service_keeps_its_contract(case: Case, pytestconfig: pytest.Config) -> None:
    """What the schema allows is answered with 200, what it forbids is refused, and every answer fits.

    Beside random requests this walks the boundaries of every field of the schema.
    """
    if _chosen(case, pytestconfig):
        case.call_and_validate()
