"""A part is ruled out for its width only if it is too wide in every possible position."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from rules.schema.search import ClearanceZone
from rules.search.plan import UNKNOWN, Slice, Span, too_wide

_WHOLE = st.integers(0, 30)


@given(start=_WHOLE, length=st.integers(1, 30), least=_WHOLE, more=_WHOLE, zone=_WHOLE, zone_length=st.integers(1, 30))
def test_too_wide_is_too_wide_wherever_it_lies(
    start: int, length: int, least: int, more: int, zone: int, zone_length: int
) -> None:
    """Against every place in steps of a millimetre; a piece that only touches a zone does not lie in it."""
    piece = Slice(start, start + length, 6.0)
    zones = [ClearanceZone(from_mm=float(zone), to_mm=float(zone + zone_length), radius_mm=5.0)]
    overlaps = [
        max(start + face, zone) < min(start + length + face, zone + zone_length)
        for face in range(least, least + more + 1)
    ]
    assert too_wide([piece], Span(least, least + more), zones) is all(overlaps)
    assert not too_wide([Slice(start, start + length, 5.0)], Span(least, least + more), zones)
    assert not too_wide([piece], UNKNOWN, zones)
