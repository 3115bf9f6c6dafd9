"""Rules rejected by the linter, each with file, line, rule and reason."""

from __future__ import annotations

from pathlib import Path

import pytest

from rules.rulebook.loader import load_books
from rules.rulebook.source import Problem, RulebookError
from tests.support.rulebooks import small_vocabulary

GOOD = """\
book: joints
version: "1"
title: One rule to spoil
rules:
  - code: GRIP-010
    title: Grip length below the minimum
    severity: error
    applies_to: joint
    needs: [grip_length_mm, minimum_grip_mm, shank_form, clamped]
    when:
      all:
        - {grip_length_mm: {less_than: minimum_grip_mm}}
        - {shank_form: {equals: plain}}
        - {clamped: true}
    message: "{joint}: {grip_length_mm} mm is held"
    observed: grip_length_mm
    limit: minimum_grip_mm
    unit: mm
    why: A short grip lets the shank rock.
    remedy: Push the shank in to {minimum_grip_mm} mm.
    known_limits: A worn bore is not seen.
    source: common practice
    examples:
      fires: [{name: short, base: plain, set: {/joints/0/grip_length_mm: 5}}]
      silent: [{name: as given, base: plain}]
"""

LESS = "{grip_length_mm: {less_than: minimum_grip_mm}}"
THRESHOLD = "thresholds: {most: {value: 4, unit: mm, minimum: 0, maximum: 9, meaning: m}}\n    "


def problems_of(folder: Path, text: str) -> tuple[Problem, ...]:
    (folder / "book.yaml").write_text(text, encoding="utf-8")
    with pytest.raises(RulebookError) as caught:
        load_books([folder], small_vocabulary())
    return caught.value.problems


def test_the_unspoilt_book_loads(tmp_path: Path) -> None:
    """Every refusal below comes from its one change."""
    (tmp_path / "book.yaml").write_text(GOOD, encoding="utf-8")
    assert [rule.code for rule in load_books([tmp_path], small_vocabulary()).rules] == ["GRIP-010"]


