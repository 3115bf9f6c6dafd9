"""Valid and invalid requests generated from the contract, sent over a real socket, with stateful sequences."""

from __future__ import annotations

from typing import Final

import httpx
import pytest
from hypothesis import HealthCheck, settings

from tests.support.contract import read
from tests.support.generated_requests import HEAVY, contract_of, walk, with_some_couplings
from tests.support.served import NO_TLS, PATIENCE_S, Served

_APART: Final = ("/v1/imports", "/v1/builds", *HEAVY)
"""What tests/service/test_openapi_conformance.py leaves apart in its short form."""

_DOCUMENT: Final = read()


@pytest.mark.long
@pytest.mark.parametrize("path", [path for path in _DOCUMENT["paths"] if path not in _APART])
def test_the_server_keeps_its_contract(path: str, server: Served) -> None:
    """All checks of schemathesis on what the server of the network adds as well; some minutes."""
    contract = contract_of(with_some_couplings(_DOCUMENT))
    walk(contract, path, lambda case: case.call_and_validate(base_url=server.url, timeout=PATIENCE_S), examples=20)


@pytest.mark.long
def test_no_order_of_requests_brings_it_down(server: Served) -> None:
    """Requests one after the other, each built on the answers before it where the contract tells how."""
    served = httpx.get(f"{server.url}/openapi.json", timeout=PATIENCE_S, verify=NO_TLS).json()
    contract = contract_of(served).exclude(path=list(_APART))
    contract.config.update(base_url=server.url)
    steady = settings(max_examples=20, derandomize=True, deadline=None, suppress_health_check=list(HealthCheck))
    contract.as_state_machine().run(settings=steady)
