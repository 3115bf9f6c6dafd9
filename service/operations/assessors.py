"""What judges in this process: rulebooks, catalogue and gate profile of the settings; their snapshot for others."""

from __future__ import annotations

import copyreg
import logging
import os
import pickle
import threading
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from time import perf_counter
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, Final, NamedTuple

from rules.answer.provenance import installation_sha256, judgement_sha256
from rules.assessor import Assessor
from rules.exchange.documents import Catalogue
from rules.rulebook.book import Judgement, Overrides, Rulebook
from rules.rulebook.engine import Engine
from rules.rulebook.expression import View
from rules.rulebook.fact import Fact
from rules.rulebook.source import Problem, RulebookError
from rules.schema.report import Report
from rules.schema.request import CheckRequest
from service.operations import PREFIX
from service.operations.keeping import kept

if TYPE_CHECKING:
    from rules.analysis import StackAnalysis
    from rules.gate.profile import Profile
    from service.operations.settings import Settings

__all__ = [
    "Judged",
    "RecordingAssessor",
    "Snapshot",
    "TimedEngine",
    "UnexpectedJudgementError",
    "load_assessor",
    "profile_of",
    "rules_in_force",
]

_LOG = logging.getLogger("stackgauge")


class TimedEngine(Engine):
    """A rules engine that records the time of its last judgement."""

    def __init__(self, engine: Engine) -> None:
        vars(self).update(vars(engine))  # shares the compiled rules
        self._watch = threading.local()

    def judge(
        self,
        facts: Sequence[Fact],
        overrides: Overrides | None = None,
        view_of: Callable[[Fact], View] | None = None,
    ) -> Judgement:
        """As :meth:`rules.rulebook.engine.Engine.judge`."""
        start = perf_counter()
        judgement = super().judge(facts, overrides, view_of)
        self._watch.seconds = perf_counter() - start
        return judgement

    def last_s(self) -> float | None:
        """Duration of this thread's last judgement in s; None before the first."""
        seconds: float | None = getattr(self._watch, "seconds", None)
        return seconds


class Judged(NamedTuple):
    """What is counted of a stack of a single request."""

    verdict: str
    codes: tuple[str, ...]
    undecided: tuple[str, ...]
    seconds: float
    """Total time, s."""
    engine_s: float | None
    """Part of it in the rules engine, s; None if it is not known."""

    @classmethod
    def of(cls, report: Report, seconds: float, engine_s: float | None) -> Judged:
        """The counts of a report, each rule once."""
        codes = dict.fromkeys(finding.code for finding in report.findings)
        undecided = dict.fromkeys(gap.code for gap in report.undecided)
        return cls(report.verdict, tuple(codes), tuple(undecided), seconds, engine_s)


class RecordingAssessor(Assessor):
    """An assessor that remembers what it has judged, for the answer to one request."""

    def __init__(self, assessor: Assessor) -> None:
        self.book = assessor.book
        self.catalogue = assessor.catalogue
        self.judged: list[Judged] = []
        self._assessor = assessor
        self._timed: TimedEngine | None = None
        if (engine := getattr(assessor, "engine", None)) is not None:
            self.engine = engine
            self._timed = engine if isinstance(engine, TimedEngine) else None

    def assess(self, request: CheckRequest) -> Report:
        """As :meth:`rules.assessor.Assessor.assess`."""
        start = perf_counter()
        return self._recorded(self._assessor.assess(request), start)

    def assess_derived(self, request: CheckRequest) -> tuple[Report, StackAnalysis]:
        """As :meth:`rules.assessor.Assessor.assess_derived`."""
        start = perf_counter()
        report, derived = self._assessor.assess_derived(request)
        return self._recorded(report, start), derived

    def _recorded(self, report: Report, start: float) -> Report:
        engine_s = None if self._timed is None else self._timed.last_s()
        self.judged.append(Judged.of(report, perf_counter() - start, engine_s))
        return report


class UnexpectedJudgementError(ValueError):
    """What judges has another digest than the operator expects."""