# what stands in GOOD, what replaces it, text on the line that must be named, words of the reason
CONDITIONS = {
    "two keys in a condition": (LESS, "{grip_length_mm: 5, shank_mm: 5}", "shank_mm: 5", "exactly one key"),
    "an empty condition": (LESS, "{}", "- {}", "exactly one key"),
    "a condition that is a text": (LESS, "grip_length_mm", "- grip_length_mm", "object with one key"),
    "two operators": (LESS, "{shank_mm: {less_than: 5, at_least: 2}}", "at_least", "exactly one operator"),
    "no operator": (LESS, "{grip_length_mm: {}}", "grip_length_mm: {}", "exactly one operator"),
    "an empty list": (LESS, "{any: []}", "any: []", "at least one condition"),
    "an empty list of literals": (LESS, "{grip_length_mm: {in: []}}", "in: []", "at least one literal"),
    "an unknown operator": (LESS, "{grip_length_mm: {below: 5}}", "below: 5", "unknown operator 'below'"),
    "the engine's own operator": (LESS, "{$lt: {grip_length_mm: 5}}", "$lt", "neither a property of this kind"),
    "an order of texts": (LESS, "{shank_form: {less_than: z}}", "less_than: z", "unknown operator"),
    "an order of flags": (LESS, "{clamped: {at_least: true}}", "at_least: true", "unknown operator"),
    "a membership of flags": (LESS, "{clamped: {in: [true]}}", "in: [true]", "unknown operator"),
    "a negation": (LESS, "{not: [{clamped: true}]}", "not:", "'not' is neither a property"),
    "a negated group": (LESS, "{none: [{clamped: true}]}", "none:", "'none' is neither a property"),
    "a count": (LESS, "{count: 2}", "count: 2", "'count' is neither a property"),
    "a cap": (LESS, "{cap: 2}", "cap: 2", "'cap' is neither a property"),
    "an absence": (LESS, "{grip_length_mm: {missing: true}}", "missing", "unknown operator 'missing'"),
    "arithmetic": (LESS, "{grip_length_mm: {less_than: {times: [3, shank_mm]}}}", "times", "an object"),
    "a division": (LESS, "{grip_length_mm: {div: shank_mm}}", "div", "unknown operator 'div'"),
    "a formula in text": (LESS, "{grip_length_mm: {less_than: 3 * shank_mm}}", "3 *", "is not a number"),
    "a join of two facts": (LESS, "{grip_length_mm: {less_than: {other: x}}}", "other", "an object"),
    "a dotted name": (LESS, "{grip_length_mm: {less_than: first.shank_mm}}", "first.", "is not a number"),
    "a nested list": (LESS, "{grip_length_mm: {in: [[1]]}}", "[[1]]", "a list"),
    "a property of another kind": (LESS, "{total_mass_kg: 5}", "total_mass_kg", "neither a property of this kind"),
    "a property of no kind": (LESS, "{grip_lenght_mm: 5}", "grip_lenght_mm", "neither a property of this kind"),
    "a number that is text": (LESS, '{grip_length_mm: {less_than: "5"}}', '"5"', "is not a number"),
    "a number with its unit": (LESS, "{grip_length_mm: {less_than: 5 mm}}", "5 mm", "is not a number"),
    "an exponent YAML reads as text": (LESS, "{grip_length_mm: {less_than: 1e-3}}", "1e-3", "is not a number"),
    "no number": (LESS, "{grip_length_mm: {less_than: .nan}}", ".nan", "nan is not a number"),
    "an infinite number": (LESS, "{grip_length_mm: {at_most: .inf}}", ".inf", "inf is not a number"),
    "a flag for a number": (LESS, "{grip_length_mm: true}", "mm: true", "not a number"),
    "a number for a flag": (LESS, "{clamped: 1}", "clamped: 1", "not a flag"),
    "a number for a text": (LESS, "{shank_form: 1}", "shank_form: 1", "not a text"),
    "nothing for a text": (LESS, "{shank_form: null}", "null", "not a text"),
    "a word YAML reads as flag": (LESS, "{shank_form: no}", "shank_form: no", "put them in quotes"),
    "a flag in a list of texts": (LESS, "{shank_form: {in: [plain, yes]}}", "yes", "put them in quotes"),
    "a property against itself": (LESS, "{shank_form: {equals: shank_form}}", "equals: shank", "with itself"),
    "units that differ": (LESS, "{grip_length_mm: {less_than: clearance_um}}", "clearance_um", "in um"),
    "a literal that is a name": (LESS, "{shank_form: upper}", "shank_form: upper", "also a name"),
    "a listed literal that is a name": (LESS, "{shank_form: {in: [upper]}}", "in: [upper]", "also a name"),
    "a reference of unlike type": (LESS, "{shank_form: {equals: clamped}}", "equals: clamped", "also a name"),
    "a bare comparison": ("all:\n", "clamped: true\n    x:\n", "x:", "not a known field"),
}  # fmt: skip

