"""The bounded memory of answers: gives back what was kept, and never holds more than its limit."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

from hypothesis import given
from hypothesis import strategies as st

from rules.random_vectors.random_sum import KeptAnswers


@given(keys=st.lists(st.integers(0, 9), max_size=60), limit=st.integers(1, 8))
def test_the_last_kept_are_known(keys: list[int], limit: int) -> None:
    """First principles: of the different keys kept, the last ones are known with their answer, the others not."""
    kept = KeptAnswers[int, str](limit)
    order: list[int] = []
    for key in keys:
        if kept.find(key) is None:
            kept.keep(key, str(key))
            order.append(key)
    known = set(order[-limit:]) if order else set()
    assert {key: kept.find(key) for key in range(10)} == {key: str(key) if key in known else None for key in range(10)}
    kept.forget()
    assert all(kept.find(key) is None for key in keys)


def test_several_threads_keep_and_forget() -> None:
    """First principles: no thread ever finds another key's answer, and none is disturbed by another."""
    kept = KeptAnswers[int, int](16)

    def use(start: int) -> bool:
        right = True
        for key in range(start, start + 3000):
            kept.keep(key % 50, key % 50)
            right = right and kept.find(key % 50) in (None, key % 50)
            if key % 500 == 0:
                kept.forget()
        return right

    with ThreadPoolExecutor(4) as pool:
        assert all(pool.map(use, range(4)))
