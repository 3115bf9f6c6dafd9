"""A calibration: assemblies in, posterior of each class and set of assumed values out.

What a stack states stays as stated. Each runout that it does not state belongs to a class of the table of assumed
values, and the classes' scales are what is sought. Nothing else is assumed: a stack that lacks a length is not used.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Final, NamedTuple

from rules.answer.provenance import assumption_set_sha256, canonical_sha256, provenance
from rules.assumptions.laying import Assumed, Laying
from rules.calibration.formulas import (
    Fit,
    Kind,
    Prior,
    TooManyLinkedError,
    fit,
    quantiles_on,
    shares_below,
)
from rules.exchange.documents import NO_CATALOGUE, Catalogue
from rules.quantities.missing import Missing
from rules.quantities.models import MissingQuantity
from rules.quantities.rounding import rounded
from rules.quantities.work_limit import charge
from rules.rulebook.book import Rulebook
from rules.runout.analysis import law_at
from rules.runout.contributors import Contributor, contributors_of
from rules.schema.calibration import (
    CalibratedScale,
    CalibrationReport,
    CalibrationRequest,
    CalibrationWarning,
    MeasuredAssembly,
    Outlier,
    UnusedReading,
)
from rules.schema.parsing import BadRequestError, Fault
from rules.schema.request import AssumptionSet, CalibratedClass, ScaledLaw, ScaledQuantity, StackRequest
from rules.stack.chain import Chain, chain_of, resolve
from rules.stack.positions import Positions, positions_on_axis

__all__ = ["calibrate"]

_STEPS: Final = 50_000
"""Approximate work of the geometry of one assembly."""

_CAUTIOUS_AT: Final = 1.2815515655446004
"""Standard normal quantile of 0.9: the cautious value of the table is the prior's 90th percentile."""

_LEAST_SPREAD: Final = math.log(1.5) / _CAUTIOUS_AT
"""Least standard deviation of the prior's logarithm: without readings no shop is known better than to a factor of 1.5
(common practice). The limit of a standard, typical and cautious at once, gets it, too."""

_FOREIGN_SHARE: Final = 0.01

_FEW: Final = 5
_TELLING: Final = 0.1
_AT_ODDS: Final = 2.5758293035489004
"""Standard normal quantile of 0.995."""
_TRADED: Final = -0.8
_ILL_FITTING: Final = 1.63
"""Kolmogorov–Smirnov statistic, √n times the largest distance, that 1 % of samples exceed."""


class _Class(NamedTuple):
    quantity: ScaledQuantity
    category: str
    typical_um: float
    cautious_um: float

    @property
    def key(self) -> tuple[str, str]:
        return self.quantity, self.category


class _Part(NamedTuple):
    """Lever of one part of a class at a plane: eccentricity per µm of the scale."""

    own: _Class
    lever: float


class _Used(NamedTuple):
    """One reading to use."""

    assembly: int
    reading: int
    tir_um: float
    error: float
    weight: float
    parts: tuple[_Part, ...]
    known: Kind

    @property
    def at(self) -> str:
        return f"/assemblies/{self.assembly}/readings/{self.reading}"


def calibrate(request: CalibrationRequest, book: Rulebook, catalogue: Catalogue = NO_CATALOGUE) -> CalibrationReport:
    """Return the posterior of each class of parts, and the shop's own set of assumed values.

    Raises :class:`~rules.schema.parsing.BadRequestError` for readings without uncertainty, for a field that the kind of
    component does not have, and for too many classes linked by common stacks.
    """
    _refuse_without_uncertainty(request)
    law: ScaledLaw = request.law or "limit"
    used: list[_Used] = []
    unused: list[UnusedReading] = []
    for number, assembly in enumerate(request.assemblies):
        charge(_STEPS)
        for one in _readings(request, number, assembly, catalogue):
            if isinstance(one, UnusedReading):
                unused.append(one)
            else:
                used.append(one)
    classes = sorted({part.own for one in used for part in one.parts})
    numbers = {one: number for number, one in enumerate(classes)}
    kinds = [_with_classes(one, numbers) for one in used]
    spread = [_spread(one, request.prior_weight or 1.0) for one in classes]
    priors = [Prior(one.typical_um, each) for one, each in zip(classes, spread, strict=True)]
    try:
        found = fit(
            kinds,
            [one.tir_um for one in used],
            [one.weight for one in used],
            priors,
            [one.cautious_um for one in classes],
            law=law,
            foreign_share=request.foreign_share or _FOREIGN_SHARE,
        )
    except TooManyLinkedError as error:
        reason = f"{error}; at most 4 may meet in one stack or ring of stacks: state the runout of some parts"
        raise BadRequestError([Fault("/assemblies", reason, "too_many_entries")]) from None
    scales = [_scale(number, one, found, law, used, kinds, priors) for number, one in enumerate(classes)]
    outliers = list(_outliers(used, kinds, found, scales, law))
    assemblies = {one.assembly for one in used}
    return CalibrationReport(
        used=len(assemblies),
        classes=scales,
        warnings=[*_of_classes(scales, priors), *_of_all(used, kinds, found, scales, outliers, law)],
        outliers=outliers,
        not_used=unused,
        assumption_set=_set_of(request, scales, len(assemblies)) if scales else None,
        notes=_NOTES if scales else [],
        provenance=provenance(request, None, book, catalogue.digests),
    )