FIELDS = {
    "no unit": ("unit: mm\n", "\n", "code: GRIP", "unit is missing"),
    "no source": ("source: common practice\n", "\n", "code: GRIP", "source is missing"),
    "no remedy": ("remedy: Push", "\n    x-remedy: Push", "code: GRIP", "remedy is missing"),
    "an empty source": ("source: common practice", "source: ' '", "source", "must not be empty"),
    "no firing example": (
        "fires: [{name: short, base: plain, set: {/joints/0/grip_length_mm: 5}}]",
        "fires: []",
        "fires: []",
        "must not be empty",
    ),
    "no silent example": (
        "silent: [{name: as given, base: plain}]",
        "undecided: []",
        "examples:",
        "silent is missing",
    ),
    "a date in an example": (
        "/joints/0/grip_length_mm: 5",
        "/joints/0/made: 2024-01-01",
        "/joints/0/made",
        "in quotes",
    ),
    "no number in an example": (
        "grip_length_mm: 5}",
        "grip_length_mm: [.nan]}",
        "[.nan]",
        "is not possible in a request",
    ),
    "a pointer without its slash": (
        "/joints/0/grip_length_mm: 5",
        "joints: 5",
        "joints: 5",
        "must look like",
    ),
    "an unknown field": ("why:", "reason: x\n    why:", "reason: x", "reason is not a known field"),
    "an unknown severity": ("severity: error", "severity: fatal", "severity", "must be one of"),
    "an unknown kind": ("applies_to: joint", "applies_to: spindle", "applies_to", "must be one of"),
    "a code out of form": ("code: GRIP-010", "code: grip10", "code: grip10", "must look like"),
    "a code of the gate": ("code: GRIP-010", "code: GATE-900", "code: GATE", "the family GATE"),
    "a code of the search": ("code: GRIP-010", "code: REQ-900", "code: REQ", "the family REQ"),
    "a severity that is a number": ("severity: error", "severity: 1", "severity", "must be one of"),
    "a safety mark in words": (
        "severity: error",
        "severity: error\n    safety: 'true'",
        "safety",
        "true or false",
    ),
    "needs that is no list": (
        "needs: [grip_length_mm, minimum_grip_mm, shank_form, clamped]",
        "needs: clamped",
        "needs",
        "must be a list",
    ),
    "a need that is unknown": ("needs: [", "needs: [reach_mm, ", "reach_mm", "not in the vocabulary"),
    "a need named twice": ("needs: [", "needs: [clamped, ", "needs: [clamped", "twice"),
    "a condition on what is not needed": (
        "minimum_grip_mm, shank_form",
        "shank_form",
        "when:",
        "not under needs",
    ),
    "a message place without a value": ("mm is held", "mm is held at {shank_mm}", "is held at", "{shank_mm}"),
    "a remedy place without a value": ("to {minimum_grip_mm} mm.", "to {depth} mm.", "{depth}", "{depth}"),
    "a format in a place": (
        "{grip_length_mm} mm is",
        "{grip_length_mm:.1f} mm is",
        ":.1f",
        "an unmatched brace",
    ),
    "a brace alone": ("mm is held", "mm} is held", "mm} is held", "an unmatched brace"),
    "an observed value that is not needed": (
        "observed: grip_length_mm",
        "observed: shank_mm",
        "observed",
        "not under needs",
    ),
    "a limit that is nothing": ("limit: minimum_grip_mm", "limit: least", "limit: least", "not under needs"),
    "an unknown unit": ("unit: mm\n", "unit: inch\n", "unit: inch", "unknown unit"),
    "a unit that is not the value's": ("unit: mm\n", "unit: um\n", "observed", "the rule's unit is um"),
    "a threshold that decides nothing": ("why:", THRESHOLD + "why:", "thresholds", "is not used in the condition"),
    "a threshold named as a property": (
        "why:",
        THRESHOLD.replace("most", "shank_mm") + "why:",
        "thresholds",
        "name of a property",
    ),
    "a threshold out of its bounds": (
        "why:",
        THRESHOLD.replace("value: 4", "value: 10") + "why:",
        "thresholds",
        "is not between",
    ),
    "a threshold without bounds": (
        "why:",
        THRESHOLD.replace("minimum: 0, ", "") + "why:",
        "thresholds",
        "minimum is missing",
    ),
    "a threshold that is text": (
        "why:",
        THRESHOLD.replace("value: 4", "value: '4'") + "why:",
        "thresholds",
        "must be a number",
    ),
    "a threshold of another unit": (
        "grip_length_mm: {less_than: minimum_grip_mm}",
        "grip_length_mm: {less_than: most}",
        "less_than: most",
        "is not a number",
    ),
    "a replacement of nothing": (
        "severity: error",
        "severity: error\n    replaces: true",
        "code: GRIP",
        "in no earlier folder",
    ),
}

