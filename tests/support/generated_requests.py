"""Requests that schemathesis generates from the contract, one route after the other."""

from __future__ import annotations

import copy
import zlib
from collections.abc import Callable
from typing import Any, Final

import schemathesis
from hypothesis import HealthCheck, settings
from pydantic_core import to_json
from schemathesis import Case
from schemathesis.checks import load_all_checks
from schemathesis.generation.feedback import FeedbackSources
from schemathesis.pytest._test_builder import build_operation_test
from schemathesis.python._constants.orchestrator import make_constants_value_source
from schemathesis.schemas import BaseSchema

__all__ = ["HEAVY", "contract_of", "walk", "with_some_couplings"]

HEAVY: Final = (
    "/v1/budgets",
    "/v1/calibrations",
    "/v1/check-batches",
    "/v1/comparisons",
    "/v1/drawings",
    "/v1/explanations",
    "/v1/exports",
    "/v1/gates",
    "/v1/readings",
    "/v1/requests",
    "/v1/searches",
)
"""Routes whose bodies hold the fields of a check once more: to make cases of them takes many minutes."""

_ONE_IN: Final = {"/v1/checks": 8}
"""Of the thousands of boundary cases of a route."""


def contract_of(document: dict[str, Any]) -> BaseSchema:
    """A document as schemathesis reads it, without bodies in YAML: the schema does not tell their short form."""
    document = copy.deepcopy(document)
    for item in document["paths"].values():
        item.get("post", {}).get("requestBody", {}).get("content", {}).pop("application/yaml", None)
    return schemathesis.openapi.from_dict(document)


def with_some_couplings(document: dict[str, Any]) -> dict[str, Any]:
    """The document with some couplings for each kind of part.

    Whatever the kind, a coupling is one model, and so each is walked once instead of a dozen times.
    """
    document = copy.deepcopy(document)
    models = document["components"]["schemas"]
    models["Components"]["anyOf"][0]["additionalProperties"] = {"$ref": "#/components/schemas/RetentionKnob"}
    for side, field in (("machine_side", "MachineSide"), ("workpiece_side", "WorkpieceSide")):
        reference = {"$ref": f"#/components/schemas/{field}Field"}
        kinds = [one for one in models.values() if one.get("properties", {}).get(side) == reference]
        for number, kind in enumerate(kinds):
            couplings = models[field]["oneOf"][number :: len(kinds)]
            kind["properties"][side] = {"anyOf": [{"oneOf": couplings}, {"type": "null"}]}
        assert 1 < len(kinds) <= len(models[field]["oneOf"])
    return document


def walk(
    contract: BaseSchema, path: str, send: Callable[[Case], object], *, examples: int, every: bool = False
) -> None:
    """Send random requests to a route, and those at the boundaries of every field of its schema.

    ``every`` is for all boundary cases, otherwise a share of them, always the same. What no schema can say is left out.
    """

    @settings(max_examples=examples, derandomize=True, deadline=None, suppress_health_check=list(HealthCheck))
    def sent(case: Case) -> None:
        if _chosen(case, every=every):
            send(case)

    load_all_checks()
    feedback = FeedbackSources(constants_value_source=make_constants_value_source(contract))
    # The plugin for pytest would make the boundary cases, ten seconds of work, in every process that collects.
    for found in contract.include(path=path).get_all_operations():
        build_operation_test(
            config=contract.config, operation=found.ok(), test_func=sent, given_kwargs={}, feedback=feedback
        )()


def _chosen(case: Case, *, every: bool) -> bool:
    if not isinstance(case.body, dict):
        return True
    if _is_refused(case.body):
        return False
    return every or zlib.crc32(to_json(case.body, fallback=repr)) % _ONE_IN.get(case.path, 1) == 0


def _is_refused(body: dict[str, Any]) -> bool:
    """Whether a body is refused though the schema allows it, for what no schema can say."""
    policy = body.get("policy")
    if isinstance(policy, dict) and policy.get("assumption_set") is not None:
        return True  # its digest is that of its content
    thresholds = policy.get("thresholds") if isinstance(policy, dict) else None
    # two operations share an id, or two overrides a threshold
    for listed, fields in ((thresholds, ("code", "threshold")), (body.get("operations"), ("id",))):
        entries = [one for one in listed if isinstance(one, dict)] if isinstance(listed, list) else []
        names = [repr([one.get(field) for field in fields]) for one in entries]
        if len(set(names)) < len(names):
            return True
    return False
