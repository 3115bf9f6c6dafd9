"""Valid and invalid requests generated from the contract, sent over a real socket, with stateful sequences."""

from __future__ import annotations

import os
from typing import Final

import pytest
import schemathesis
from hypothesis import HealthCheck, settings
from schemathesis import Case

from tests.support.contract import DOCUMENT
from tests.support.served import PATIENCE_S, Served

if "FULL_SIZE_TESTS" not in os.environ:
    # to collect the cases of so large a contract takes longer than all other tests of this folder
    pytest.skip("full-size form; run with --long", allow_module_level=True)

_APART: Final = ["/v1/imports", "/v1/check-batches"]
"""Bodies that are not JSON alone, which no generator of data writes sensibly; they have tests of their own."""

_SCHEMA: Final = schemathesis.openapi.from_path(DOCUMENT).exclude(path=_APART)

_STEADY: Final = settings(max_examples=20, derandomize=True, deadline=None, suppress_health_check=list(HealthCheck))


@_SCHEMA.parametrize()
@_STEADY
def test_the_server_keeps_its_contract(case: Case, server: Served) -> None:
    """All checks of schemathesis on what the server of the network adds as well; tens of minutes."""
    case.call_and_validate(base_url=server.url)


def test_no_order_of_requests_brings_it_down(server: Served) -> None:
    """Requests one after the other, each built on the answers before it where the contract tells how."""
    schema = schemathesis.openapi.from_url(f"{server.url}/openapi.json", timeout=PATIENCE_S).exclude(path=_APART)
    schema.as_state_machine().run(settings=_STEADY)
