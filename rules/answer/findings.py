"""Findings and undecided rules of the report, with messages worded and rounded for people."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from functools import cache, lru_cache
from importlib.resources import files
from types import MappingProxyType
from typing import Final, NamedTuple

from rules.couplings import steep_taper
from rules.couplings.sides import COUPLINGS
from rules.quantities.models import MissingQuantity, construct
from rules.quantities.rounding import rounded, rounded_for_people
from rules.quantities.tables import read_definitions, read_table
from rules.quantities.units import quantity_and_unit, ucum
from rules.rulebook.book import Fired, Judgement, Rule, Rulebook
from rules.rulebook.book import Undecided as UndecidedRule
from rules.rulebook.fact import Fact, Value, render
from rules.rulebook.vocabulary import Property
from rules.schema.components import ComponentReference
from rules.schema.report import AssemblyStep, Finding, NotJudged, Quantity, Report, Undecided
from rules.schema.request import Stack

__all__ = [
    "enumerated",
    "field_in_words",
    "finding",
    "missing_quantity",
    "not_judged",
    "repointed",
    "trade_name",
    "undecided",
]


@cache
def _names() -> Mapping[str, Mapping[str, str]]:
    """Return the names of the codes, by property and code."""
    own = read_definitions(files("rules.answer").joinpath("trade_names.yaml"))
    couplings = {name: one.described.title for name, one in COUPLINGS.items()}
    tapers = {name: steep_taper.form(name).title for name in steep_taper.forms()}
    knobs = {name: steep_taper.knob(name).title for name in steep_taper.knobs()}
    return MappingProxyType(
        {
            **own,
            "coupling": couplings,
            "upper_coupling": couplings,
            "lower_coupling": couplings,
            "upper_form": {**own["upper_form"], **tapers},
            "lower_form": {**own["lower_form"], **tapers},
            "knob_form": knobs,
            "drawbar_form": knobs,
        }
    )


def trade_name(name: str, value: str) -> str:
    """Return the trade's name for the code that a property carries, or the value itself if it is no code.

    >>> trade_name("knob_form", "iso_7388_3_ad"), trade_name("shank_form", "side_lock_flat"), trade_name("lower", "pin")
    ('ISO 7388-3 AD', 'side-lock flat', 'pin')
    """
    names = _names().get(name) or _names().get(name.rpartition(".")[2])
    return value if names is None else names.get(value, value)


def _value(fired: Fired, name: str | None) -> Quantity | None:
    if name is None:
        return None
    value = fired.thresholds.get(name, fired.fact.known.get(name))
    if isinstance(value, bool) or value is None:
        return None
    if isinstance(value, str):
        return construct(Quantity, value=value, unit=None)
    unit = fired.rule.unit
    return construct(Quantity, value=rounded(value, unit), unit=ucum(unit))


def _margin(rule: Rule, observed: Quantity | None, limit: Quantity | None) -> float | None:
    """Return the margin to the limit in the direction of the rule's comparison; negative if violated."""
    if rule.sense is None or observed is None or limit is None:
        return None
    value, bound = observed.value, limit.value
    if not isinstance(value, float) or not isinstance(bound, float):
        return None
    return rounded(bound - value if rule.sense == "at most" else value - bound, rule.unit)


def _shown(fired: Fired, properties: Mapping[str, Property]) -> dict[str, Value]:
    """Return the values of a message, rounded for readers.

    Observed value and limit stay exact if they differ but would look equal after rounding.
    """
    rule = fired.rule
    exact = {**fired.fact.known, **fired.thresholds}
    shown: dict[str, Value] = {}
    for name in rule.shown:
        value = exact[name]
        if isinstance(value, bool):
            shown[name] = value
        elif isinstance(value, str):
            shown[name] = trade_name(name, value)
        else:
            unit = properties[name].unit if name in properties else rule.thresholds[name].unit
            shown[name] = rounded_for_people(value, unit or "ratio")
    observed, limit = rule.observed, rule.limit
    if observed and limit and shown[observed] == shown[limit]:
        shown |= {observed: exact[observed], limit: exact[limit]}
    return shown


