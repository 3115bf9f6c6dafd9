"""The Python client of the service, synchronous and asynchronous.

    with Client("http://toolroom:8713", token=token) as client:
        report = client.check({"stack": …})
        if client.releases(order):
            …

Requests are models or plain dictionaries; responses are models.
"""

from __future__ import annotations

from service.client.asynchronous import AsyncClient
from service.client.lines import BatchLine
from service.client.release import Release
from service.client.sending import (
    AnsweredProblemError,
    ClientError,
    OverdueError,
    Patience,
    UnreachableError,
    UnreadableAnswerError,
    UnsendableError,
)
from service.client.synchronous import Client
from service.signature import KeyDataError, SignatureError, verify_signature

__all__ = [
    "AnsweredProblemError",
    "AsyncClient",
    "BatchLine",
    "Client",
    "ClientError",
    "KeyDataError",
    "OverdueError",
    "Patience",
    "Release",
    "SignatureError",
    "UnreachableError",
    "UnreadableAnswerError",
    "UnsendableError",
    "verify_signature",
]
