"""Search of an inventory for all stacks that fit and meet the requirement, ranked and returned in pages."""

from __future__ import annotations

import binascii
import hashlib
from base64 import urlsafe_b64decode, urlsafe_b64encode
from collections import Counter
from collections.abc import Iterable, Sequence
from typing import Any, Final

from rules.answer.provenance import provenance
from rules.assessor import Assessor
from rules.quantities.missing import Missing
from rules.quantities.rounding import rounded
from rules.quantities.work_limit import charge
from rules.schema.parsing import BadRequestError, Fault
from rules.schema.report import JointEnds
from rules.schema.search import (
    MAX_SEARCH_LENGTH,
    CutOrders,
    JointSetting,
    LeftOut,
    NearMiss,
    Page,
    RankCriterion,
    RefusedStacks,
    SearchCounts,
    SearchReport,
    SearchRequest,
    SearchResult,
)
from rules.search.inventory import Inventory, inventory_of
from rules.search.judging import (
    Built,
    JudgedStack,
    SetJoint,
    build,
    criteria_of,
    judge,
    near_misses,
    rank_key,
    sort_key,
)
from rules.search.plan import Path, Plan, plan_of, walk
from rules.search.requirement import TITLES
from rules.stack.positions import Positions
from rules.version import VERSION

__all__ = ["ContinuationError", "digest_of", "search", "token_of"]


def ranked(kept: Sequence[JudgedStack], criteria: Sequence[RankCriterion]) -> list[SearchResult]:
    """Return the accepted stacks as results, the best first."""
    keyed = [(rank_key(one, criteria), one) for one in kept]
    keyed.sort(key=lambda item: sort_key(item[0], item[1].built.keys))
    return [_result(place, one, key) for place, (key, one) in enumerate(keyed, start=1)]


def near_miss(one: JudgedStack) -> NearMiss:
    """Return a rejected stack as an alternative, with every reason against it."""
    return NearMiss(
        components=list(one.built.keys),
        reasons=list(one.reasons),
        tip_from_gauge_line_mm=one.report.geometry.tip_mm,
        check=_check(one.built),
    )


def _result(place: int, one: JudgedStack, key: list[float | None]) -> SearchResult:
    report, geometry = one.report, one.derived.geometry
    frequencies = report.stiffness.bending_frequencies_hz
    return SearchResult(
        place=place,
        components=list(one.built.keys),
        joints=[_joint(joint, one.built, geometry) for joint in one.built.joints],
        verdict=one.verdict,
        not_known=list(one.not_known),
        summary=report.summary,
        codes=list(dict.fromkeys(finding.code for finding in report.findings)),
        undecided_codes=list(dict.fromkeys(gap.code for gap in report.undecided)),
        tip_from_gauge_line_mm=report.geometry.tip_mm,
        tip_from_last_clamping_face_mm=report.geometry.tip_from_last_clamping_face_mm,
        planes=report.runout.planes,
        runout_complete=report.runout.complete,
        governing_speed=report.lowest_limit,
        speed_complete=report.speed_complete,
        mass_kg=report.mass.total_kg,
        tip_stiffness_n_per_um=report.stiffness.tip_stiffness_n_per_um,
        bending_frequency_hz=frequencies[0] if frequencies else None,
        rank_key=key,
        check=_check(one.built),
    )


def _joint(joint: SetJoint, built: Built, geometry: Positions) -> JointSetting:
    projection = geometry.projections[joint.upper]
    return JointSetting(
        joint=JointEnds(upper=built.names[joint.upper], lower=built.names[joint.upper + 1]),
        grip_length_mm=joint.set_mm,
        longest_mm=joint.grip.longest_mm,
        shortest_mm=joint.grip.shortest_mm,
        drawn_out_mm=rounded(joint.grip.longest_mm - joint.set_mm, "mm"),
        projection_mm=None if isinstance(projection, Missing) else rounded(projection, "mm"),
    )


