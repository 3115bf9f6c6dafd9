"""What the OpenAPI document says of tokens, and of bodies that come too slowly."""

from __future__ import annotations

from typing import Any, Final

from service.middleware.bearer import is_open
from service.problem_responses import responses

__all__ = ["describe_access"]

_SCHEME: Final = "bearer"


def describe_access(document: dict[str, Any]) -> None:
    """Add the scheme, and to each operation what the middlewares may answer in its place.

    The token is optional, since an operator need not ask for one.
    """
    document["components"]["securitySchemes"] = {
        _SCHEME: {
            "type": "http",
            "scheme": "bearer",
            "description": "Asked for where the operator has set tokens (RFC 6750).",
        }
    }
    for path, item in document["paths"].items():
        for method, operation in item.items():
            if not is_open(path):
                operation["security"] = [{}, {_SCHEME: []}]
                _add(operation, "token-needed")
            if method == "post":
                _add(operation, "slow-body")


def _add(operation: dict[str, Any], kind: str) -> None:
    for status, response in responses(kind).items():
        if status == 401:
            response["headers"] = {
                "WWW-Authenticate": {
                    "description": 'The challenge of RFC 6750, with error="invalid_token" where one was sent.',
                    "schema": {"type": "string"},
                }
            }
        operation["responses"][str(status)] = response
