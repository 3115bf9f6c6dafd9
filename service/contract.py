"""Response models of the HTTP API: batches, couplings, keys, problems (RFC 9457), rules, state and version."""

from __future__ import annotations

from datetime import date
from typing import Annotated, Any, Final, Literal, TypeAlias

from pydantic import BaseModel, ConfigDict, Field, JsonValue, WithJsonSchema

from rules.quantities.models import OPEN, Model, Pointer, opened
from rules.quantities.tables import Confidence
from rules.schema.components import MAX_DEFINITIONS, Definitions
from rules.schema.explanation import Condition
from rules.schema.parsing import FaultCode
from rules.schema.report import Report, Severity, Summary, Verdict
from rules.schema.request import AxialPosition, CheckRequest, MachineEntry, Operations, Policy, Section

__all__ = [
    "KEYS_PATH",
    "MAX_STACKS",
    "PROBLEM_BASE",
    "PROBLEM_MEDIA_TYPE",
    "Answer",
    "BatchReport",
    "BatchRequest",
    "BatchSummary",
    "CatalogueList",
    "CataloguePart",
    "CouplingAnswer",
    "CouplingList",
    "CouplingSummary",
    "Defaults",
    "ExpiredAdjustment",
    "MountedCatalogue",
    "NeedAnswer",
    "PageName",
    "PartAnswer",
    "PartFamily",
    "PartList",
    "PartSummary",
    "PartValue",
    "PictureName",
    "Problem",
    "ProblemList",
    "ProblemPart",
    "ProblemType",
    "PublicKey",
    "PublicKeySet",
    "QuarantinedPart",
    "RuleAnswer",
    "RuleList",
    "RuleSummary",
    "State",
    "StreamSummary",
    "ThresholdAnswer",
    "VerdictCounts",
    "VerdictResult",
    "Version",
]


class Answer(BaseModel):
    """Base of response models: every field always present, later releases may add some."""

    model_config = ConfigDict(extra="forbid", frozen=True, json_schema_extra=opened)


MAX_STACKS: Final = 1000


class Defaults(Model):
    """Shared fields, used by every stack of a batch without its own."""

    components: Definitions | None = Field(
        None,
        max_length=MAX_DEFINITIONS,
        description="Shared component definitions by key; a stack's own definition takes precedence.",
    )
    machine: MachineEntry | None = Field(None, description="Machine of stacks without their own.")
    gauge_plane: AxialPosition | None = Field(None, description="Gauge plane of stacks without their own.")
    operations: Operations | None = Field(None, description="Operations of stacks without their own.")
    policy: Policy | None = Field(None, description="Policy of stacks without their own.")
    include: list[Section] | None = Field(
        None,
        max_length=20,
        description="Sections of the reports, for stacks without their own; an empty list gives short verdicts.",
    )


class VerdictCounts(Answer):
    """Numbers of stacks by verdict."""

    passed: int = Field(description="Number of stacks with the verdict pass.", alias="pass")
    review: int = Field(description="Number of stacks with the verdict review.")
    fail: int = Field(description="Number of stacks with the verdict fail.")


class InvalidPartCount(Answer):
    """A part with invalid data, the one cause for which stacks are not judged."""

    part: str | None = Field(
        description="Key of the part, with the revision that the stacks state; null if it is long or not printable.",
        examples=["BH-40"],
    )
    source: Annotated[Literal["request", "catalogue"], OPEN] = Field(description="Where it is defined.")
    reason: str = Field(description="What is wrong with it.", examples=["mass_kg: must be greater than 0"])
    stacks: int = Field(description="Number of stacks that are not judged for it.")


class BatchSummary(Answer):
    """Counts of a batch."""

    stacks: int = Field(description="Number of stacks judged.")
    problems: int = Field(description="Number of stacks or lines with a problem.")
    verdicts: VerdictCounts
    codes: dict[str, int] = Field(
        description="Numbers of stacks with a finding, by rule code.", examples=[{"GRIP-010": 3}]
    )
    undecided: dict[str, int] = Field(
        description="Numbers of stacks with the rule undecided, by rule code.", examples=[{"BAL-010": 1}]
    )
    stacks_not_judged: int = Field(
        description="Number of stacks, counted above, that are not judged for an invalid part; never a pass."
    )
    invalid_parts: list[InvalidPartCount] = Field(
        description="Parts with invalid data, the one with most stacks first; other stacks are judged all the same."
    )


