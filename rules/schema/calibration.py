"""Request and report of a calibration: a shop's readings turned into its own assumed values."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from rules.quantities.models import OPEN, Length, Microns, MissingQuantity, Model, Out, Pointer, Token
from rules.schema.components import Definitions
from rules.schema.report import Provenance
from rules.schema.request import MAX_ASSEMBLIES, AssumptionSet, MachineEntry, ScaledLaw, Stack

__all__ = [
    "CalibratedScale",
    "CalibrationReport",
    "CalibrationRequest",
    "CalibrationWarning",
    "MeasuredAssembly",
    "Outlier",
    "UnusedReading",
]

Uncertainty = Annotated[float, Field(ge=0.1, le=1000)]


class AssemblyReading(Model):
    """One reading of an assembly."""

    distance_mm: Length = Field(description="Distance from the last clamping face, mm.", examples=[36])
    tir_um: Microns = Field(description="Total indicator reading, µm.", examples=[7.5])
    expanded_uncertainty_um: Uncertainty | None = Field(
        None, description="Expanded uncertainty of the TIR, k = 2, µm; else that of the request."
    )


class MeasuredAssembly(Model):
    """One assembly, as for a check, with its readings. Runouts that it does not state are calibrated by class."""

    stack: Stack
    machine: MachineEntry | None = Field(
        None, description="Machine whose spindle held the stack; absent for a bench gauge."
    )
    readings: list[AssemblyReading] = Field(
        min_length=1, max_length=10, description="Readings; together they count as one, since they share the parts."
    )


class CalibrationRequest(Model):
    """Assemblies measured by a shop."""

    name: Token = Field(description="Name of the set of assumed values.", examples=["KB-2031-06"])
    assemblies: list[MeasuredAssembly] = Field(
        min_length=1,
        max_length=MAX_ASSEMBLIES,
        description="Assemblies, each built anew and none left out for its reading.",
    )
    components: Definitions | None = Field(None, description="Component definitions by key, for references.")
    law: ScaledLaw | None = Field(
        None, description="Law of the runout of a class: anywhere up to a limit (default), or 95 % of parts keep it."
    )
    expanded_uncertainty_um: Uncertainty | None = Field(
        None, description="Expanded uncertainty of a TIR, k = 2, µm, of readings that state none.", examples=[1]
    )
    prior_weight: Annotated[float, Field(ge=0.1, le=100)] | None = Field(
        None, description="Weight of the table's values against the readings; default 1."
    )
    foreign_share: Annotated[float, Field(ge=0.0001, le=0.2)] | None = Field(
        None, description="Expected share of readings that the stack does not explain, such as a chip; default 0.01."
    )


class CalibratedScale(Out):
    """Runout of one class of parts: posterior of its scale, TIR in µm."""

    quantity: str = Field(description="Quantity of the table of assumed values.", examples=["holder_runout_um"])
    category: str = Field(description="Class of the part in that table.", examples=["hydraulic"])
    law: ScaledLaw
    table_typical_um: float = Field(description="Typical value of the table, µm: median of the prior.")
    table_cautious_um: float = Field(description="Cautious value of the table, µm: 90th percentile of the prior.")
    median_um: float = Field(description="Median of the scale, µm.")
    mean_um: float = Field(description="Mean of the scale, µm.")
    low_um: float = Field(description="5th percentile of the scale, µm.")
    high_um: float = Field(description="95th percentile of the scale, µm.")
    typical_um: float = Field(description="Scale that predicts the 95th percentile of new assemblies, µm.")
    assemblies: int = Field(description="Assemblies with such a part whose readings were used.")
    telling: int = Field(
        description="Of these, those explained by their stack, with a tenth of the mean square or more from the class."
    )
    data_share: float = Field(
        description="Share of the posterior's precision that the readings bring, 0 to 1; the rest is the table's."
    )


class Outlier(Out):
    """Reading that its stack does not explain. It is in the calculation, where it hardly counts."""

    at: Pointer
    tir_um: float = Field(description="The reading, µm.")
    probability: float = Field(description="Probability that the stack does not explain it, 0 to 1.")
    worst_case_um: float | None = Field(
        description="Worst case with each class at its 95th percentile, µm; null for a law without bound."
    )
    reason: str = Field(description="Why, for people.")


class UnusedReading(Out):
    """Assembly or reading that could not be used."""

    at: Pointer
    cause: Annotated[Literal["not_stated", "no_class", "repeated_id", "beyond_the_tip"], OPEN]
    lacks: list[MissingQuantity] = Field(description="Fields that would make it useful.")
    reason: str = Field(description="Why, for people.")


class CalibrationWarning(Out):
    """Doubt about the result."""

    kind: Annotated[
        Literal["too_few", "prior_dominates", "contradictory", "not_separable", "many_outliers", "poor_fit"], OPEN
    ]
    categories: list[str] = Field(description="Classes concerned; empty for all.")
    text: str


class CalibrationReport(Out):
    """Posterior of each class, and the set of assumed values for a check."""

    used: int = Field(description="Number of assemblies used.")
    classes: list[CalibratedScale] = Field(description="Posterior of each class, by quantity and category.")
    warnings: list[CalibrationWarning] = Field(description="Doubts about the result.")
    outliers: list[Outlier] = Field(description="Readings that their stacks do not explain.")
    not_used: list[UnusedReading] = Field(description="Assemblies and readings that could not be used.")
    assumption_set: AssumptionSet | None = Field(
        description="The set, for `policy.assumption_set` of a check; null if no reading could be used."
    )
    notes: list[str] = Field(description="What the figures mean.")
    provenance: Provenance
