"""Limits of size and kinds of fit, as in drawings and standards."""

from __future__ import annotations

__all__ = ["fit_kind", "limit_sizes_mm"]


def fit_kind(clearance_min_um: float, clearance_max_um: float) -> str:
    """Return clearance, transition or interference by ISO 286-1.

    >>> fit_kind(0.0, 10.0), fit_kind(-10.0, 0.0), fit_kind(-10.0, 1.0)
    ('clearance', 'interference', 'transition')
    """
    if clearance_min_um >= 0.0:
        return "clearance"
    return "interference" if clearance_max_um <= 0.0 else "transition"


def limit_sizes_mm(nominal_mm: float, deviations_um: tuple[float, float]) -> tuple[float, float]:
    """Return lower and upper limit of size, mm: the nominal size and its deviations."""
    return nominal_mm + deviations_um[0] / 1000.0, nominal_mm + deviations_um[1] / 1000.0