class StreamSummary(BatchSummary):
    """Counts of a batch of lines."""

    lines: int = Field(description="Number of lines read: stacks, problems, definitions and blank lines.")
    definitions: int = Field(description="Number of lines with shared definitions.")
    blank: int = Field(description="Number of blank lines.")
    complete: bool = Field(description="False if lines were left unread: too many lines, or the service is stopping.")


class BatchRequest(Defaults):
    """Stacks to check, with shared fields."""

    stacks: list[CheckRequest] = Field(
        min_length=1, max_length=MAX_STACKS, description="Check requests; their own fields replace the shared ones."
    )


class _Result(Answer):
    line: int = Field(description="Number of the line, or of the stack in the document, from 1.")
    id: str | None = Field(description="Caller's name of the stack; null if it has none or cannot be read.")


class ReportResult(_Result):
    """Report of a stack."""

    type: Literal["report"] = Field(description="Kind of the result.")
    report: Report = Field(description="Report of the stack, with the sections chosen.")


class VerdictResult(_Result):
    """Short verdict of a stack."""

    type: Literal["verdict"] = Field(description="Kind of the result.")
    verdict: Verdict
    summary: Summary
    codes: list[str] = Field(description="Rule codes of the findings, without duplicates.")
    undecided: list[str] = Field(description="Rule codes of undecided rules, without duplicates.")
    gauge_plane_p95_um: float | None = Field(
        description="95th percentile of the runout at the gauge plane, TIR in µm; null if a contributor is not known."
    )


class ProblemResult(_Result):
    """Problem of a stack."""

    type: Literal["problem"] = Field(description="Kind of the result.")
    # A reference, because the framework would add Problem to the OpenAPI document a second time.
    problem: Annotated[Any, WithJsonSchema({"allOf": [{"$ref": "#/components/schemas/Problem"}]})]


class BatchReport(Answer):
    """Report of a batch."""

    results: list[ReportResult | VerdictResult | ProblemResult] = Field(
        description="Results in the order of the stacks."
    )
    summary: BatchSummary


class CouplingSummary(Answer):
    """Summary of a coupling."""

    name: str = Field(description="Name of the coupling in a request.", examples=["steep_taper"])
    title: str
    what: str
    standards: list[str]


Next: TypeAlias = Annotated[str | None, Field(description="Address of the next page; null on the last one.")]


class CouplingList(Answer):
    """List of couplings."""

    items: list[CouplingSummary] = Field(description="Couplings.")
    next: Next


KEYS_PATH: Final = "/.well-known/jwks.json"


class PublicKey(Answer):
    """Key of RFC 8037 that verifies signatures."""

    kty: str = Field(description="Key type.", examples=["OKP"])
    crv: str = Field(description="Curve.", examples=["Ed25519"])
    x: str = Field(description="The key, base64url.")
    kid: str = Field(description="Thumbprint of RFC 7638.")
    use: str = Field(description="Use.", examples=["sig"])
    alg: str = Field(description="Algorithm of RFC 9864.", examples=["Ed25519"])


class PublicKeySet(Answer):
    """JWK set of RFC 7517."""

    keys: list[PublicKey] = Field(description="The key that signs, then further ones.")


class PartSummary(Answer):
    """Summary of a standard part."""

    key: str = Field(description="Key for `of`.", examples=["iso15488:32:12"])
    kind: str = Field(description="Kind of component.")
    title: str


class PartFamily(Answer):
    """Parts of one standard, or of none, that differ in their dimensions."""

    form: str = Field(description="Form of the keys.", examples=["din6535:{form}{diameter}:{overall length}"])
    kind: str = Field(description="Kind of component.")
    title: str
    standard: str = Field(description="Standard, or 'none'.")


class PartList(Answer):
    """List of standard parts."""

    families: list[PartFamily] = Field(description="Forms of keys, for dimensions that the items do not show.")
    items: list[PartSummary] = Field(description="Parts of usual dimensions.")
    next: Next


class CataloguePart(Answer):
    """Part or machine of the mounted catalogue."""

    key: str = Field(description="Key for `of`.")
    revision: str | None = Field(description="Revision for `of`; null where the catalogue states none.")
    kind: str | None = Field(description="Kind of component, or 'machine'; null where the data cannot be read.")
    label: str | None = Field(description="Description, else part number; null where neither is stated.")
    quarantined: str | None = Field(description="Why no stack can use it; null for a part in force.")


class CatalogueList(Answer):
    """Page of the mounted catalogue."""

    catalogue_sha256: str | None = Field(description="SHA-256 of the catalogue; null without one.")
    total: int = Field(description="Number of items on all pages.")
    items: list[CataloguePart] = Field(description="Parts and machines by key.")
    next: Next


