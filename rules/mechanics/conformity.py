"""Deciding on a measured value against a limit by ISO 14253-1."""

from __future__ import annotations

import math
from typing import Literal

__all__ = ["Decision", "decide_upper_limit", "least_uncertainty_to_decide"]

Decision = Literal["conforms", "does_not_conform", "not_proven"]


def decide_upper_limit(value: float, limit: float, expanded_uncertainty: float) -> Decision:
    """Return whether a value with its uncertainty proves that an upper limit is kept.

    Conformity is proven when value + U ≤ limit, non-conformity when value − U > limit; in between neither, and the
    uncertainty counts against whoever has to prove.
    Parameters: value, limit and expanded uncertainty U ≥ 0 (k = 2 unless agreed otherwise), one unit, finite; else
    ValueError. Source: ISO 14253-1, editions 1998 and 2013 with the guard band g = U (from memory; the 2017
    edition takes 1.65·u one-sided, which is smaller: this is the cautious reading).

    >>> decide_upper_limit(7.0, 10.0, 2.0), decide_upper_limit(9.0, 10.0, 2.0), decide_upper_limit(13.0, 10.0, 2.0)
    ('conforms', 'not_proven', 'does_not_conform')
    """
    if not all(math.isfinite(number) for number in (value, limit, expanded_uncertainty)):
        raise ValueError("value, limit and uncertainty must be finite")
    if expanded_uncertainty < 0:
        raise ValueError("an uncertainty is not negative")
    if value + expanded_uncertainty <= limit:
        return "conforms"
    return "does_not_conform" if value - expanded_uncertainty > limit else "not_proven"


def least_uncertainty_to_decide(value: float, limit: float) -> float:
    """Return the expanded uncertainty below which a value decides: |limit − value|.

    Source: ISO 14253-1, solved for U.

    >>> least_uncertainty_to_decide(9.0, 10.0)
    1.0
    """
    return abs(limit - value)
