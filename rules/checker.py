"""The Python library: loads rulebooks and catalogue once and answers requests.

``rules`` exports these names; import them from there.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from functools import cache
from os import PathLike
from pathlib import Path
from typing import Any, TypeAlias, TypeVar

from pydantic import BaseModel

from rules.assessor import Assessor
from rules.budget import full_budget
from rules.calibration.calibrating import calibrate as calibrate_by_readings
from rules.comparison import compare as compare_alternatives
from rules.gate.gate import gate
from rules.reading.build import read_build as judge_build
from rules.reading.reading import read_gauge as judge_reading
from rules.schema.budget import BudgetReport, BudgetRequest
from rules.schema.build import BuildReport, BuildRequest
from rules.schema.calibration import CalibrationReport, CalibrationRequest
from rules.schema.comparison import ComparisonReport, ComparisonRequest
from rules.schema.gate import GateReport, GateRequest
from rules.schema.parsing import BadRequestError, Fault, parse
from rules.schema.reading import ReadingReport, ReadingRequest
from rules.schema.report import Report
from rules.schema.request import CheckRequest, StackRequest
from rules.schema.search import SearchReport, SearchRequest
from rules.schema.strict_json import NotJSONError, parse_json
from rules.search.search import search

__all__ = [
    "Checker",
    "Question",
    "calibrate",
    "check",
    "compare",
    "decide_release",
    "find_stacks",
    "follow_build",
    "read_gauge",
    "runout_budget",
]

ModelT = TypeVar("ModelT", bound=BaseModel)

Question: TypeAlias = ModelT | Mapping[str, Any] | str | bytes
"""A model of the contract, an equivalent dictionary (which may hold models), or its JSON."""

Folder: TypeAlias = str | PathLike[str]


class Checker:
    """Rulebooks and catalogue, loaded once. Answers any number of questions, from any number of threads.

    Parameters
    ----------
    rulebooks : sequence of path
        Folders of your own rulebooks. They are read in this order, after the built-in rules.
    catalogue : path, optional
        Folder of components that requests may refer to by key: JSON, YAML or CSV.
    strict_catalogue : bool
        False to do without the invalid parts of the catalogue; a stack with one of them is not judged.
    aliases : path, optional
        YAML file with your own names of designations and standard parts.

    Raises
    ------
    RulebookError
        A rulebook or the alias file has a defect. The message gives file, line and reason of each.
    CatalogueError
        A component of the catalogue has a defect. The message gives file, line and reason of each.

    Notes
    -----
    Every method takes its request as a model of `rules.schema`, as a dictionary, or as JSON.
    Each raises `BadRequestError` for an invalid request: ``faults`` holds a JSON Pointer and a reason for each fault.
    Each raises `EngineFaultError` if the rules engine fails, and then gives no answer.
    Answers are models of `rules.schema`. Equal requests get equal answers.
    """

    def __init__(
        self,
        rulebooks: Sequence[Folder] = (),
        catalogue: Folder | None = None,
        aliases: Folder | None = None,
        *,
        strict_catalogue: bool = True,
    ) -> None:
        self._assessor = Assessor.load(
            [Path(folder) for folder in rulebooks],
            None if catalogue is None else Path(catalogue),
            aliases=None if aliases is None else Path(aliases),
            strict_catalogue=strict_catalogue,
        )

    def check(self, request: Question[StackRequest]) -> Report:
        """Check one stack.

        Parameters
        ----------
        request : StackRequest, dict, str or bytes
            The stack, and the operation, machine and policy it is checked for. A `CheckRequest` may ask for the
            assembly instruction, too.

        Returns
        -------
        Report
            The verdict, the findings, and runout, speed, balance, grip and stiffness of the stack.

        Raises
        ------
        BadRequestError
            The request is invalid, or names a threshold that no rule has or allows.
        EngineFaultError
            The rules engine failed.
        """
        return self._assessor.assess(_request(CheckRequest, request))

    def runout_budget(self, request: Question[StackRequest]) -> BudgetReport:
        """Work out the full runout budget of one stack.

        Parameters
        ----------
        request : StackRequest, dict, str or bytes
            The stack. A `BudgetRequest` may add planes [mm] and a target [µm].

        Returns
        -------
        BudgetReport
            Every plane and contributor, the seats, the best clocking, and the runout each part may have.

        Raises
        ------
        BadRequestError
            The request is invalid, or names a threshold that no rule has or allows.
        """
        return full_budget(_request(BudgetRequest, request), self._assessor.book, self._assessor.catalogue)

    def read_gauge(self, request: Question[ReadingRequest]) -> ReadingReport:
        """Judge the dial readings taken on an assembled stack.

        Parameters
        ----------
        request : ReadingRequest, dict, str or bytes
            The readings [µm] in one or two planes, and the stack and limit if known.

        Returns
        -------
        ReadingReport
            Eccentricity and form, conformity by ISO 14253-1 if there is a limit, and the next step.

        Raises
        ------
        BadRequestError
            The request is invalid, or names a threshold that no rule has or allows.
        """
        return judge_reading(_request(ReadingRequest, request), self._assessor.book, self._assessor.catalogue)

    def follow_build(self, request: Question[BuildRequest]) -> BuildReport:
        """Follow a stack that is read after each part while it is built.

        Parameters
        ----------
        request : BuildRequest, dict, str or bytes
            The stack as planned, the readings [µm] of each stage, and the presetter's data if known.

        Returns
        -------
        BuildReport
            Each part's own error, the best turn of its joint, the runout of the finished stack, and what to do.

        Raises
        ------
        BadRequestError
            The request is invalid, its stages are not those of the stack, or it names a threshold that no rule has.
        """
        return judge_build(_request(BuildRequest, request), self._assessor.book, self._assessor.catalogue)

    def calibrate(self, request: Question[CalibrationRequest]) -> CalibrationReport:
        """Turn a shop's readings into its own assumed values.

        Parameters
        ----------
        request : CalibrationRequest, dict, str or bytes
            The assemblies with their readings [µm] and expanded uncertainty [µm].

        Returns
        -------
        CalibrationReport
            The runout of each class of parts, outliers, and the set of assumed values for a check.

        Raises
        ------
        BadRequestError
            The request is invalid, a reading has no uncertainty, or too many classes are linked by common stacks.
        """
        asked = _request(CalibrationRequest, request)
        return calibrate_by_readings(asked, self._assessor.book, self._assessor.catalogue)

    def compare(self, request: Question[ComparisonRequest]) -> ComparisonReport:
        """Compare alternative stacks for one job.

        Parameters
        ----------
        request : ComparisonRequest, dict, str or bytes
            Two to fifty stacks, and the operation they are compared for.

        Returns
        -------
        ComparisonReport
            Each alternative with its verdict, and the criteria on which it leads or trails.

        Raises
        ------
        BadRequestError
            The request is invalid, or names a threshold that no rule has or allows.
        EngineFaultError
            The rules engine failed.
        """
        return compare_alternatives(_request(ComparisonRequest, request), self._assessor)

    def decide_release(self, order: Question[GateRequest]) -> GateReport:
        """Decide whether a work order may be released.

        Parameters
        ----------
        order : GateRequest, dict, str or bytes
            The operations of the order, each with its stack.

        Returns
        -------
        GateReport
            ``release``, ``hold`` or ``stop``, with the reasons by operation and a digest of the decision.

        Raises
        ------
        BadRequestError
            The order is invalid, or names a threshold that no rule has or allows. That is no release.
        EngineFaultError
            The rules engine failed. That is no release.
        """
        return gate(_request(GateRequest, order), self._assessor)

    def find_stacks(self, request: Question[SearchRequest]) -> SearchReport:
        """Find the stacks that the parts of an inventory allow.

        Parameters
        ----------
        request : SearchRequest, dict, str or bytes
            The inventory, and the requirement: reach [mm], clearance [mm], runout [µm], speed [rpm].

        Returns
        -------
        SearchReport
            One page of stacks, the best first; if there are none, the closest alternatives.

        Raises
        ------
        BadRequestError
            The request is invalid, names a threshold that no rule has or allows, or continues another search.
        EngineFaultError
            The rules engine failed.
        """
        return search(_request(SearchRequest, request), self._assessor)


@cache
def _built_in() -> Checker:
    return Checker()


def check(request: Question[StackRequest]) -> Report:
    """Check one stack by the built-in rules; see `Checker.check`."""
    return _built_in().check(request)


def runout_budget(request: Question[StackRequest]) -> BudgetReport:
    """Work out the full runout budget of one stack; see `Checker.runout_budget`."""
    return _built_in().runout_budget(request)


def read_gauge(request: Question[ReadingRequest]) -> ReadingReport:
    """Judge the dial readings taken on an assembled stack; see `Checker.read_gauge`."""
    return _built_in().read_gauge(request)


def follow_build(request: Question[BuildRequest]) -> BuildReport:
    """Follow a stack that is read after each part while it is built; see `Checker.follow_build`."""
    return _built_in().follow_build(request)


def calibrate(request: Question[CalibrationRequest]) -> CalibrationReport:
    """Turn a shop's readings into its own assumed values; see `Checker.calibrate`."""
    return _built_in().calibrate(request)


