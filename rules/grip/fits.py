"""Fits between a straight shank and its bore."""

from __future__ import annotations

from rules.couplings.definition import Sized, deviation_of
from rules.couplings.straight_shank import Bore, CylindricalShank
from rules.grip import tolerances
from rules.grip.formulas import clearance_um
from rules.quantities.missing import (
    Missing,
    OrMissing,
    or_missing,
    value_or,
    when_all_known,
    when_both_known,
    when_known,
)
from rules.rulebook.fact import Properties
from rules.stack.chain import StackJoint

__all__ = [
    "bore_of",
    "clearance_of",
    "deviations_of",
    "fit_properties",
    "is_slip_fit",
    "shank_of",
]


def shank_of(case: StackJoint) -> CylindricalShank | None:
    """Return the straight shank at the lower end of a joint; None for any other coupling."""
    side = case.lower.machine_side
    return side if isinstance(side, CylindricalShank) else None


def bore_of(case: StackJoint) -> Bore | None:
    """Return the fixed bore at the upper end of a joint; None for any other coupling."""
    return case.upper_side if isinstance(case.upper_side, Bore) else None


def is_slip_fit(case: StackJoint) -> bool:
    """Whether the joint is a shank in a clearance bore, pushed to one side by a screw."""
    return case.coupling is not None and case.coupling.pulled_aside and shank_of(case) is not None


def deviations_of(sized: Sized, at: str, *, hole: bool) -> OrMissing[tuple[float, float]]:
    """Return lower and upper deviation in µm, as stated or by the tolerance class of ISO 286."""
    stated = deviation_of(sized)
    if stated is not None:
        # reversed deviations are a separate finding and give no fit
        return (
            (stated.lower_um, stated.upper_um) if stated.lower_um <= stated.upper_um else Missing((f"{at}/deviation",))
        )
    if sized.tolerance is None:
        return Missing((f"{at}/tolerance",))
    if sized.diameter_mm is None:
        return Missing((f"{at}/diameter_mm",))
    try:
        limits = tolerances.limits(sized.diameter_mm, sized.tolerance, hole=hole)
    except ValueError:
        return Missing((f"{at}/deviation",))
    return limits.lower_um, limits.upper_um


def clearance_of(case: StackJoint) -> OrMissing[tuple[float, float]]:
    """Return the smallest and the largest clearance in µm; interference is negative.

    The difference of the nominal diameters is included.
    """
    bore, shank = bore_of(case), shank_of(case)
    if bore is None or shank is None:
        return Missing(tuple(at for end, at in ((bore, case.upper_at), (shank, case.lower_at)) if end is None))
    nominal = when_both_known(
        lambda hole, pin: (hole - pin) * 1000.0,
        or_missing(bore.diameter_mm, case.upper_at, "diameter_mm"),
        or_missing(shank.diameter_mm, case.lower_at, "diameter_mm"),
    )

    def fit(play: float, hole: tuple[float, float], pin: tuple[float, float]) -> tuple[float, float]:
        least, most = clearance_um(hole, pin)
        return least + play, most + play

    return when_all_known(
        fit,
        nominal,
        deviations_of(bore, case.upper_at, hole=True),
        deviations_of(shank, case.lower_at, hole=False),
    )


def fit_properties(fact: Properties, case: StackJoint, shank: CylindricalShank) -> None:
    """Add diameters, clearance and form of a shank in its bore."""
    bore, coupling = bore_of(case), case.coupling
    if bore is None or coupling is None:
        return
    bore_diameter = or_missing(bore.diameter_mm, case.upper_at, "diameter_mm")
    shank_diameter = or_missing(shank.diameter_mm, case.lower_at, "diameter_mm")
    fact.add("bore_diameter_mm", bore_diameter)
    fact.add("shank_diameter_mm", shank_diameter)
    if value_or(when_both_known(lambda hole, pin: hole == pin, bore_diameter, shank_diameter), True):
        clearance = clearance_of(case)
        least, most = when_known(lambda c: c[0], clearance), when_known(lambda c: c[1], clearance)
        if coupling.grips_by_interference:
            fact.add("shrink_interference_min_um", when_known(lambda c: -c, most))
        else:
            fact.add("clearance_min_um", least)
            if is_slip_fit(case):
                fact.add("clearance_max_um", most)
    if coupling.closes_evenly:
        limits = deviations_of(shank, case.lower_at, hole=False)
        fact.add("shank_lower_um", when_known(lambda pair: pair[0], limits))
        fact.add("h6_lower_um", when_both_known(_h6_lower, shank_diameter, case.lower_at))


def _h6_lower(diameter: float, at: str) -> OrMissing[float]:
    try:
        return tolerances.limits(diameter, "h6", hole=False).lower_um
    except ValueError:
        return Missing((f"{at}/diameter_mm",))