def _check(built: Built) -> dict[str, Any]:
    return built.check.model_dump(mode="json", exclude_unset=True, exclude_none=True)


_FORMAT: Final = b"\x01"
_DIGEST_BYTES: Final = 16
_NUMBER_BYTES: Final = 2


class ContinuationError(BadRequestError):
    """A token that is malformed, or belongs to another request, other rules or another version."""

    def __init__(self, detail: str) -> None:
        super().__init__([Fault("/continuation", detail, "stale_continuation")])


def digest_of(request: SearchRequest, assessor: Assessor) -> bytes:
    """Return the digest that a token is bound to: request without page and token, rulebooks, catalogue and version."""
    question = request.model_dump_json(exclude_unset=True, exclude={"continuation", "page"})
    bound = "\n".join((VERSION, assessor.book.digest, *(one or "" for one in assessor.catalogue.digests), question))
    return hashlib.sha256(bound.encode()).digest()[:_DIGEST_BYTES]


def token_of(path: Path, digest: bytes) -> str:
    """Return the token of a path, safe in a URL.

    >>> token_of((3, 12, 0), bytes(16))
    'AQAAAAAAAAAAAAAAAAAAAAAAAwAMAAA'
    """
    numbers = b"".join(number.to_bytes(_NUMBER_BYTES, "big") for number in path)
    return urlsafe_b64encode(_FORMAT + digest + numbers).rstrip(b"=").decode()


def path_of(token: str, digest: bytes) -> Path:
    """Return the path of a token; raises :class:`ContinuationError` unless it is of this request under these rules.

    >>> path_of("AQAAAAAAAAAAAAAAAAAAAAAAAwAMAAA", bytes(16))
    (3, 12, 0)
    """
    try:
        data = urlsafe_b64decode(token + "=" * (-len(token) % 4))
    except (binascii.Error, ValueError):
        raise ContinuationError("this is not a search token") from None
    start = len(_FORMAT) + _DIGEST_BYTES
    numbers = data[start:]
    most = (MAX_SEARCH_LENGTH + 1) * _NUMBER_BYTES
    if data[: len(_FORMAT)] != _FORMAT or not 0 < len(numbers) <= most or len(numbers) % _NUMBER_BYTES:
        raise ContinuationError("this is not a search token of this version")
    if data[len(_FORMAT) : start] != digest:
        raise ContinuationError(
            "this token belongs to another request, or to other rulebooks, another catalogue or another version of the"
            " service: send the request of the page before, or begin anew without a token"
        )
    path = tuple(int.from_bytes(numbers[at : at + 2], "big") for at in range(0, len(numbers), _NUMBER_BYTES))
    if token_of(path, digest) != token:
        raise ContinuationError("this is not a search token")
    return path


STEPS_AT_MOST: Final = 100_000
"""Most steps of the walk per page, however few stacks were judged."""


_WORK_OF_STEP: Final = 1_000
"""Steps of work in a step of the walk, some 10 µs."""


class _Tally:
    """Results of the walk of one page."""

    def __init__(self) -> None:
        self.kept: list[JudgedStack] = []
        self.cut: Counter[str] = Counter()
        self.refused: list[JudgedStack] = []
        self.last: Path = ()
        """Last step of the page."""

    @property
    def judged(self) -> int:
        return len(self.kept) + len(self.refused)