def finding(fired: Fired, properties: Mapping[str, Property], operation: str | None = None) -> Finding:
    """Return the finding of a rule that fired.

    ``properties`` is the vocabulary of the fact's kind, ``operation`` the id of the operation that it depends on.
    """
    rule, values = fired.rule, _shown(fired, properties)
    rows = _rows_of(fired, properties)
    observed, limit = _value(fired, rule.observed), _value(fired, rule.limit)
    return construct(
        Finding,
        code=rule.code,
        severity=fired.severity,
        title=rule.title,
        operation=operation,
        message=render(rule.message, values),
        at=list(fired.fact.at),
        observed=observed,
        limit=limit,
        margin=_margin(rule, observed, limit),
        rests_on=[],
        remedy=render(rule.remedy, values),
        source="; ".join(dict.fromkeys((rule.source, *(f"{row.table}: {row.source}" for row in rows)))),
        confidence=max((row.confidence for row in rows), key=_SURENESS.index, default=None),
    )


class _DecidingRow(NamedTuple):
    """Row of a table whose value decided a rule."""

    table: str
    """Title of the table."""
    source: str
    confidence: str


_SURENESS: Final = ("standard", "textbook", "computed", "common practice", "from memory")
"""Confidences, the surest first."""


def _rows_of(fired: Fired, properties: Mapping[str, Property]) -> list[_DecidingRow]:
    """Return the rows of tables that the values of a finding come from, as the vocabulary names them."""
    known, rows = fired.fact.known, []
    for name in dict.fromkeys((*fired.rule.reads, *fired.rule.shown)):
        one = properties.get(name)
        for table, columns in ((one.tables if one is not None else None) or {}).items():
            wanted = {column: text[1:] if text.startswith("=") else known.get(text) for column, text in columns.items()}
            read = read_table(table)
            rows += [
                _DecidingRow(read.title, row["source"], row["confidence"])
                for row in read.rows
                if all(row[column] == value for column, value in wanted.items())
            ]
    return list(dict.fromkeys(rows))


def missing_quantity(name: str, fields: Sequence[str], properties: Mapping[str, Property]) -> MissingQuantity:
    """Return a missing property with the fields that would supply it; ``properties`` as in :func:`finding`."""
    known = properties.get(name)
    unit = None if known is None or known.type != "number" else ucum(known.unit)
    return construct(MissingQuantity, quantity=quantity_and_unit(name)[0], unit=unit, at=list(fields))


def undecided(item: UndecidedRule, properties: Mapping[str, Property], operation: str | None = None) -> Undecided:
    """Return the report entry of a rule that could not be decided; ``properties`` as in :func:`finding`."""
    return construct(
        Undecided,
        code=item.rule.code,
        severity=item.severity,
        title=item.rule.title,
        operation=operation,
        at=list(item.fact.at),
        lacks=[missing_quantity(name, fields, properties) for name, fields in item.lacking.items()],
    )


def not_judged(book: Rulebook, judgement: Judgement, facts: Sequence[Fact]) -> list[NotJudged]:
    """Return the rules that had nothing to judge, in the order of the books, and why."""
    seen: dict[str, set[str]] = {}
    for fact in facts:
        seen.setdefault(fact.kind, set()).update(fact.known, fact.lacking)
    judged = {
        *judgement.decided,
        *(item.rule.code for item in judgement.fired),
        *(item.rule.code for item in judgement.undecided),
    }
    found = []
    for rule in book.of_check:
        if rule.code in judged:
            continue
        own, names = seen.get(rule.applies_to), book.computed[rule.code]
        absent: tuple[str, ...] | None = ()
        if own is None:
            absent = None
        elif not own.issuperset(names):
            absent = tuple([name for name in names if name not in own])
        found.append(_reason(rule.code, rule.title, rule.applies_to, absent, "" if absent else rule.scope_rest_text))
    return found