FILES = {
    "a key written twice": (
        "severity: error",
        "severity: error\n    severity: advice",
        "severity: advice",
        "written twice",
    ),
    "a key twice in a condition": (
        "{clamped: true}",
        "{clamped: true, clamped: false}",
        "clamped: false",
        "written twice",
    ),
    "an alias": ("why: A short", "why: &a A short", "source", "an alias"),
    "a key that is no text": ("why:", "1: x\n    why:", "1: x", "is not plain text"),
    "a tag of a program": ("why: A", "why: !!python/name:os.system A", "why", "not readable as YAML"),
    "no YAML": ("why: A", "why: [A", "remedy", "not readable as YAML"),
    "an unknown version": ('version: "1"', 'version: "2"', "version", "must be one of"),
    "a version that is a number": ('version: "1"', "version: 1", "version", "must be one of"),
    "an unknown head": ("title: One rule to spoil", "name: x\ntitle: y", "name: x", "not a known field"),
}


@pytest.mark.parametrize(("old", "new", "marked", "words"), CONDITIONS.values(), ids=CONDITIONS.keys())
def test_a_condition_outside_the_grammar_is_refused(
    tmp_path: Path, old: str, new: str, marked: str, words: str
) -> None:
    """Refused with the line of the part, the rule's code and a reason in plain words."""
    refused(tmp_path, old, new, marked, words, "GRIP-010")


@pytest.mark.parametrize(("old", "new", "marked", "words"), FIELDS.values(), ids=FIELDS.keys())
def test_a_rule_that_is_not_complete_and_consistent_is_refused(
    tmp_path: Path, old: str, new: str, marked: str, words: str
) -> None:
    """Refused with the line of the field, or of the rule where the field is missing."""
    code = new.removeprefix("code: ") if new.startswith("code: ") else "GRIP-010"
    refused(tmp_path, old, new, marked, words, code)


@pytest.mark.parametrize(("old", "new", "marked", "words"), FILES.values(), ids=FILES.keys())
def test_a_file_that_is_no_book_is_refused(tmp_path: Path, old: str, new: str, marked: str, words: str) -> None:
    """Refused with its line, under no rule's code."""
    text = GOOD.replace("source: common practice", "source: *a") if "&a" in new else GOOD
    refused(tmp_path, old, new, marked, words, "", text)


def refused(folder: Path, old: str, new: str, marked: str, words: str, code: str, text: str = GOOD) -> None:
    assert text.count(old) == 1 or old in ("unit: mm\n", "why:"), f"{old!r} stands in the book more than once"
    spoilt = text.replace(old, new, 1)
    line = 1 + next(number for number, written in enumerate(spoilt.splitlines()) if marked in written)
    problems = problems_of(folder, spoilt)
    assert any(words in problem.reason for problem in problems), [str(problem) for problem in problems]
    told = next(problem for problem in problems if words in problem.reason)
    assert (told.file, told.line, told.code) == (str(folder / "book.yaml"), line, code), str(told)


def test_all_defects_are_told_at_once(tmp_path: Path) -> None:
    """Two broken conditions, a missing field in another rule and a duplicate code: four reasons in one go."""
    second = GOOD[GOOD.index("  - code") :].replace("GRIP-010", "GRIP-020").replace("    unit: mm\n", "")
    third = GOOD[GOOD.index("  - code") :]
    spoilt = GOOD.replace(LESS, "{reach: 5}").replace("{clamped: true}", "{clamped: maybe}")
    reasons = [problem.reason for problem in problems_of(tmp_path, spoilt + second + third + third)]
    assert len(reasons) == 4
    for words in ("'reach'", "'maybe' is not a flag", "unit is missing", "already used"):
        assert any(words in reason for reason in reasons), reasons


def test_a_problem_prints_as_compilers_print(tmp_path: Path) -> None:
    """File, line, rule, reason: an editor can jump to it."""
    (problem,) = problems_of(tmp_path, GOOD.replace("severity: error", "severity: fatal"))
    assert str(problem).startswith(f"{tmp_path / 'book.yaml'}:7: GRIP-010: severity must be one of ")
