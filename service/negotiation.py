"""Media types: what a client will take, and what it sends (RFC 9110, sections 8.3 and 12.5)."""

from __future__ import annotations

from collections.abc import Sequence
from email.message import Message
from functools import lru_cache

from fastapi import Request

from service.operations.problems import ProblemError

__all__ = [
    "CSV",
    "HTML",
    "JSON",
    "SVG",
    "TEXT",
    "XML",
    "preferred",
    "require_acceptable",
    "require_body",
    "require_json_body",
]

JSON = "application/json"
XML = "application/xml"
CSV = "text/csv"
HTML = "text/html"
TEXT = "text/plain"
SVG = "image/svg+xml"


def require_acceptable(request: Request, offers: Sequence[str] = (JSON,)) -> str:
    """The offer the client likes best, the earlier of two it likes alike.

    Raises :class:`ProblemError` 406 when it takes none of them.
    """
    best = preferred(request, offers)
    if best is None:
        *others, last = offers
        listed = f"{', '.join(others)} and {last}" if others else last
        raise ProblemError("not-acceptable", f"Only {listed} can be given here.")
    return best


def preferred(request: Request, offers: Sequence[str]) -> str | None:
    """The offer the client likes best, the earlier of two it likes alike; None when it takes none of them."""
    return _choose(",".join(_sent(request, b"accept")), tuple(offers))


def require_json_body(request: Request) -> None:
    """Raise :class:`ProblemError` 415 unless the body is declared as plain JSON in UTF-8."""
    require_body(request, (JSON,))


def require_body(request: Request, taken: Sequence[str]) -> str:
    """The media type the body is declared as, one of those taken.

    Raises :class:`ProblemError` 415 for any other, for another charset than UTF-8 and for a content coding.
    """
    coding = _sent(request, b"content-encoding")
    if coding and coding[0].strip().lower() != "identity":
        raise ProblemError(
            "unsupported-media-type",
            "The body has a content coding; send it plain.",
            headers={"Accept-Post": ", ".join(taken), "Accept-Encoding": "identity"},
        )
    types = _sent(request, b"content-type")
    declared = _declared(types[0] if types else "")
    if declared is None or declared not in taken:
        raise ProblemError(
            "unsupported-media-type",
            f"The body must be declared as {' or '.join(taken)} in UTF-8.",
            headers={"Accept-Post": ", ".join(taken)},
        )
    return declared


def _sent(request: Request, name: bytes) -> list[str]:
    """The values of a header, whose name is given in lower case; read as they came, without a mapping made of all."""
    return [value.decode("latin-1") for one, value in request.scope["headers"] if one == name]


@lru_cache(maxsize=256)
def _declared(content_type: str) -> str | None:
    """The media type, or nothing where its charset is not UTF-8."""
    parsed = Message()
    parsed["content-type"] = content_type
    # For a value it can't read, the parser falls back to text/plain.
    charset = parsed.get_content_charset() or "utf-8"
    return parsed.get_content_type() if charset in ("utf-8", "utf8") else None


@lru_cache(maxsize=256)
def _choose(accept: str, offers: tuple[str, ...]) -> str | None:
    if not accept.strip():
        return offers[0]
    ranges = [_range(part) for part in accept.split(",") if part.strip()]
    weighed = [(_weight(offer, ranges), offer) for offer in offers]
    weight, best = max(weighed, key=lambda pair: pair[0])
    return best if weight > 0 else None


def _range(part: str) -> tuple[str, float]:
    name, *parameters = (piece.strip() for piece in part.lower().split(";"))
    weight = 1.0
    for parameter in parameters:
        key, _, value = parameter.partition("=")
        if key.strip() == "q":
            try:
                weight = min(1.0, max(0.0, float(value)))
            except ValueError:
                weight = 0.0
    return name, weight


def _weight(offer: str, ranges: Sequence[tuple[str, float]]) -> float:
    """The weight of the most specific range that covers the offer."""
    whole = offer.split("/")[0] + "/*"
    for wanted in (offer, whole, "*/*"):
        weights = [weight for name, weight in ranges if name == wanted]
        if weights:
            return max(weights)
    return 0.0