def search(request: SearchRequest, assessor: Assessor) -> SearchReport:
    """Return the stacks of an inventory that fit and meet the requirement.

    Raises :class:`~rules.schema.parsing.BadRequestError` for more components than a search takes and for thresholds
    that no rule has or allows. Raises :class:`~rules.search.search.ContinuationError` for a token of another request
    and :class:`~rules.rulebook.engine.EngineFaultError` when the engine fails.
    """
    digest = digest_of(request, assessor)
    behind = () if request.continuation is None else path_of(request.continuation, digest)
    inventory = inventory_of(request, assessor.catalogue.definitions)
    plan = plan_of(request, inventory, assessor)
    tally, complete = _page(plan, request, assessor, behind)
    criteria = criteria_of(request)
    only_page = complete and not behind
    nearest = near_misses(plan, request, assessor, tally.refused) if only_page and not tally.kept else []
    return SearchReport(
        counts=SearchCounts(
            parts=inventory.count,
            orders_possible=plan.orders_possible,
            orders_cut=sum(tally.cut.values()),
            judged=tally.judged,
            kept=len(tally.kept),
            refused=len(tally.refused),
        ),
        items=ranked(tally.kept, criteria),
        ranked_by=criteria,
        cut=_cut(tally.cut, assessor),
        refused_by=_refused_by(tally.refused),
        nearest=[near_miss(one) for one in nearest],
        left_out=_left_out(plan, inventory),
        complete=complete,
        next=None if complete else token_of(tally.last, digest),
        notes=_notes(inventory, tally, complete=complete, first=not behind),
        cautions=list(dict.fromkeys(text for one in (*tally.kept, *nearest) for text in one.report.cautions)),
        provenance=provenance(request, request.policy, assessor.book, assessor.catalogue.digests),
    )


def _page(plan: Plan, request: SearchRequest, assessor: Assessor, behind: Path) -> tuple[_Tally, bool]:
    """Walk until the page is full; one further step shows whether the walk has ended."""
    page = request.page or Page()
    tally = _Tally()
    steps = walk(plan, behind)
    for number, step in enumerate(steps, start=1):
        charge(_WORK_OF_STEP)
        tally.last = step.path
        if step.cut:
            tally.cut.update(step.cut)
        else:
            judged = judge(build(plan, step.path, request), request, assessor)
            (tally.refused if judged.reasons else tally.kept).append(judged)
        full = tally.judged >= page.judged_at_most or len(tally.kept) >= page.results_at_most
        if full or number >= STEPS_AT_MOST:
            return tally, next(steps, None) is None
    return tally, True


def _cut(cut: Counter[str], assessor: Assessor) -> list[CutOrders]:
    return [
        CutOrders(code=code, title=TITLES.get(code) or assessor.book.rule(code).title, orders=orders)
        for code, orders in sorted(cut.items(), key=lambda item: (-item[1], item[0]))
    ]


def _refused_by(refused: Iterable[JudgedStack]) -> list[RefusedStacks]:
    titles: dict[str, str] = {}
    stacks: Counter[str] = Counter()
    alone: Counter[str] = Counter()
    for one in refused:
        codes = {reason.code: reason.title for reason in one.reasons}
        titles |= codes
        stacks.update(codes.keys())
        if len(codes) == 1:
            alone.update(codes.keys())
    return [
        RefusedStacks(code=code, title=titles[code], stacks=count, alone=alone[code])
        for code, count in sorted(stacks.items(), key=lambda item: (-item[1], item[0]))
    ]


def _left_out(plan: Plan, inventory: Inventory) -> list[LeftOut]:
    refused = [
        LeftOut(key=one.key, code=finding.code, reason=finding.message)
        for one, finding in zip(plan.parts, plan.refused, strict=True)
        if finding is not None
    ]
    return sorted((*inventory.left_out, *refused), key=lambda one: one.key)


def _notes(inventory: Inventory, tally: _Tally, *, complete: bool, first: bool) -> list[str]:
    notes: list[str] = []
    missing: Sequence[tuple[str, Sequence[object]]] = (
        ("holder", inventory.holders),
        ("required cutting tool", inventory.tools),
    )
    notes.extend(f"The inventory has no {what}, so there is no stack." for what, found in missing if not found)
    if not complete or not first:
        notes.append(
            "This is a page of a longer search: counts and ranking are those of the page, and the pages together are"
            " the whole. A better stack may be on another page; merge by rank_key, ties by components."
        )
    if not complete and not tally.kept:
        notes.append("No stack on this page meets the requirement; request the next page.")
    return notes
