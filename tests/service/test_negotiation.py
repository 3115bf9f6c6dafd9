"""Which media type an Accept header gets (RFC 9110, section 12.5.1)."""

from __future__ import annotations

import pytest
from fastapi import Request

from service.http.answers import require_acceptable
from service.operations.problems import ProblemError

OFFERS = ("application/json", "text/html")


def _request(*accept: str) -> Request:
    return Request({"type": "http", "headers": [(b"accept", value.encode()) for value in accept]})


@pytest.mark.parametrize(
    ("accept", "chosen"),
    [
        ((), "application/json"),
        (("",), "application/json"),
        (("*/*",), "application/json"),
        (("text/*",), "text/html"),
        (("TEXT/HTML",), "text/html"),
        (("text/html;q=0.5, application/json;q=0.4",), "text/html"),
        (("text/html, */*;q=0.8",), "text/html"),
        (("text/html;q=0.9, application/json",), "application/json"),
        (("text/html", "application/json;q=0.1"), "text/html"),
        (("*/*, application/json;q=0",), "text/html"),
        (("application/json ; q=1.0",), "application/json"),
        (("text/html;q=nan, application/json;q=0.1",), "application/json"),
    ],
)
def test_the_best_offer_is_chosen(accept: tuple[str, ...], chosen: str) -> None:
    """The most specific range weighs an offer; the heaviest offer wins, the first of equals."""
    assert require_acceptable(_request(*accept), OFFERS) == chosen


@pytest.mark.parametrize("accept", ["image/png", "*/*;q=0", "application/json;q=0", "application/json;q=x", "json"])
def test_nothing_acceptable_is_refused(accept: str) -> None:
    """406 where every offer weighs nothing."""
    with pytest.raises(ProblemError) as caught:
        require_acceptable(_request(accept), ("application/json",))
    assert caught.value.kind.status == 406
