"""``POST`` routes for checks, budgets, readings, calibrations, comparisons, gates and searches."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from types import MappingProxyType
from typing import Any, Final

from fastapi import APIRouter

from rules.assessor import Assessor
from rules.budget import full_budget
from rules.calibration.calibrating import calibrate
from rules.comparison import compare
from rules.explanation import explain
from rules.gate.gate import gate
from rules.gate.profile import STRICT, Profile
from rules.reading.build import read_build
from rules.reading.reading import read_gauge
from rules.schema.budget import BudgetReport, BudgetRequest
from rules.schema.build import BuildReport, BuildRequest
from rules.schema.calibration import CalibrationReport, CalibrationRequest
from rules.schema.comparison import MAX_IN_ALL_PAIRS, ComparisonReport, ComparisonRequest
from rules.schema.explanation import ExplanationReport, ExplanationRequest
from rules.schema.gate import MAX_OPERATIONS, GateReport, GateRequest
from rules.schema.reading import ReadingReport, ReadingRequest
from rules.schema.report import Report
from rules.schema.request import MAX_ASSEMBLIES, CheckRequest
from rules.schema.search import MAX_INVENTORY, MAX_SEARCH_LENGTH, SearchReport, SearchRequest
from rules.search.search import search
from service.examples import (
    BUDGET_EXAMPLES,
    BUILD_EXAMPLES,
    CALIBRATION_EXAMPLES,
    COMPARISON_EXAMPLES,
    EXAMPLES,
    EXPLANATION_EXAMPLES,
    GATE_EXAMPLES,
    READING_EXAMPLES,
    SEARCH_EXAMPLES,
)
from service.http.posted import (
    CHECK_PAGES,
    CHECK_REPRESENTATIONS,
    Decided,
    Judging,
    Posted,
    add_posted_route,
    representations_of,
)
from service.operations.signing import NO_KEYS, GateKeys
from service.sheets.page import build_page, calibration_page, reading_page
from service.sheets.questions import build_text, calibration_text, reading_text

__all__ = [
    "POSTED",
    "SEARCHES",
    "budgets_router",
    "calibrations_router",
    "checks_router",
    "comparisons_router",
    "explanations_router",
    "gates_router",
    "readings_router",
    "searches_router",
]


def _gate_notes(report: GateReport) -> dict[str, Any]:
    """What the log line of a gate tells for an audit: decision, digests and deviations; nothing else of the order."""
    source = report.provenance
    deviations = [one.code for one in source.deviations] + [one.at for one in report.policy_deviations]
    return {
        "order": report.order,
        "revision": report.revision,
        "decision": report.decision,
        "may_start": report.may_start,
        "digest": report.digest,
        "input_sha256": report.input_sha256,
        "judgement_sha256": source.judgement_sha256,
        "catalogue_sha256": source.catalogue_sha256,
        "aliases_sha256": source.aliases_sha256,
        "profile_sha256": report.profile.sha256,
        "deviations": deviations + [f"not required: {one.name}" for one in report.not_required],
        "unmet": [one.name for one in report.unmet],
    }


def _decided(report: GateReport) -> Decided:
    """The decision, and each kind of deviation from rulebooks, profile and requirements."""
    kinds: set[str] = {one.kind for one in report.provenance.deviations if one.kind != "threshold"}
    for one in report.policy_deviations:
        # the last step is a field of a policy or of a machine, or the number of a threshold
        name = one.at.rpartition("/")[2]
        kinds.add("threshold" if name.isdigit() else name)
    kinds.update("not_required" for _ in report.not_required)
    return Decided(report.decision, report.may_start, frozenset(kinds))


def _read(judging: Judging, asked: ReadingRequest) -> ReadingReport:
    return read_gauge(asked, judging.assessor.book, judging.assessor.catalogue)


def _built(judging: Judging, asked: BuildRequest) -> BuildReport:
    return read_build(asked, judging.assessor.book, judging.assessor.catalogue)


def _calibrated(judging: Judging, asked: CalibrationRequest) -> CalibrationReport:
    return calibrate(asked, judging.assessor.book, judging.assessor.catalogue)


SEARCHES: Final = "/v1/searches"

POSTED: Final[Mapping[str, Posted[Any]]] = MappingProxyType(
    {
        "/v1/checks": Posted(
            CheckRequest,
            Report,
            lambda judging, asked: judging.assessor.assess(asked).only(asked.sections),
            short=True,
            counted=True,
            representations=CHECK_REPRESENTATIONS,
            pages=CHECK_PAGES,
        ),
        "/v1/budgets": Posted(
            BudgetRequest,
            BudgetReport,
            lambda judging, asked: full_budget(asked, judging.assessor.book, judging.assessor.catalogue),
            short=True,
            limited=True,
        ),
        "/v1/readings": Posted(
            ReadingRequest,
            ReadingReport,
            _read,
            representations=representations_of(_read, reading_page, reading_text),
        ),
        "/v1/builds": Posted(
            BuildRequest,
            BuildReport,
            _built,
            limited=True,
            representations=representations_of(_built, build_page, build_text),
        ),
        "/v1/calibrations": Posted(
            CalibrationRequest,
            CalibrationReport,
            _calibrated,
            limited=True,
            representations=representations_of(_calibrated, calibration_page, calibration_text),
        ),
        "/v1/comparisons": Posted(
            ComparisonRequest,
            ComparisonReport,
            lambda judging, asked: compare(asked, judging.assessor),
            limited=True,
            counted=True,
        ),
        "/v1/explanations": Posted(
            ExplanationRequest, ExplanationReport, lambda judging, asked: explain(asked, judging.assessor), short=True
        ),
        "/v1/gates": Posted(
            GateRequest,
            GateReport,
            lambda judging, asked: judging.keys.signed(gate(asked, judging.assessor, judging.profile_in_force)),
            limited=True,
            counted=True,
            urgent=True,
            noted=lambda report: (_gate_notes(report), _decided(report)),
        ),
        SEARCHES: Posted(
            SearchRequest,
            SearchReport,
            lambda judging, asked: search(asked, judging.assessor),
            limited=True,
            of_catalogue=True,
        ),
    }
)
"""What each route answers, by path."""


def checks_router(assessor: Assessor) -> APIRouter:
    """The router with this assessor."""
    router = APIRouter(tags=["checks"])
    add_posted_route(
        router,
        "/v1/checks",
        POSTED["/v1/checks"],
        Judging(assessor, STRICT),
        operation_id="check_stack",
        summary="Check a stack",
        description="Check whether a stack fits together; predict its runout and its highest permissible speed.\n\n"
        "Stateless and safe to retry; identical requests return identical bytes.\n\n"
        "The `Accept` header selects JSON, an HTML page (`text/html`) or plain text (`text/plain`).",
        response_description="The stack was evaluated; see the verdict.",
        examples=EXAMPLES,
    )
    return router


def budgets_router(assessor: Assessor) -> APIRouter:
    """The router with the rulebooks of this assessor."""
    router = APIRouter(tags=["checks"])

    add_posted_route(
        router,
        "/v1/budgets",
        POSTED["/v1/budgets"],
        Judging(assessor, STRICT),
        operation_id="runout_budget",
        summary="Compute the full runout budget",
        description="Runout at any plane with the share of each contributor, the gain from halving it, the effect of a"
        " particle in each seat, the best clocking of the joints, and the tolerances that reach a target.\n\n"
        "Stateless and safe to retry; identical requests return identical bytes.",
        response_description="The budget from the stated contributors.",
        # the other is as long and shows no other field
        examples={"measured": BUDGET_EXAMPLES["measured"]},
    )
    return router


def readings_router(assessor: Assessor) -> APIRouter:
    """The router with the rulebooks of this assessor."""
    router = APIRouter(tags=["readings"])
    add_posted_route(
        router,
        "/v1/readings",
        POSTED["/v1/readings"],
        Judging(assessor, STRICT),
        operation_id="read_gauge",
        summary="Judge a runout reading",
        description="Compute eccentricity and axis from dial readings, decide on the limit by ISO 14253-1 and give the"
        " next step. With a stack, compare the reading with its prediction.\n\n"
        "Stateless and safe to retry; identical requests return identical bytes.",
        response_description="The reading was evaluated; see the decision.",
        examples=READING_EXAMPLES,
    )
    add_posted_route(
        router,
        "/v1/builds",
        POSTED["/v1/builds"],
        Judging(assessor, STRICT),
        operation_id="read_build",
        summary="Follow a build stage by stage",
        description="From readings after each part: the part's own error, the best turn of its joint, the runout of the"
        " finished stack and what to do next; with the presetter's data, the offsets and the implied grip.\n\n"
        "Stateless and safe to retry; identical requests return identical bytes.",
        response_description="The build was evaluated; see the action of each stage.",
        examples=BUILD_EXAMPLES,
    )
    return router


def calibrations_router(assessor: Assessor) -> APIRouter:
    """The router with the rulebooks of this assessor."""
    router = APIRouter(tags=["readings"])
    add_posted_route(
        router,
        "/v1/calibrations",
        POSTED["/v1/calibrations"],
        Judging(assessor, STRICT),
        operation_id="calibrate_assumptions",
        summary="Calibrate assumed runouts",
        description=f"From readings of up to {MAX_ASSEMBLIES} assemblies, the runout of each class of parts that the"
        " stacks do not state, as a set of assumed values for `policy.assumption_set` of a check. Quadrature, no"
        " sampling; the order of the assemblies makes no difference.\n\n"
        "Stateless and safe to retry; identical requests return identical bytes.",
        response_description="The readings were evaluated; see warnings and outliers.",
        examples=CALIBRATION_EXAMPLES,
    )
    return router


def comparisons_router(assessor: Assessor) -> APIRouter:
    """The router with this assessor."""
    router = APIRouter(tags=["checks"])

    add_posted_route(
        router,
        "/v1/comparisons",
        POSTED["/v1/comparisons"],
        Judging(assessor, STRICT),
        operation_id="compare_stacks",
        summary="Compare alternative stacks",
        description="Check up to fifty stacks for one operation and compare them: values by criterion, stacks that no"
        " other dominates, and the probability that one has less runout than another.\n\n"
        f"Up to {MAX_IN_ALL_PAIRS} alternatives are compared in every pair, more of them with the first only."
        " Stateless and safe to retry; identical requests return identical bytes.",
        response_description="The alternatives were compared; see each verdict.",
        examples=COMPARISON_EXAMPLES,
    )
    return router


def explanations_router(assessor: Assessor) -> APIRouter:
    """The router with this assessor."""
    router = APIRouter(tags=["rules"])

    add_posted_route(
        router,
        "/v1/explanations",
        POSTED["/v1/explanations"],
        Judging(assessor, STRICT),
        operation_id="explain_rule",
        summary="Explain a rule",
        description="What a rule makes of a stack: whom it concerns, every value it reads, what is missing, and what"
        " would have to change to pass.",
        response_description="The rule was explained.",
        examples=EXPLANATION_EXAMPLES,
    )
    return router


def gates_router(
    assessor: Assessor, profile: Profile = STRICT, keys: GateKeys = NO_KEYS, day: date | None = None
) -> APIRouter:
    """The router with this assessor, the operator's profile and keys, and the day on which waivers count."""
    router = APIRouter(tags=["gates"])

    add_posted_route(
        router,
        "/v1/gates",
        POSTED["/v1/gates"],
        Judging(assessor, profile, keys, day),
        operation_id="gate_order",
        summary="Release, hold or stop a work order",
        description=f"Check the tools of up to {MAX_OPERATIONS} operations and decide: release, hold or stop. The"
        " report gives the reasons for each operation, the result evaluation of OPC 40001-101 and the caller's context"
        " unchanged.\n\n"
        "The gate fails closed: missing required data puts an operation on hold. An order may start only with status"
        " 200 and `may_start` true.\n\n"
        "To verify a stored decision, send the order again with its digests under `expect`; the service stores nothing."
        " Stateless and safe to retry; identical requests return identical bytes.",
        response_description="The order was evaluated; see `may_start`.",
        examples=GATE_EXAMPLES,
    )
    return router


def searches_router(assessor: Assessor) -> APIRouter:
    """The router with this assessor."""
    router = APIRouter(tags=["searches"])

    add_posted_route(
        router,
        SEARCHES,
        POSTED[SEARCHES],
        Judging(assessor, STRICT),
        operation_id="search_stacks",
        summary="Search an inventory",
        description=f"Find every stack of up to {MAX_SEARCH_LENGTH} components, out of up to {MAX_INVENTORY} in the"
        " inventory, that fits, reaches, clears the part and does not fail the check. Results are ranked, each with"
        " its check request. Parts, joints and knobs that always break a rule are ruled out early and counted by that"
        " rule.\n\n"
        "A response is one page. If it has a `next`, send that token as `continuation` with the same request for the"
        " next page. Pages do not overlap; each is ranked by itself, and `rank_key` merges them. A token of another"
        " request, rulebook, catalogue or version gives 409.\n\n"
        "If nothing is found, `cut`, `refused_by` and `nearest` give the reasons and the closest alternatives."
        " Stateless and safe to retry; identical requests return identical bytes.",
        response_description="The inventory was searched; the results may be empty.",
        examples=SEARCH_EXAMPLES,
        problems=("stale-continuation",),
    )
    return router
