"""Units as answers write them: codes of the Unified Code for Units of Measure (UCUM), and units at the end of names.

Fields and rulebooks name their units by the endings and words of this project; findings, steps and gaps of an answer
state the code beside the value.
"""

from __future__ import annotations

from functools import lru_cache
from types import MappingProxyType
from typing import Final

__all__ = ["quantity_and_unit", "rulebook_unit", "ucum"]

_CODES: Final = MappingProxyType(
    {
        "rpm": "/min",
        "N m": "N.m",
        "g mm": "g.mm",
        "g mm2": "g.mm2",
        "kg mm2": "kg.mm2",
        "degC": "Cel",
        "percent": "%",
        "ratio": "1",
        "count": "1",
        "none": "1",
        "x D": "1",
    }
)
"""Codes of the units that a rulebook names otherwise."""

_RULEBOOK_UNITS: Final = MappingProxyType({code: unit for unit, code in _CODES.items()} | {"1": "ratio"})

_CODE_OF_ENDING: Final = MappingProxyType(
    {
        "_n_m_per_mrad": "N.m/mrad",
        "_mm3_per_min": "mm3/min",
        "_n_per_um": "N/um",
        "_um_per_n": "um/N",
        "_um_per_mm": "um/mm",
        "_um_per_m": "um/m",
        "_m_per_min": "m/min",
        "_mm_per_s": "mm/s",
        "_kg_m3": "kg/m3",
        "_kg_mm2": "kg.mm2",
        "_g_mm2": "g.mm2",
        "_temperature_c": "Cel",
        "_percent": "%",
        "_ratio": "1",
        "_degc": "Cel",
        "_g_mm": "g.mm",
        "_n_m": "N.m",
        "_deg": "deg",
        "_rpm": "/min",
        "_gpa": "GPa",
        "_mpa": "MPa",
        "_mm": "mm",
        "_um": "um",
        "_kg": "kg",
        "_hz": "Hz",
        "_kw": "kW",
        "_n": "N",
    }
)
"""Codes by the end of a name, longer ends before those they end in."""


def rulebook_unit(code: str | None) -> str:
    """Return the unit of a rulebook for a UCUM code, by which values are rounded.

    >>> rulebook_unit("/min"), rulebook_unit("um"), rulebook_unit("1")
    ('rpm', 'um', 'ratio')
    """
    return "ratio" if code is None else _RULEBOOK_UNITS.get(code, code)


def ucum(unit: str) -> str:
    """Return the UCUM code of a unit of a rulebook or a table.

    >>> ucum("g mm"), ucum("rpm"), ucum("um"), ucum("ratio")
    ('g.mm', '/min', 'um', '1')
    """
    return _CODES.get(unit, unit)


@lru_cache(maxsize=1024)
def quantity_and_unit(name: str) -> tuple[str, str | None]:
    """Return the quantity that a field or property names, without its unit, and the UCUM code of that unit.

    >>> quantity_and_unit("unbalance_g_mm"), quantity_and_unit("radial_stiffness_n_per_um"), quantity_and_unit("form")
    (('unbalance', 'g.mm'), ('radial_stiffness', 'N/um'), ('form', None))
    """
    for ending, code in _CODE_OF_ENDING.items():
        if name.endswith(ending):
            return (name if ending == "_ratio" else name.removesuffix(ending)), code
    return name, None