@lru_cache(maxsize=4096)
def _reason(code: str, title: str, kind: str, absent: tuple[str, ...] | None, scope: str) -> NotJudged:
    """Return why a rule is idle; the same few answers serve most checks, so they are kept."""
    if absent is None:
        reason = f"There is no {kind} to judge."
    elif absent:
        words = [quantity_and_unit(name)[0].replace("_", " ") for name in absent]
        reason = f"No {kind} has {enumerated(words)}."
    elif scope:
        reason = f"No {kind} is in its scope: {scope}."
    else:
        reason = f"No {kind} has all that the rule compares."
    return construct(NotJudged, code=code, title=title, reason=reason)


def repointed(report: Report, lead: Callable[[str], str]) -> Report:
    """Return the report with every pointer below a reference replaced by one into its definition.

    The pointer of the reference itself stays, since it identifies the part of the stack.
    """

    def leads(pointers: Sequence[str]) -> list[str]:
        return [lead(pointer) for pointer in pointers]

    def lacks(missing: Sequence[MissingQuantity]) -> list[MissingQuantity]:
        return [one.model_copy(update={"at": leads(one.at)}) for one in missing]

    def steps(drafts: Sequence[AssemblyStep]) -> list[AssemblyStep]:
        return [one.model_copy(update={"at": leads(one.at), "not_stated": lacks(one.not_stated)}) for one in drafts]

    assembly = report.assembly
    if assembly is not None:
        assembly = assembly.model_copy(
            update={"steps": steps(assembly.steps), "disassembly": steps(assembly.disassembly)}
        )
    return report.model_copy(
        update={
            "findings": [one.model_copy(update={"at": leads(one.at)}) for one in report.findings],
            "undecided": [
                one.model_copy(update={"at": leads(one.at), "lacks": lacks(one.lacks)}) for one in report.undecided
            ],
            "stated_by_standard": [one.model_copy(update={"at": lead(one.at)}) for one in report.stated_by_standard],
            "understood": [one.model_copy(update={"at": lead(one.at)}) for one in report.understood],
            "assumptions": [one.model_copy(update={"at": lead(one.at)}) for one in report.assumptions],
            "runout": report.runout.model_copy(update={"not_stated": lacks(report.runout.not_stated)}),
            "assembly": assembly,
            "grip": [one.model_copy(update={"at": leads(one.at)}) for one in report.grip],
        }
    )


_UNIT: Final = re.compile(r"_(?:g_mm|mm|um|kg|rpm|deg)$")
_LONGEST_LIST: Final = 3


def field_in_words(pointer: str, stack: Stack) -> str:
    """Return the name of a field of the request.

    >>> stack = Stack.model_validate({"components": [{"kind": "collet", "id": "collet-1"}]})
    >>> field_in_words("/stack/components/0/workpiece_side/length_mm", stack)
    'workpiece side length of collet-1'
    """
    steps = pointer.split("/")[1:]
    number, rest = "".join(steps[2:3]), steps[3:]
    if steps[:2] == ["stack", "components"]:
        if not number.isdigit():
            return "the cutting tool at the end"
        entry = stack.components[int(number)]
        owner = entry.id or (entry.of.key if isinstance(entry, ComponentReference) else "")
    elif steps[:2] == ["stack", "joints"]:
        joints = stack.joints or []
        joint = joints[int(number)] if number.isdigit() and int(number) < len(joints) else None
        owner = "a joint" if joint is None else f"{joint.upper}/{joint.lower}"
    else:
        owner, rest = f"the {steps[0]}", steps[1:]
    words = " ".join(_UNIT.sub("", step).replace("_", " ") for step in rest if not step.isdigit())
    return f"{words} of {owner}" if words else owner


def enumerated(words: Sequence[str]) -> str:
    """Return a list of words as text; only the first few are named.

    >>> enumerated(["a", "b"]), enumerated(["a", "b", "c", "d", "e"])
    ('a and b', 'a, b, c and 2 more')
    """
    shown = list(words[:_LONGEST_LIST])
    if len(words) > _LONGEST_LIST:
        shown.append(f"{len(words) - _LONGEST_LIST} more")
    return shown[0] if len(shown) == 1 else f"{', '.join(shown[:-1])} and {shown[-1]}"
