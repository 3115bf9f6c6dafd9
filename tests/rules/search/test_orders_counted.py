"""The count of sequences equals the number found by listing them."""

from __future__ import annotations

from collections import Counter
from itertools import product

from hypothesis import given, settings
from hypothesis import strategies as st

from rules.search.plan import OrderCount


@given(
    quantities=st.lists(st.integers(1, 3), max_size=4),
    endings=st.integers(0, 3),
    room=st.integers(0, 5),
    data=st.data(),
)
@settings(deadline=None)
def test_orders_are_those_listed(quantities: list[int], endings: int, room: int, data: st.DataObject) -> None:
    """From any end, with whatever is left on hand and room for so many more."""
    shelf = [place for place, quantity in enumerate(quantities) for _ in range(quantity)]
    used = data.draw(st.lists(st.sampled_from(range(len(shelf))), unique=True, max_size=2)) if shelf else []
    taken = [shelf[n] for n in used]
    left = Counter(shelf)
    left.subtract(taken)
    listed = sum(
        all(count <= left[place] for place, count in Counter(order).items())
        for places in range(room)
        for order in product(range(len(quantities)), repeat=places)
    )
    assert OrderCount(quantities, endings).above(taken, room) == endings * listed