class PartAnswer(PartSummary):
    """Standard part with what its standard states."""

    component: dict[str, JsonValue] = Field(description="The component as a request states it.")
    stated: list[PartValue] = Field(description="Values that the standard states.")


class PartValue(Answer):
    """Value that a standard states."""

    field: str = Field(description="Field of the component, with points.")
    value: float | str = Field(description="Value that the standard states.")
    unit: str | None = Field(description="UCUM code of the unit; null for a text.")
    source: str = Field(description="Standard, edition, and table or class.")
    confidence: Annotated[Confidence, OPEN]


class ColumnAnswer(Answer):
    """Unit and meaning of a table column."""

    unit: str
    meaning: str


class TableAnswer(Answer):
    """Table of dimensions; each row has its source and confidence."""

    name: str
    title: str
    standard: str | None = Field(description="Standard of the table; null for none.")
    note: str | None
    key: list[str] = Field(description="Columns that identify a row.")
    columns: dict[str, ColumnAnswer] = Field(description="Columns by name.")
    rows: list[dict[str, JsonValue]] = Field(
        description="Cells by column, plus 'source', 'confidence' and 'note'; null if not known."
    )


class CouplingAnswer(CouplingSummary):
    """Full description of a coupling."""

    ends: list[str] = Field(description="Component ends that can have the coupling.")
    accepts: list[str] = Field(description="Couplings that fit its workpiece side.")
    joint_class: str
    taper: str | None = Field(description="Taper ratio on the diameter.")
    half_angle_deg: float | None = Field(description="Half of the taper angle, degrees; null without a taper.")
    clocking: Annotated[Literal["free", "indexed", "by_form", "not_stated"], OPEN]
    clocking_positions: int | None = Field(
        description="Number of positions in which it seats; null if not limited or not known."
    )
    seating_eccentricity_um: float | None = Field(description="Eccentricity from one reseating, µm; null if not known.")
    seating_eccentricity_up_to_um: float | None = Field(description="The same at worst.")
    source: str
    confidence: Annotated[Confidence, OPEN]
    note: str | None
    tables: list[TableAnswer] = Field(description="Tables of the standard dimensions.")


PageName: TypeAlias = Literal["report", "details", "instruction", "sheet"]
"""Pages of a check: the report, printed on one sheet or with its details, the work instruction, and its short form."""

PictureName: TypeAlias = Literal["stack", "budget", "distribution", "axis", "speed"]


PROBLEM_MEDIA_TYPE: Final = "application/problem+json"

PROBLEM_BASE: Final = "https://stackgauge.invalid/problems/"
"""Start of every problem type's URI, equal in every installation; .invalid never resolves (RFC 6761, section 6.4)."""


class ProblemPart(BaseModel):
    """A fault and its place."""

    model_config = ConfigDict(extra="forbid", frozen=True, json_schema_extra=opened)

    code: Annotated[FaultCode, OPEN] = Field(description="Kind of fault.", examples=["unknown_field"])
    detail: str = Field(description="What is wrong, for people; the wording may change.")
    at: list[Pointer] = Field(description="Where in the body; empty if the place is not known.")
    parameter: str | None = Field(None, description="Name of the query parameter.", examples=["include"])
    line: int | None = Field(None, description="Line number in the body, from 1.")
    column: int | None = Field(None, description="Column number in the line, from 1, in characters.")


class Problem(BaseModel):
    """Problem details (RFC 9457)."""

    model_config = ConfigDict(extra="forbid", frozen=True, json_schema_extra=opened)

    type: str = Field(
        description="Problem type, a URI. GET /problems/{code} describes it.",
        examples=[f"{PROBLEM_BASE}invalid-request"],
    )
    code: str = Field(description="Name of the problem type, the end of its URI.", examples=["invalid-request"])
    title: str = Field(description="Title of the problem type.")
    status: int = Field(description="HTTP status.", ge=400, le=599)
    detail: str = Field(description="Explanation of this occurrence.")
    instance: str | None = Field(None, description="Path of the request.", examples=["/v1/checks"])
    request_id: str | None = Field(
        None,
        description="The X-Request-ID of the response. Absent from the problems of a batch: its bytes depend on the"
        " request alone.",
        examples=["4bf92f3577b34da6"],
    )
    errors: list[ProblemPart] | None = Field(None, description="Faults with their places.")


class ProblemType(Answer):
    """Problem type."""

    type: str = Field(description="URI in a problem's type.", examples=[f"{PROBLEM_BASE}invalid-request"])
    code: str = Field(description="Code in a problem.", examples=["invalid-request"])
    status: int = Field(description="HTTP status.")
    title: str = Field(description="Title in a problem.")
    remedy: str = Field(description="What to do.")