_NOTES: Final = [
    "The typical value predicts: 95 % of new assemblies of the kinds read here are expected below the 95th percentile"
    " that a check computes with it.",
    "An assumed value stays an assumption: a gate does not release on it.",
]


def _refuse_without_uncertainty(request: CalibrationRequest) -> None:
    if request.expanded_uncertainty_um is not None:
        return
    faults = [
        Fault(
            f"/assemblies/{number}/readings/{place}",
            "neither the reading nor the request states 'expanded_uncertainty_um'",
            "missing_field",
        )
        for number, assembly in enumerate(request.assemblies)
        for place, reading in enumerate(assembly.readings)
        if reading.expanded_uncertainty_um is None
    ]
    if faults:
        raise BadRequestError(faults)


# --- from an assembly to its vectors -----------------------------------------------------------------------------


def _readings(
    request: CalibrationRequest, number: int, assembly: MeasuredAssembly, catalogue: Catalogue
) -> Iterator[_Used | UnusedReading]:
    """Yield each reading of an assembly that can be used, or why it or all of them cannot."""
    at = f"/assemblies/{number}"
    stated = StackRequest(stack=assembly.stack, components=request.components, machine=assembly.machine)
    try:
        resolved = resolve(stated, catalogue.definitions)
    except BadRequestError as error:
        faults = [Fault(_led(one.pointer, at), one.detail, one.code) for one in error.faults]
        raise BadRequestError(faults) from None
    if resolved.broken:
        lacks = [MissingQuantity(quantity="component", unit=None, at=[_led(one, at) for one in resolved.lacking])]
        yield _unused(at, "not_stated", lacks, "A component or machine is not defined.")
        return
    laying = Laying(resolved.request)
    chain, geometry, known, lacking = _analysed(resolved.request)
    while lacking is not None and laying.fill(one for one in lacking.fields if one.endswith("/runout")):
        chain, geometry, known, lacking = _analysed(laying.request(lambda _: "typical"))
    face, tip = geometry.last_clamping_face, geometry.tip
    ids = [member.part.id for member in chain.members]
    if len(set(ids)) < len(ids):
        yield _unused(at, "repeated_id", [], "Two components have the same id.")
        return
    if lacking is not None or isinstance(face, Missing):
        gaps = [one.fields for one in (lacking, face) if isinstance(one, Missing)]
        fields = dict.fromkeys(_led(resolved.lead(laying.stated(one)), at) for each in gaps for one in each)
        lacks = [MissingQuantity(quantity="runout", unit="um", at=list(fields))]
        yield _unused(at, "not_stated", lacks, "The stack lacks data besides the runout of its classes.")
        return
    own = _class_parts(chain, laying.assumed)
    if not own:
        yield _unused(at, "no_class", [], "The stack states every runout, so it says nothing of a class.")
        return
    weight = 1.0 / len(assembly.readings)
    for place, reading in enumerate(assembly.readings):
        z_mm = face + reading.distance_mm
        if isinstance(tip, float) and z_mm > tip + 1e-6:
            yield _unused(f"{at}/readings/{place}", "beyond_the_tip", [], "The plane lies beyond the end of the tool.")
            continue
        uncertainty = reading.expanded_uncertainty_um or request.expanded_uncertainty_um or 0.0
        parts = tuple(
            _Part(own[item.id], _noiseless(abs(item.line.at(z_mm)) / own[item.id].typical_um))
            for item in known
            if item.id in own
        )
        rest = law_at(z_mm, [item for item in known if item.id not in own])
        sigma = uncertainty / 4.0  # of each coordinate of the eccentricity, half of the reading; k = 2
        rings, discs = (tuple(sorted(map(_noiseless, each))) for each in (rest.amplitudes, rest.discs))
        bands = tuple(sorted((_noiseless(low), _noiseless(high)) for low, high in rest.bands))
        kind = Kind(rings, discs, bands, _noiseless(rest.sigma), (), sigma)
        yield _Used(number, place, reading.tir_um, sigma, weight, parts, kind)