def compare(request: Question[ComparisonRequest]) -> ComparisonReport:
    """Compare alternative stacks for one job by the built-in rules; see `Checker.compare`."""
    return _built_in().compare(request)


def decide_release(order: Question[GateRequest]) -> GateReport:
    """Decide by the built-in rules whether a work order may be released; see `Checker.decide_release`."""
    return _built_in().decide_release(order)


def find_stacks(request: Question[SearchRequest]) -> SearchReport:
    """Find the stacks that the parts of an inventory allow; see `Checker.find_stacks`."""
    return _built_in().find_stacks(request)


def _request(model: type[ModelT], given: Question[BaseModel]) -> ModelT:
    """Return a request as its model; raises :class:`BadRequestError`."""
    if type(given) is model:
        return given
    try:
        return parse(model, parse_json(given if isinstance(given, bytes) else _json(given)))
    except NotJSONError as error:
        place = "" if error.line is None else f"line {error.line}, column {error.column}: "
        raise BadRequestError([Fault(error.pointer or "", place + error.detail, error.code)]) from None


def _json(given: object) -> bytes:
    """Return a request as JSON, so that a dictionary is judged exactly as over HTTP."""
    if isinstance(given, str):
        # Half of a surrogate pair gives bytes that are not UTF-8, which are rejected.
        return given.encode("utf-8", "surrogatepass")
    try:
        return json.dumps(given, default=_plain).encode()
    except (TypeError, ValueError, RecursionError) as error:
        raise BadRequestError([Fault("", f"cannot be written as JSON: {error}")]) from None


def _plain(value: object) -> object:
    if isinstance(value, BaseModel):
        return value.model_dump(mode="json", exclude_unset=True, by_alias=True)
    if isinstance(value, Mapping):
        return dict(value)
    raise TypeError(f"{type(value).__name__} has no form in JSON")
