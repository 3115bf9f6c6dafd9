"""Inch units for people: factors, rounding, and whether this answer is shown in them.

An answer as JSON is always metric. Text, page and drawings ask here for number and sign of each quantity, so a factor
stands once: here, and in requests by the same constants.

Source: NIST SP 811, appendix B.8; the factors are exact by definition (25.4 mm, 0.45359237 kg, 9.80665 m/s²).
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from decimal import ROUND_HALF_EVEN, Decimal
from types import MappingProxyType
from typing import Final, Literal, NamedTuple, TypeAlias

__all__ = [
    "FOOT_M",
    "HORSEPOWER_KW",
    "INCH_MM",
    "OUNCE_G",
    "POUND_KG",
    "POUND_N",
    "InchUnit",
    "Shown",
    "UnitSystem",
    "as_shown",
    "imperial",
    "in_inches",
    "inch_units",
    "metric_of",
    "shown_in",
    "shown_sentence",
    "shown_sign",
]

INCH_MM: Final = 25.4
FOOT_M: Final = 0.3048
POUND_KG: Final = 0.45359237
STANDARD_GRAVITY: Final = 9.80665
POUND_N: Final = POUND_KG * STANDARD_GRAVITY
OUNCE_G: Final = POUND_KG * 1000 / 16
HORSEPOWER_KW: Final = 550 * POUND_N * FOOT_M / 1000
"""550 ft·lbf/s."""

UnitSystem: TypeAlias = Literal["mm", "inch"]
"""Units in which people see an answer."""


class InchUnit(NamedTuple):
    """Inch unit of a metric one."""

    sign: str
    factor: float
    """Metric units in one inch unit."""
    step: str | None = None
    """Rounding; None for three significant figures."""


_UNITS: Final[Mapping[str, InchUnit]] = MappingProxyType(
    {
        "mm": InchUnit("in", INCH_MM, "0.00005"),
        "µm": InchUnit("in", INCH_MM * 1000, "0.000005"),
        "m/min": InchUnit("ft/min", FOOT_M),
        "mm/s": InchUnit("in/s", INCH_MM),
        "mm³/min": InchUnit("in³/min", INCH_MM**3),
        "N": InchUnit("lbf", POUND_N),
        "kN": InchUnit("lbf", POUND_N / 1000),
        "N·m": InchUnit("lbf·ft", POUND_N * FOOT_M),
        "N·m/mrad": InchUnit("lbf·ft/mrad", POUND_N * FOOT_M),
        "N/µm": InchUnit("lbf/in", POUND_N / (INCH_MM * 1000)),
        "µm/N": InchUnit("in/lbf", INCH_MM * 1000 / POUND_N),
        "µm/mm": InchUnit("in/in", 1000.0),
        "kg": InchUnit("lb", POUND_KG, "0.01"),
        "kg/m³": InchUnit("lb/in³", POUND_KG / (INCH_MM / 1000) ** 3),
        "kg·mm²": InchUnit("lb·in²", POUND_KG * INCH_MM**2),
        "g·mm": InchUnit("oz·in", OUNCE_G * INCH_MM),
        "g·mm²": InchUnit("oz·in²", OUNCE_G * INCH_MM**2),
        "MPa": InchUnit("ksi", 1000 * POUND_N / INCH_MM**2),
        "GPa": InchUnit("Mpsi", 1000 * POUND_N / INCH_MM**2),
        "kW": InchUnit("hp", HORSEPOWER_KW),
    }
)
"""Inch units by the sign of the metric one. A length is rounded to 0.05 of the metric step: 0.001 mm to 0.00005 in."""


def inch_units() -> Mapping[str, InchUnit]:
    """Return the inch units by the sign of the metric one."""
    return _UNITS


_SYSTEM: Final[ContextVar[UnitSystem]] = ContextVar("unit_system", default="mm")


@contextmanager
def shown_in(system: UnitSystem) -> Iterator[None]:
    """Show quantities in these units inside the block, in this thread alone."""
    token = _SYSTEM.set(system)
    try:
        yield
    finally:
        _SYSTEM.reset(token)


def in_inches() -> bool:
    """Whether quantities are shown in inch units now."""
    return _SYSTEM.get() == "inch"


class Shown(NamedTuple):
    """Number and sign of a quantity in an inch unit, as people read them."""

    number: str
    sign: str


def imperial(value: float, sign: str, *, figures: int | None = None) -> Shown | None:
    """Return a metric quantity in its inch unit.

    Parameters
    ----------
    value
        In the metric unit.
    sign
        Sign of the metric unit, such as ``N·m``.
    figures
        Significant figures in place of the usual rounding.

    Returns
    -------
    Shown or None
        None for a unit that has no inch counterpart, such as rpm.

    >>> imperial(12.7, "mm"), imperial(12.0, "mm"), imperial(13.1, "µm")
    (Shown(number='0.5', sign='in'), Shown(number='0.47245', sign='in'), Shown(number='0.000515', sign='in'))
    >>> imperial(160.0, "m/min"), imperial(60.0, "N·m"), imperial(6000.0, "rpm")
    (Shown(number='525', sign='ft/min'), Shown(number='44.3', sign='lbf·ft'), None)
    """
    unit = _UNITS.get(sign)
    if unit is None:
        return None
    converted = value / unit.factor
    step = None if unit.step is None or figures is not None else Decimal(unit.step)
    if step is None or abs(converted) < _LEAST_STEPS * float(step):
        # a feed or a mass of few steps keeps its figures
        written = Decimal(f"{converted:.{(figures or 3) - 1}e}")
    else:
        written = (Decimal(repr(converted)) / step).quantize(Decimal(1), ROUND_HALF_EVEN) * step
    text = format(written, "f")
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return Shown("0" if text in ("-0", "") else text, unit.sign)


_LEAST_STEPS: Final = 20


def as_shown(value: float, sign: str, *, figures: int | None = None) -> Shown | None:
    """Return a metric quantity as :func:`imperial` if inch units are shown now; else None."""
    return imperial(value, sign, figures=figures) if in_inches() else None


def shown_sign(sign: str) -> str:
    """Return the sign of a metric unit, or of its inch unit if those are shown now."""
    unit = _UNITS.get(sign) if in_inches() else None
    return sign if unit is None else unit.sign


def metric_of(value: float, sign: str) -> float:
    """Return a number in the unit shown now for a metric sign in that metric unit, for the marks of an axis."""
    unit = _UNITS.get(sign) if in_inches() else None
    return value if unit is None else value * unit.factor


_NUMBER: Final = r"-?[0-9]+(?:\.[0-9]+)?"
_SIZE: Final = rf"Ø?{_NUMBER}(?:–{_NUMBER})?"
_SIGNS: Final = "|".join(re.escape(sign) for sign in sorted(_UNITS, key=len, reverse=True))
_QUANTITY: Final = re.compile(rf"(?<![\w.,/-])(?:({_SIZE}) (to|and|×) )?({_SIZE})[ \u00a0]({_SIGNS})(?![\w/·²³])")


def shown_sentence(text: str, *, figures: int | None = None) -> str:
    """Return a sentence with its quantities in the units shown now; ``figures`` as for :func:`imperial`.

    >>> with shown_in("inch"):
    ...     shown_sentence("Grip length is 25.4 mm; 10 to 12.7 mm at 900 N·m, 6000 rpm, DIN 6535 HA 12.")
    ...     shown_sentence("Ø50–76.2 × 25.4 mm", figures=3)
    'Grip length is 1 in; 0.3937 to 0.5 in at 664 lbf·ft, 6000 rpm, DIN 6535 HA 12.'
    'Ø1.97–3 × 1 in'
    """
    if not in_inches():
        return text

    def converted(found: re.Match[str]) -> str:
        low, word, size, sign = found.groups()
        before = "" if low is None else f"{_size(low, sign, figures)} {word} "
        return f"{before}{_size(size, sign, figures)} {shown_sign(sign)}"

    return _QUANTITY.sub(converted, text)


def _size(text: str, sign: str, figures: int | None) -> str:
    """Return a size or a range of sizes, both with or without the sign of a diameter."""
    pieces = []
    for one in text.removeprefix("Ø").split("–"):
        found = imperial(float(one), sign, figures=figures)
        pieces.append(one if found is None else found.number)
    return ("Ø" if text.startswith("Ø") else "") + "–".join(pieces)
