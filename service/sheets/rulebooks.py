"""What the bench tells about rulebooks, as plain text: coverage, a difference, one rule on one stack."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import Final

from rich.text import Text

from rules.bench import Change, Coverage, Difference
from rules.schema.explanation import ExplanationReport, SeenValue, SubjectExplanation
from service.sheets.figures import unit_sign
from service.sheets.text import STYLES, Console, count, heading, number, say, section, table

__all__ = ["print_coverage", "print_difference", "print_explanation"]


_OUTCOMES: Final = {
    "fires": "fires",
    "holds": "holds",
    "undecided": "not decided",
    "not_concerned": "not concerned",
}


def print_coverage(found: Coverage, codes: Collection[str], console: Console) -> None:
    """Print how often each of these rules had which outcome."""
    faults = f", {count(found.faults, 'request')} not judged" if found.faults else ""
    heading(f"Outcomes over {count(found.stacks, 'stack')}{faults}, number of subjects", console)
    rows = [
        (rule.code, *(str(found.counts[rule.code][one]) for one in ("fires", "holds", "undecided", "not_concerned")))
        for rule in found.book.rules
        if rule.code in codes and rule.code in found.counts
    ]
    table(("rule", *_OUTCOMES.values()), rows, console)
    silent = [code for code in found.never("fires", "holds", "undecided") if code in codes]
    section("Concerned no subject", [", ".join(silent)] if silent else [], console)
    quiet = [code for code in found.never("fires", "undecided") if code in codes and code not in silent]
    section("Neither fired nor lacked data", [", ".join(quiet)] if quiet else [], console)


def print_difference(found: Difference, console: Console) -> None:
    """Print the rules that differ, then the verdicts and findings."""
    section("Rules added", [", ".join(found.added)] if found.added else [], console)
    section("Rules removed", [", ".join(found.removed)] if found.removed else [], console)
    section("Rules changed", [f"{code}: {', '.join(fields)}" for code, fields in found.changed], console)
    section("Adjustments", ["They differ."] if found.adjusted else [], console)
    section("Verdicts changed", list(map(_change, found.verdicts)), console)
    section("Findings changed", list(map(_change, found.findings)), console)
    faults = f", {count(found.faults, 'request')} not judged" if found.faults else ""
    if found.is_empty:
        say(Text(f"No difference over {count(found.stacks, 'stack')}{faults}."), console)
    elif found.stacks or found.faults:
        heading(f"{count(found.stacks, 'stack')} compared{faults}", console)


def _change(one: Change) -> str:
    more = ", ..." if one.stacks > len(one.first) else ""
    return f"{one.what}: {count(one.stacks, 'stack')} ({', '.join(one.first)}{more})"


def print_explanation(report: ExplanationReport, console: Console) -> None:
    """Print whom the rule concerns, what it requires, and each subject with the values it reads."""
    say(Text(f"{report.code}  {report.title}", style="bold"), console)
    if report.where is not None:
        say(Text(f"Where:   {report.where.words}"), console, 2)
    say(Text(f"Require: {report.require.words}"), console, 2)
    if report.not_judged is not None:
        say(Text(report.not_judged), console, 2)
    for one in report.subjects:
        if one.outcome != "not_concerned":
            _subject(one, console)
    others = [one for one in report.subjects if one.outcome == "not_concerned"]
    if others:
        heading("Not concerned", console)
    for one in others:
        say(Text(f"{_name(one)}: {'; '.join(map(_value, _deciding(one.values, report)))}"), console, 2)


def _deciding(values: Sequence[SeenValue], report: ExplanationReport) -> list[SeenValue]:
    """Return the values that ``where`` names."""
    asked = "" if report.where is None else report.where.text
    return [one for one in values if one.name in asked] or list(values)


def _name(one: SubjectExplanation) -> str:
    return one.subject if one.operation is None else f"{one.subject}, operation {one.operation}"


def _subject(one: SubjectExplanation, console: Console) -> None:
    severity = one.severity if one.outcome in ("fires", "undecided") and one.severity else ""
    console.print()
    line = Text(f"{_name(one)}: {_OUTCOMES[one.outcome]}{f' ({severity})' if severity else ''}", style="bold")
    if one.outcome == "fires":
        line.stylize(STYLES[severity])
    say(line, console)
    for value in one.values:
        say(Text(_value(value)), console, 2)
    for name, limit in one.thresholds.items():
        say(Text(f"{name}: {number(limit)} (threshold)"), console, 2)
    section("To pass" if one.outcome == "fires" else "To decide", one.to_pass, console)


def _value(one: SeenValue) -> str:
    if one.state == "not_applicable":
        return f"{one.name}: does not apply"
    places = ", ".join(one.at)
    if one.state == "missing":
        return f"{one.name}: missing{f', supplied by {places}' if places else ''}"
    value = one.value
    shown = ("yes" if value else "no") if isinstance(value, bool) else value
    if isinstance(shown, float):
        shown = f"{number(shown)} {unit_sign(one.unit)}".strip()
    return f"{one.name}: {shown} ({f'computed for {places}' if one.state == 'computed' else places})"
