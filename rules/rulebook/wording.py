"""Messages and remedies: templates with ``{name}`` places, and how a value is written into them."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from functools import cache
from typing import Final

from rules.rulebook.fact import Value

__all__ = ["placeholders", "render", "written"]

_PLACE: Final = re.compile(r"\{([a-z][a-z0-9_]*)\}")
_DECIMALS: Final = 4
_MOST_DECIMALS: Final = 12


def placeholders(template: str) -> tuple[str, ...]:
    """The names a template asks for, in the order written.

    Raises :class:`ValueError` for a brace that is not part of a ``{name}``.

    >>> placeholders("{joint}: {grip_length_mm} mm held")
    ('joint', 'grip_length_mm')
    """
    rest = _PLACE.sub("", template)
    if "{" in rest or "}" in rest:
        raise ValueError("a brace stands alone; a place is written {name}")
    return tuple(_PLACE.findall(template))


def render(template: str, values: Mapping[str, Value]) -> str:
    """Write the values into a template.

    Raises :class:`KeyError` for a name without a value and :class:`ValueError` for a number that is
    not finite.

    >>> render("{joint}: {grip_length_mm} mm of {minimum_grip_mm} mm", {
    ...     "joint": "c1/ext", "grip_length_mm": 12.50004, "minimum_grip_mm": 20.0})
    'c1/ext: 12.5 mm of 20 mm'
    """
    # splitting leaves what stands between the places, and every second part is a name
    parts = list(_parts(template))
    parts[1::2] = [written(values[name]) for name in parts[1::2]]
    return "".join(parts)


@cache
def _parts(template: str) -> list[str]:
    return _PLACE.split(template)


def written(value: Value) -> str:
    """One value as text.

    A number has at most four decimals, below one at most four significant ones, no exponent, no
    trailing zeros and an ASCII minus; a flag is ``yes`` or ``no``.

    >>> written(6.35), written(-0.00001), written(0.000123456), written(1e21), written(True)
    ('6.35', '-0.00001', '0.0001235', '1000000000000000000000', 'yes')
    """
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str):
        return value
    if not math.isfinite(value):
        raise ValueError(f"{value} can't be written into a message")
    decimals = _DECIMALS
    if 0 < abs(value) < 1:
        decimals = min(_DECIMALS - 1 - math.floor(math.log10(abs(value))), _MOST_DECIMALS)
    text = f"{value:.{decimals}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if text == "-0" else text