def load_assessor(settings: Settings | None = None) -> Assessor:
    """The assessor with the rulebooks and catalogue of the settings, by default those of the environment.

    A warning is logged for each adjustment that has ended. Raises :class:`UnexpectedJudgementError` if the settings
    expect another digest, and as :meth:`rules.assessor.Assessor.load`.
    """
    if settings is None:
        if not any(name.upper().startswith(PREFIX) for name in os.environ):
            return _built_in()
        # Takes a fifth of a command's time, and most commands run without any.
        from service.operations.settings import Settings

        settings = Settings()
    accepted = settings.weakened_safety_rules
    if unusable := [one for folder in settings.extra_rulebooks for one in _unusable(folder)]:
        raise RulebookError(unusable)
    built_in = None if settings.extra_rulebooks else _built_in_book()
    assessor = Assessor.load(
        settings.extra_rulebooks,
        settings.catalogue,
        today=settings.as_of,
        accepted=accepted,
        aliases=settings.aliases,
        strict_catalogue=settings.catalogue_strict,
        built_in=built_in,
    )
    if unknown := sorted(accepted - {rule.code for rule in assessor.book.rules}):
        raise RulebookError(
            Problem(f"{PREFIX}WEAKENED_SAFETY_RULES", 0, one, "there is no such rule") for one in unknown
        )
    if settings.gate_profile is not None:  # a profile with a fault stops the start, not the first gate
        profile_of(settings, assessor.book)
    found = judgement_sha256(assessor.book)
    if settings.expect_judgement_sha256 not in (None, found):
        raise UnexpectedJudgementError(
            f"{PREFIX}EXPECT_JUDGEMENT_SHA256: expected {settings.expect_judgement_sha256}, found {found}"
        )
    for one in assessor.book.expired:
        _LOG.warning("%s:%d: adjustment of %s ended on %s", one.file, one.line, one.entry.code, one.entry.until)
    _tell_quarantined(assessor.catalogue)
    assessor.engine = TimedEngine(assessor.engine)
    return assessor


def _built_in() -> Assessor:
    """The assessor without any settings."""
    assessor = Assessor(_built_in_book())
    judgement_sha256(assessor.book)  # an installation that does not show what judges must not judge
    assessor.engine = TimedEngine(assessor.engine)
    return assessor


def _built_in_book() -> Rulebook:
    """The built-in rulebook; to read it takes a command three times as long as all the rest of a check."""
    made = kept("built_in_rulebook", installation_sha256(), lambda: pickle.dumps(Assessor.load().book, _PROTOCOL))
    book: Rulebook = pickle.loads(made)  # noqa: S301 - trusted as the bytecode beside it
    return book


_PROTOCOL: Final = pickle.HIGHEST_PROTOCOL

_TOLD: Final = 20


def _tell_quarantined(catalogue: Catalogue) -> None:
    found = catalogue.quarantined
    if not found:
        return
    counts = {"quarantined": len(found), "in_force": catalogue.count}
    _LOG.warning(
        "catalogue: %d quarantined, %d in force; stacks that use what is quarantined are not judged",
        *counts.values(),
        extra=counts,
    )
    for one in found[:_TOLD]:
        _LOG.warning("catalogue: %s", one)


def profile_of(settings: Settings, book: Rulebook) -> Profile:
    """Return the operator's profile of gates, the strict one without a file; errors as ``load_profile``."""
    # A check needs no gate.
    from rules.gate.profile import STRICT, load_profile

    return STRICT if settings.gate_profile is None else load_profile(settings.gate_profile, book, settings.as_of)


def _unusable(folder: Path) -> Iterator[Problem]:
    """Why a folder gives no rules; an operator who names one never means none."""
    try:
        if not any(file.name.endswith(".yaml") for file in folder.iterdir()):
            yield Problem(str(folder), 0, "", "no rulebook in this folder; a rulebook's name ends in .yaml")
    except OSError as error:
        yield Problem(str(folder), 0, "", f"this folder of rulebooks cannot be read: {error.strerror}")


def rules_in_force(assessor: Assessor) -> str:
    """The digests of what judges, of catalogue and alias file, equal in processes that judge alike."""
    return " ".join(map(str, (judgement_sha256(assessor.book), *assessor.catalogue.digests)))


class Snapshot(NamedTuple):
    """The rulebooks, the catalogue and the profile of gates as this process has read them.

    Worker processes start from it, so a file saved meanwhile changes nothing.
    """

    book: Rulebook
    catalogue: Catalogue
    in_force: str
    """See :func:`rules_in_force`."""
    profile: Profile | None = None
    """The operator's profile of gates; None where no gate is decided."""

    @classmethod
    def of(cls, assessor: Assessor, profile: Profile | None = None) -> Snapshot:
        """The snapshot of an assessor and of the operator's profile."""
        return cls(assessor.book, assessor.catalogue, rules_in_force(assessor), profile)

    @classmethod
    def read(cls, settings: Settings) -> Snapshot:
        """The snapshot of what is on disk; raises as :func:`load_assessor`."""
        assessor = load_assessor(settings)
        return cls.of(assessor, profile_of(settings, assessor.book))

    def assessor(self) -> Assessor | None:
        """An assessor in a worker; None if the installed program or its tables have changed."""
        assessor = Assessor(self.book, self.catalogue)
        if rules_in_force(assessor) != self.in_force:
            return None
        assessor.engine = TimedEngine(assessor.engine)
        return assessor


def _proxy(content: dict[Any, Any]) -> MappingProxyType[Any, Any]:
    return MappingProxyType(content)


# A snapshot holds read-only mappings, which cannot be sent to a process as they are.
copyreg.pickle(MappingProxyType, lambda one: (_proxy, (dict(one),)))
