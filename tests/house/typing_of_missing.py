"""Types of possibly missing values in mypy; each `ignore` marks an error that mypy must report."""

from __future__ import annotations

from typing import assert_type

from rules.quantities.missing import Missing, OrMissing, all_known, when_all_known, when_both_known, when_known


def ratio(length: float, across: float) -> float:
    """A function of two numbers."""
    return length / across


def between(least: float, value: float, most: float) -> bool:
    """A function of three numbers."""
    return least <= value <= most


def show(length: OrMissing[float], name: OrMissing[str]) -> None:
    """Never called: mypy alone reads it."""
    assert_type(when_known(lambda mm: mm > 1.0, length), bool | Missing)
    assert_type(when_both_known(ratio, length, 2.0), float | Missing)
    assert_type(when_both_known(lambda mm, words: (words, mm), length, name), tuple[str, float] | Missing)
    assert_type(when_all_known(between, 1.0, length, 2.0), bool | Missing)
    assert_type(when_known(max, all_known([length, 2.0])), float | Missing)

    when_known(len, length)  # type: ignore[arg-type]
    when_known(lambda mm: mm.upper(), length)  # type: ignore[attr-defined]
    when_both_known(ratio, "a", 2.0)  # type: ignore[arg-type]
    when_both_known(ratio, length, None)  # type: ignore[misc]
    when_both_known(ratio, length)  # type: ignore[call-arg]
    when_both_known(lambda mm, across: mm / across, "a", None)  # type: ignore[operator]
    when_both_known(lambda mm, words: mm / words, length, name)  # type: ignore[operator]
    when_all_known(between, 1.0, name, 2.0)  # type: ignore[arg-type]
    when_all_known(between, 1.0, length, None)  # type: ignore[misc]
    when_all_known(ratio, 1.0, length, 2.0)  # type: ignore[arg-type]
    all_known([length]) + 1.0  # type: ignore[operator]