def _noiseless(value: float) -> float:
    """Return a size without the noise of its binary form, so that equal stacks are of one kind."""
    return float(f"{value:.10g}")


def _analysed(request: StackRequest) -> tuple[Chain, Positions, tuple[Contributor, ...], Missing | None]:
    chain = chain_of(request)
    geometry = positions_on_axis(chain)
    contributors = contributors_of(chain, geometry)
    return chain, geometry, contributors.known, contributors.lacking


def _class_parts(chain: Chain, assumed: Sequence[Assumed]) -> dict[str, _Class]:
    """Return the class of each contributor whose runout is not stated, by the contributor's id."""
    found = {}
    for one in assumed:
        member = next((each for each in chain.members if f"{each.at}/runout" == one.at), None)
        if member is None or one.scaled is None:
            continue
        typical, cautious = map(float, one.shown)
        found[f"part_runout:{member.part.id}"] = _Class(one.scaled, one.category, typical, cautious)
    return found


def _led(pointer: str, at: str) -> str:
    """Lead a pointer into the request of one assembly to its place in the calibration."""
    return pointer if pointer.startswith("/components/") else f"{at}{pointer}"


def _unused(at: str, cause: str, lacks: list[MissingQuantity], reason: str) -> UnusedReading:
    return UnusedReading.model_validate({"at": at, "cause": cause, "lacks": lacks, "reason": reason})


def _with_classes(one: _Used, numbers: dict[_Class, int]) -> Kind:
    levers: dict[int, list[float]] = {}
    for part in one.parts:
        levers.setdefault(numbers[part.own], []).append(part.lever)
    return one.known._replace(levers=tuple((number, tuple(sorted(levers[number]))) for number in sorted(levers)))


# --- what the posterior says -------------------------------------------------------------------------------------


def _spread(own: _Class, weight: float) -> float:
    """Return the standard deviation of the prior's logarithm: typical is the median, cautious the 90th percentile."""
    return max(math.log(own.cautious_um / own.typical_um) / _CAUTIOUS_AT, _LEAST_SPREAD) / math.sqrt(weight)


def _scale(
    number: int,
    own: _Class,
    found: Fit,
    law: ScaledLaw,
    used: Sequence[_Used],
    kinds: Sequence[Kind],
    priors: Sequence[Prior],
) -> CalibratedScale:
    marginal = found.marginals[number]
    low, median, high = quantiles_on(marginal, (0.05, 0.5, 0.95))
    with_it = {one.assembly for one, kind in zip(used, kinds, strict=True) if number in kind.scope}
    telling = {
        one.assembly
        for one, kind, foreign in zip(used, kinds, found.foreign, strict=True)
        if number in kind.scope and foreign <= 0.5 and kind.share_of(number, found.typical, law) >= _TELLING
    }
    told = 1.0 - (marginal.log_spread() / priors[number].spread) ** 2
    return CalibratedScale(
        quantity=own.quantity,
        category=own.category,
        law=law,
        table_typical_um=rounded(own.typical_um, "um"),
        table_cautious_um=rounded(own.cautious_um, "um"),
        median_um=rounded(median, "um"),
        mean_um=rounded(marginal.mean(), "um"),
        low_um=rounded(low, "um"),
        high_um=rounded(high, "um"),
        typical_um=rounded(found.typical[number], "um"),
        assemblies=len(with_it),
        telling=len(telling),
        data_share=rounded(min(max(told, 0.0), 1.0), "ratio"),
    )


