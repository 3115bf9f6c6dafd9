"""Units as people write them."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

__all__ = ["quantity", "unit_sign"]

_SIGNS: Final[Mapping[str, str]] = MappingProxyType(
    {
        "um": "µm",
        "degC": "°C",
        "deg": "°",
        "N m": "N·m",
        "g mm": "g·mm",
        "percent": "%",
        "x D": "× D",
        "ratio": "",
        "count": "",
        "none": "",
    }
)


_SUFFIXES: Final[Mapping[str, str]] = MappingProxyType(
    {
        "_m_per_min": "m/min",
        "_mm_per_s": "mm/s",
        "_n_per_um": "N/µm",
        "_n_m": "N·m",
        "_degc": "°C",
        "_gmm": "g·mm",
        "_percent": "%",
        "_deg": "°",
        "_rpm": "rpm",
        "_mpa": "MPa",
        "_mm": "mm",
        "_um": "µm",
        "_kg": "kg",
        "_hz": "Hz",
        "_kw": "kW",
        "_n": "N",
    }
)
"""Units at the end of names, longer ones before those they end in."""


def unit_sign(unit: str | None) -> str:
    """Return the sign of a unit of the contract; nothing for what has no unit.

    >>> unit_sign("um"), unit_sign("mm"), unit_sign("ratio"), unit_sign(None)
    ('µm', 'mm', '', '')
    """
    return "" if unit is None else _SIGNS.get(unit, unit)


def quantity(name: str) -> str:
    """Return the name of a quantity as people read it, its unit in brackets.

    >>> quantity("runout_p95_um"), quantity("torque_n_m"), quantity("knob_form")
    ('runout p95 (µm)', 'torque (N·m)', 'knob form')
    """
    for suffix, sign in _SUFFIXES.items():
        if name.endswith(suffix):
            return f"{name.removesuffix(suffix).replace('_', ' ')} ({sign})"
    return name.replace("_", " ")
