"""The digest of a request is that of the text described in the contract."""

from __future__ import annotations

import contextlib
import hashlib
import random

from rules.answer.provenance import request_sha256
from rules.schema.parsing import BadRequestError, parse_request
from rules.schema.request import CheckRequest
from tests.support.random_stacks import random_stack


def _requests(count: int) -> list[CheckRequest]:
    """Random requests; those that do not fit the model are left out."""
    rng = random.Random(20)
    requests = []
    for _ in range(count):
        with contextlib.suppress(BadRequestError):
            requests.append(parse_request(random_stack(rng)))
    return requests


def test_the_digest_is_that_of_the_request_as_its_models_write_it() -> None:
    """Unset fields left out, lengths in mm, fields in the order of the contract, compact."""
    requests = _requests(300)
    assert len(requests) > 100
    for request in requests:
        text = request.model_dump_json(exclude_unset=True)
        assert request_sha256(request) == hashlib.sha256(text.encode()).hexdigest()
