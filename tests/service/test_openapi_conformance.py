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

# no generator of data writes the XML of a tool asset; the imports have tests of their own
_SCHEMA = schemathesis.openapi.from_asgi("/openapi.json", create_app(Settings(), Assessor.load())).exclude(
    path="/v1/imports"
)


_ONE_IN = {
    "/v1/checks": 4,
    "/v1/budgets": 8,
    "/v1/comparisons": 64,
    "/v1/exports": 32,
    "/v1/gates": 64,
    "/v1/gates/verify": 128,
}
"""Of the thousands of boundary cases of a route; others hold the fields of a check once more."""


def _chosen(case: Case, config: pytest.Config) -> bool:
    """A share of the boundary cases, always the same; with --long all of them."""
    if case.path not in _ONE_IN or not isinstance(case.body, dict) or config.getoption("--long", default=False):
        return True
    return zlib.crc32(to_json(case.body, fallback=repr)) % _ONE_IN[case.path] == 0


@_SCHEMA.parametrize()
@settings(max_examples=40, derandomize=True, deadline=None, suppress_health_check=list(HealthCheck))
def test_the_service_keeps_its_contract(case: Case, pytestconfig: pytest.Config) -> None:
    """What the schema allows is answered with 200, what it forbids is refused, and every answer fits.

    Beside random requests this walks the boundaries of every field of the schema.
    """
    if _chosen(case, pytestconfig):
        case.call_and_validate()