class ProblemList(Answer):
    """List of problem types."""

    items: list[ProblemType] = Field(description="Problem types in order of their statuses.")
    next: Next


class RuleSummary(Answer):
    """Summary of a rule."""

    code: str = Field(description="Stable code of the rule.", examples=["GRIP-010"])
    title: str
    severity: Annotated[Severity, OPEN]
    applies_to: Annotated[Literal["stack", "component", "joint", "operation", "part"], OPEN]
    safety: bool = Field(description="Safety rule: the report shows if an operator lowers its severity.")
    book: str = Field(description="Rulebook of the rule.")
    revision: str | None = Field(description="Revision of its rulebook; null if it states none.")
    sha256: str = Field(description="SHA-256 of the rule as written.")


class RuleList(Answer):
    """List of rules in force."""

    rulebook_sha256: str = Field(description="SHA-256 of the rules in force; equal digests mean equal rules.")
    items: list[RuleSummary] = Field(description="Rules in order of their codes.")
    next: Next


class NeedAnswer(Answer):
    """Quantity that a rule requires."""

    name: str
    unit: str
    meaning: str


class ThresholdAnswer(Answer):
    """Threshold of a rule; a request's policy may change it within the bounds."""

    name: str
    value: float = Field(description="Value in the rulebook, in its unit.")
    unit: str
    minimum: float | None = Field(description="Smallest value that a policy may set; null if it may not.")
    maximum: float | None = Field(description="Largest value that a policy may set; null if it may not.")
    meaning: str | None


class RuleAnswer(RuleSummary):
    """Full description of a rule."""

    where: Condition | None = Field(description="Which subjects it concerns; null for every one.")
    require: Condition = Field(description="What must hold; the rule fires where it does not.")
    message: str = Field(description="Message template, with names of quantities in braces.")
    why: str | None = Field(description="Reason for the rule.")
    remedy: str
    known_limits: str | None = Field(description="What the rule does not cover.")
    source: str
    owner: str | None = Field(description="Who answers for the rule.")
    replaced_by: str | None = Field(description="Code of the rule that takes its place.")
    tags: list[str] = Field(description="Words to find the rule by.")
    links: list[str] = Field(description="Further texts.")
    needs: list[NeedAnswer] = Field(description="Quantities that the rule requires.")
    thresholds: list[ThresholdAnswer] = Field(description="Thresholds, which a policy may change.")
    observed: str | None = Field(description="Quantity reported as observed.")
    limit: str | None = Field(description="Quantity or threshold reported as limit.")
    unit: str


class State(Answer):
    """State of the service."""

    status: Literal["ok"]


class ExpiredAdjustment(Answer):
    """Adjustment of a rule whose last day has passed."""

    code: str
    book: str = Field(description="File of the adjustment.")
    until: date = Field(description="Its last day.")


class QuarantinedPart(Answer):
    """Part that is kept out of the catalogue, or a file without readable parts."""

    key: str | None = Field(description="Key of the part; null for a file or an entry without a usable key.")
    revision: str | None = Field(description="Revision of the part, where it states one.")
    file: str = Field(description="File within the catalogue.")
    line: int = Field(description="Line number in the file, from 1; 0 for the file as a whole.")
    reason: str


class MountedCatalogue(Answer):
    """Catalogue of the operator, as read at the start or at the last reload."""

    catalogue_sha256: str | None = Field(description="SHA-256 of the catalogue; null if it is empty.")
    in_force: int = Field(description="Number of components and machines that requests can refer to.")
    quarantined: list[QuarantinedPart] = Field(
        description="What is invalid, at most a thousand; stacks that refer to it are not judged."
    )
    not_listed: int = Field(description="Number of further ones.")


class Version(Answer):
    """Version of the service and its rulebooks."""

    service: Literal["stackgauge"]
    version: str
    rulebooks: list[str] = Field(description="Names of the rulebooks in force.")
    rulebook_sha256: str = Field(description="SHA-256 of the rules in force; equal digests mean equal rules.")
    judgement_sha256: str = Field(description="SHA-256 of all that judges: rules, tables, source code and libraries.")
    rulebook_folders: list[str] = Field(description="Names of the operator's folders of rulebooks, in order.")
    book_revisions: dict[str, str] = Field(description="Revisions by rulebook, of those that state one.")
    expired_adjustments: list[ExpiredAdjustment] = Field(description="Adjustments that have ended and do not count.")
    catalogue: MountedCatalogue | None = Field(description="Mounted catalogue; null without one.")
