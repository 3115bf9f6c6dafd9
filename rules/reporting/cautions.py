"""The cautions that belong to a stack."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from importlib.resources import files

import yaml

from rules.facts.derive import Derived
from rules.quantities.missing import Lack

__all__ = ["cautions", "general_cautions"]


@dataclass(frozen=True, slots=True)
class _Caution:
    when: str
    text: str
    from_kg: float = 0.0


@cache
def _entries() -> tuple[_Caution, ...]:
    text = files("rules.reporting").joinpath("cautions.yaml").read_text(encoding="utf-8")
    return tuple(_Caution(**entry) for entry in yaml.safe_load(text))


def cautions(derived: Derived) -> list[str]:
    """Return the cautions for everyone, then those of the couplings in this stack."""
    concerns = {"always"}
    concerns.update(case.upper_side.coupling for case in derived.chain.joints if case.upper_side is not None)
    if derived.chain.knobs:
        concerns.add("steep_taper_knob")
    total = derived.masses.total
    mass = 0.0 if isinstance(total, Lack) else total
    return [entry.text for entry in _entries() if entry.when in concerns and mass >= entry.from_kg]


def general_cautions() -> list[str]:
    """Return the cautions for everyone, where no stack is known."""
    return [entry.text for entry in _entries() if entry.when == "always" and entry.from_kg == 0.0]