def _outliers(
    used: Sequence[_Used], kinds: Sequence[Kind], found: Fit, scales: Sequence[CalibratedScale], law: ScaledLaw
) -> Iterator[Outlier]:
    for one, kind, probability in zip(used, kinds, found.foreign, strict=True):
        if probability <= 0.5:
            continue
        vectors = kind.vectors([scales[number].high_um for number in kind.scope], law)
        worst = None if vectors.sigma > 0.0 else 2.0 * vectors.greatest
        below = shares_below(kind, found.typical, [one.tir_um], law)[0]
        beyond = worst is not None and one.tir_um > worst + 4.0 * one.error
        if beyond:
            reason = f"It exceeds the worst case of {worst:.1f} µm by more than its uncertainty."
        elif below > 0.5:
            reason = f"Only {_percent(1.0 - below)} of such assemblies read as much."
        else:
            reason = f"Only {_percent(below)} of such assemblies read as little."
        yield Outlier(
            at=one.at,
            tir_um=one.tir_um,
            probability=rounded(probability, "ratio"),
            worst_case_um=None if worst is None else rounded(worst, "um"),
            reason=f"{reason} Check the seats for chips, and the data of the stack.",
        )


def _percent(share: float) -> str:
    return "less than 0.01 %" if share < 1e-4 else f"{100.0 * share:.2g} %"


def _of_classes(scales: Sequence[CalibratedScale], priors: Sequence[Prior]) -> Iterator[CalibrationWarning]:
    for one, prior in zip(scales, priors, strict=True):
        if one.telling < _FEW:
            text = f"{one.telling} assemblies say something of {one.category}; {_FEW} are the least to go by."
            yield _warning("too_few", [one.category], text)
        if one.data_share < 0.5:
            text = f"{one.category}: the result rests on the table more than on the readings."
            yield _warning("prior_dominates", [one.category], text)
        if abs(math.log(one.median_um / prior.median)) > _AT_ODDS * prior.spread:
            text = (
                f"{one.category}: the readings contradict the table, {one.median_um:.1f} µm against"
                f" {one.table_typical_um:g} to {one.table_cautious_um:g} µm. Check gauge, data and seats."
            )
            yield _warning("contradictory", [one.category], text)


def _of_all(
    used: Sequence[_Used],
    kinds: Sequence[Kind],
    found: Fit,
    scales: Sequence[CalibratedScale],
    outliers: Sequence[Outlier],
    law: ScaledLaw,
) -> Iterator[CalibrationWarning]:
    for (first, second), correlation in sorted(found.correlations.items()):
        if correlation < _TRADED:
            names = [scales[first].category, scales[second].category]
            text = (
                f"{names[0]} and {names[1]} are read mostly together: their sum is known better than each. Read one of"
                " them on a gauge pin."
            )
            yield _warning("not_separable", names, text)
    if len(outliers) > max(2, len(used) // 20):
        text = f"{len(outliers)} of {len(used)} readings are not explained by their stacks. Find the cause first."
        yield _warning("many_outliers", [], text)
    named = {one.at for one in outliers}
    explained = [(one, kind) for one, kind in zip(used, kinds, strict=True) if one.at not in named]
    by_kind: dict[Kind, list[float]] = {}
    for one, kind in explained:
        by_kind.setdefault(kind, []).append(one.tir_um)
    below = sorted(
        share for kind in sorted(by_kind) for share in shares_below(kind, found.typical, sorted(by_kind[kind]), law)
    )
    count = len(below)
    apart = max((max((place + 1) / count - one, one - place / count) for place, one in enumerate(below)), default=0.0)
    if apart * math.sqrt(count) > _ILL_FITTING:
        text = "The readings do not follow the law of the classes; try the other law, and look for mixed populations."
        yield _warning("poor_fit", [], text)


def _warning(kind: str, categories: list[str], text: str) -> CalibrationWarning:
    return CalibrationWarning.model_validate({"kind": kind, "categories": categories, "text": text})


def _set_of(request: CalibrationRequest, scales: Sequence[CalibratedScale], assemblies: int) -> AssumptionSet:
    """Return the set with its digest. The digest of the readings does not depend on their order."""
    given = request.model_dump(mode="json", exclude_none=True, by_alias=True)
    given["assemblies"] = sorted(map(canonical_sha256, given["assemblies"]))
    unsigned = AssumptionSet(
        name=request.name,
        classes=[
            CalibratedClass.model_validate(
                {
                    "quantity": one.quantity,
                    "category": one.category,
                    "law": one.law,
                    "typical": max(one.typical_um, 0.001),
                    "cautious": max(one.high_um, one.typical_um, 0.001),
                    "assemblies": one.assemblies,
                }
            )
            for one in scales
        ],
        assemblies=assemblies,
        input_sha256=canonical_sha256(given),
        sha256="0" * 64,
    )
    return unsigned.model_copy(update={"sha256": assumption_set_sha256(unsigned)})
