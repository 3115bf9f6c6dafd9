"""Rulebooks rejected by the linter, each with file, line, rule and the whole reason."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Final

import pytest

from rules.rulebook.loader import load_books
from rules.rulebook.source import Problem, RulebookError
from rules.rulebook.vocabulary import UNITS
from rules.stack.view import request_vocabulary

RULE: Final[Mapping[str, str]] = {
    "code": "SHOP-010",
    "title": "A rule to spoil",
    "severity": "error",
    "for": "component",
    "require": "mass_kg < 5",
    "message": '"{component} is too heavy."',
    "why": "The changer drops it.",
    "remedy": "Choose a lighter one.",
    "known_limits": "None.",
    "source": "common practice",
}
"""Fields of a valid rule as YAML, each on a line of its own; the first is on line 5."""

HEAD: Final = 'book: shop\nversion: "1"\ntitle: One rule to spoil\nrules:\n'


def written(*rules: Mapping[str, str]) -> str:
    return HEAD + "".join(
        "".join(f"  {'  ' if number else '- '}{name}: {text}\n" for number, (name, text) in enumerate(rule.items()))
        for rule in rules
    )


def problems_of(folder: Path, text: str) -> tuple[Problem, ...]:
    (folder / "book.yaml").write_text(text, encoding="utf-8")
    with pytest.raises(RulebookError) as caught:
        load_books([folder], request_vocabulary())
    return caught.value.problems


def test_the_unspoilt_book_loads(tmp_path: Path) -> None:
    """Every refusal below comes from its one change."""
    (tmp_path / "book.yaml").write_text(written(RULE), encoding="utf-8")
    assert [rule.code for rule in load_books([tmp_path], request_vocabulary()).rules] == ["SHOP-010"]


_UNITS: Final = ", ".join((*UNITS, "x D"))

# what is written as require of a component, and the reason without the field
SYNTAX = {
    "a comparison without its right side": ("mass_kg <", "ends too early; expected a value"),
    "= for ==": ("mass_kg = 5", "column 9: '=' is not expected here; write == to compare"),
    "and for &&": ("mass_kg < 5 and teeth > 2", "column 13: 'and' is not expected here; write &&"),
    "or for ||": ("mass_kg < 5 or teeth > 2", "column 13: 'or' is not expected here; write ||"),
    "& for &&": ("mass_kg < 5 & teeth > 2", "column 13: '&' is not expected here; write &&"),
    "not for !": ("not mass_kg < 5", "column 5: 'mass_kg' is not expected here; write ! for not"),
    "an open bracket": ("(mass_kg < 5", "ends too early; expected )"),
    "a bracket too many": ("mass_kg < 5)", "column 12: ')' is not expected here; expected the end"),
    "an open quote": ("kind == 'cutter", 'column 9: "\'" is not expected here; its quote is not closed'),
    "a number with its unit": (
        "mass_kg < 5 kg",
        "column 13: 'kg' is not expected here; a number has the unit of what it meets, so leave the unit out",
    ),
    "two comparisons in one": ("1 < mass_kg < 5", "column 13: '<' is not expected here; expected &&, the end, ||"),
    "a power": ("mass_kg ** 2 < 5", "column 10: '*' is not expected here; expected a value"),
    "a sign +": ("mass_kg < +5", "a number has no sign + of its own; leave it out"),
    "an empty list": ("kind in []", "column 10: ']' is not expected here; expected a value"),
    "a name in a list": ("kind in [kind]", "a list holds numbers or texts in quotes"),
    "a number beyond doubles": ("mass_kg < 1e999", "1e999 is too large a number"),
    "a deep nest": ("(" * 41 + "coolant_through" + ")" * 41, "brackets and signs nested deeper than 40 levels"),
    "a long text": ("coolant_through || " * 110 + "coolant_through", "longer than 2000 characters"),
    "an unknown function": (
        "round(mass_kg) < 5",
        "there is no function round; there are: has, stated, mm, um, abs",
    ),
    "a function nearly right": ("state(mass_kg)", "there is no function state; did you mean stated?"),
    "two arguments": ("abs(mass_kg, 2) < 5", "abs(...) takes one argument"),
    "has of a condition": ("has(mass_kg < 2)", "has(...) takes the name of a property"),
    "a search of something else": (
        "parts.all(one, one.mass_kg < 5)",
        "only components and joints can be searched, not parts; there are: components, joints",
    ),
    "an unknown macro": (
        "components.any(one, one.mass_kg < 5)",
        "components has no any; there are: all, exists, filter",
    ),
    "a filter that is not counted": (
        "components.filter(one, one.mass_kg < 5) > 2",
        "write components.filter(one, ...).size() to count, all(...) or exists(...) to ask",
    ),
    "a macro without its name": (
        "components.all(mass_kg < 5)",
        "components.all(...) takes a name for one of them and a condition on it",
    ),
}

NAMES = {
    "a name misspelt": ("masskg < 5", "a component has no masskg; did you mean mass_kg?"),
    "a name of nothing": ("zzz < 5", "zzz is neither a property of a component nor a threshold or list of this rule"),
    "a property of a joint": ("bore_diameter_mm < 5", "bore_diameter_mm belongs to a joint, not to a component"),
    "a text without quotes": ("kind != cutter", 'cutter is not a name; write the text in quotes: "cutter"'),
    "a value never in the closed list": ('kind != "cuter"', 'kind is never "cuter"; did you mean cutter?'),
    "a listed value never in the closed list": ('kind in ["cuter"]', 'kind is never "cuter"; did you mean cutter?'),
    "a value unlike any": (
        'kind != "xyz"',
        'kind is never "xyz"; there are: base_holder, extension, reducer, collet, cutter, drill, tap,'
        " reamer, boring_tool, gauge_pin, retention_knob",
    ),
    "text < text": ('material < "steel"', "material is a text; it can only be compared by == and !="),
    "a number with a text": ('mass_kg == "5"', 'mass_kg is a number and "5" a text; they cannot be compared'),
    "a text in a list of numbers": ('mass_kg in ["5"]', 'mass_kg is a number; "5" is a text'),
    "a flag in a list": ("coolant_through in [true]", "coolant_through is a flag; in takes a number or a text"),
    "in without a list": ("mass_kg in 5", "in takes a list, such as mass_kg in [...]"),
    "a comparison with itself": ("mass_kg < mass_kg", "mass_kg is compared with itself"),
    "two constants": ("1 < 2", "1 < 2 compares two constants"),
    "a magnitude of a text": ("abs(kind) < 2", "abs(...) takes a number; kind is a text"),
    "arithmetic with a text": ("mass_kg + kind < 5", "+ joins numbers; kind is a text"),
    "a number for a condition": ("mass_kg && coolant_through", "&& takes a condition; mass_kg is a number"),
    "the opposite of a number": ("!mass_kg", "! takes a condition; mass_kg is a number"),
    "units that differ": (
        "mass_kg < gauge_length_mm",
        "mass_kg is in kg and gauge_length_mm in mm; < needs one unit",
    ),
    "micrometres and millimetres": (
        "straightness_um < gauge_length_mm",
        "straightness_um is in um and gauge_length_mm in mm; < needs one unit; write mm(straightness_um)",
    ),
    "a product of another unit": (
        "mass_kg + mass_kg * mass_kg < 5",
        "mass_kg is in kg and mass_kg * mass_kg in kg2; + needs one unit",
    ),
    "a length of a mass": ("mm(mass_kg) < 5", "mm(...) takes a length; mass_kg is none"),
    "a length in furlongs": (
        'gauge_length_mm < mm("3 furlongs")',
        "a length is a number of mm, or text with its unit such as '19.05 mm', '0.75 in' or '1 1/2 in'",
    ),
    "nested macros": (
        "components.all(a, joints.all(b, b.sealed))",
        "all, exists and filter do not stand inside one another",
    ),
    "a macro under a name that is taken": (
        "components.all(mass_kg, mass_kg < 5)",
        "mass_kg is a name already; take another for one of the components",
    ),
    "a name misspelt in a macro": (
        "components.all(one, one.mas_kg < 5)",
        "a component has no one.mas_kg; did you mean one.mass_kg?",
    ),
    "a macro of numbers": ("components.all(one, one.mass_kg)", "all takes a condition; one.mass_kg is a number"),
}


@pytest.mark.parametrize(("require", "reason"), [*SYNTAX.values(), *NAMES.values()], ids=[*SYNTAX, *NAMES])
def test_an_expression_that_cannot_be_read_is_refused(tmp_path: Path, require: str, reason: str) -> None:
    """With the place in the text or the nearest right name; the line is that of the field."""
    text = written({**RULE, "require": "'" + require.replace("'", "''") + "'"})
    assert problems_of(tmp_path, text) == (Problem(str(tmp_path / "book.yaml"), 9, "SHOP-010", f"require: {reason}"),)


# changes of the rule, the field whose line must be named, and the reason
RULES: Mapping[str, tuple[Mapping[str, str], str, str]] = {
    "a property of a component in a rule for joints": (
        {"for": "joint", "require": "teeth < 5", "message": "m"},
        "require",
        "require: teeth belongs to a component or a part, not to a joint; write upper.teeth or lower.teeth",
    ),
    "a where that cannot be read": (
        {"where": "mass_kg >", "require": "mass_kg < 5"},
        "where",
        "where: ends too early; expected a value",
    ),
    "an error in the second line": (
        {"require": "|\n      mass_kg < 5\n      && teeth >> 3"},
        "require",
        "require: line 2, column 11: '>' is not expected here; expected a value",
    ),
    "a number alone": ({"require": "mass_kg"}, "require", "require is a condition; mass_kg is a number"),
    "a list compared by ==": (
        {"require": "material == metals", "lists": "{metals: [steel]}"},
        "require",
        "require: metals is a list; write material in metals",
    ),
    "has of a threshold": (
        {"require": "has(most) || mass_kg < most", "thresholds": "{most: 5}"},
        "require",
        "require: has(...) asks for a property, and most is a threshold or a list",
    ),
    "a property that only some have": (
        {"require": "extension_projection_ratio < 5"},
        "code",
        "extension_projection_ratio exists only for an extension; say so: where: has(extension_projection_ratio)",
    ),
    "such a property in the message alone": (
        {"message": '"{extension_projection_ratio}"'},
        "code",
        "extension_projection_ratio exists only for an extension; say so: where: has(extension_projection_ratio)",
    ),
    "a field of some kinds": (
        {"require": "teeth < 5"},
        "code",
        'teeth exists only where kind in ["cutter", "drill", "tap", "reamer", "boring_tool"];'
        " say so under where",
    ),
    "a field of some kinds and more": (
        {"where": 'kind in ["cutter", "collet"]', "require": "teeth < 5"},
        "where",
        'teeth exists only where kind in ["cutter", "drill", "tap", "reamer", "boring_tool"];'
        " say so under where",
    ),
    "a field of some kinds on the other side": (
        {"for": "joint", "where": 'upper.kind == "cutter"', "require": "lower.teeth < 5", "message": "m"},
        "where",
        'lower.teeth exists only where lower.kind in ["cutter", "drill", "tap", "reamer", "boring_tool"];'
        " say so under where",
    ),
    "a field of some couplings": (
        {"where": 'kind == "cutter"', "require": "machine_side.diameter_mm < 5"},
        "where",
        'machine_side.diameter_mm exists only where machine_side.coupling in ["cylindrical", "declared"];'
        " say so under where",
    ),
    "a where that never holds": (
        {"where": "mass_kg < 2 && mass_kg > 3", "require": "density_kg_m3 < 5"},
        "where",
        "where can never hold, so the rule concerns nothing",
    ),
    "a where that no kind meets": (
        {"where": 'kind == "cutter" && kind in ["collet", "reducer"]'},
        "where",
        "where can never hold, so the rule concerns nothing",
    ),
    "a requirement that always holds": (
        {"require": "mass_kg < 2 || mass_kg >= 2"},
        "require",
        "require always holds where the rule applies, so it can never fire",
    ),
    "a requirement that the scope fulfils": (
        {"where": "mass_kg < most", "require": "mass_kg < 6", "thresholds": "{most: 5}"},
        "require",
        "require always holds where the rule applies, so it can never fire",
    ),
    "a requirement that never holds": (
        {"require": "mass_kg < 2 && mass_kg >= 2"},
        "require",
        "require can never hold where the rule applies, so it always fires",
    ),
    "a threshold without use": (
        {"thresholds": "{most: 5}"},
        "thresholds",
        "the threshold most is used in neither where nor require",
    ),
    "a list without use": (
        {"lists": "{metals: [steel]}"},
        "lists",
        "the list metals is used in neither where nor require",
    ),
    "a threshold with the name of a property": (
        {"thresholds": "{mass_kg: 5}"},
        "thresholds",
        "the threshold mass_kg has the name of a property",
    ),
    "a threshold of another unit": (
        {"require": "mass_kg < most", "thresholds": "{most: 5 mm}"},
        "require",
        "require: mass_kg is in kg and most in mm; < needs one unit",
    ),
    "a threshold that takes two units": (
        {"require": "mass_kg < most && gauge_length_mm < most", "thresholds": "{most: 5}"},
        "require",
        "require: gauge_length_mm is in mm and most in kg; < needs one unit",
    ),
    "a threshold that takes its unit too late": (
        {"require": "mass_kg < most / 2", "thresholds": "{most: 5}"},
        "require",
        "require: mass_kg is in kg and most / 2 in no unit; < needs one unit",
    ),
    "a threshold of an unknown unit": (
        {"require": "mass_kg < most", "thresholds": "{most: 5 stone}"},
        "thresholds",
        f"unknown unit 'stone'; there are: {_UNITS}",
    ),
    "a threshold half bounded": (
        {"require": "mass_kg < most", "thresholds": "{most: {value: 5, minimum: 1}}"},
        "thresholds",
        "thresholds.most: write both minimum and maximum, or neither",
    ),
    "a threshold out of its bounds": (
        {"require": "mass_kg < most", "thresholds": "{most: {value: 5, minimum: 6, maximum: 9}}"},
        "thresholds",
        "thresholds.most: 5 is not between 6 and 9",
    ),
    "a threshold that is a word": (
        {"require": "mass_kg < most", "thresholds": "{most: much}"},
        "thresholds",
        "thresholds.most: 'much' is not a number with its unit, such as 6000 rpm",
    ),
    "an unknown placeholder": (
        {"message": '"{masskg} kg"'},
        "message",
        "message has the placeholder {masskg}, neither a property of a component nor a threshold",
    ),
    "a format in a placeholder": (
        {"message": '"{mass_kg:.1f} kg"'},
        "message",
        "message: an unmatched brace; a placeholder is written {name}",
    ),
    "an unknown placeholder in the remedy": (
        {"remedy": '"Below {depth} kg."'},
        "remedy",
        "remedy has the placeholder {depth}, neither a property of a component nor a threshold",
    ),
    "an unknown observed value": (
        {"observed": "reach_mm"},
        "observed",
        "observed names 'reach_mm', which is neither a property nor a threshold",
    ),
    "a unit that is not the value's": (
        {"unit": "mm"},
        "unit",
        "observed mass_kg is in kg, the rule's unit is mm",
    ),
    "a code of the gate": (
        {"code": "GATE-900"},
        "code",
        "codes of the family GATE are those of the required data of a gate",
    ),
    "a code of the search": (
        {"code": "REQ-900"},
        "code",
        "codes of the family REQ are those of the requirement of a search",
    ),
    "a code out of form": (
        {"code": "shop10"},
        "code",
        "code must look like ^[A-Z]{2,5}-\\d{3}$, not 'shop10'",
    ),
    "a replacement of nothing": (
        {"replaces": "true"},
        "code",
        "replaces a rule that is in no earlier folder",
    ),
    "an unknown field": ({"reason": "x"}, "reason", "reason is not a known field"),
    "a field of the earlier language": ({"needs": "[mass_kg]"}, "needs", "needs is not a known field"),
    "an unknown severity": (
        {"severity": "fatal"},
        "severity",
        "severity must be one of 'error', 'warning' or 'advice', not 'fatal'",
    ),
    "an unknown kind of subject": (
        {"for": "spindle"},
        "for",
        "for must be one of 'stack', 'component', 'joint', 'operation' or 'part', not 'spindle'",
    ),
    "a safety mark in words": ({"safety": "'true'"}, "safety", "safety must be true or false, not 'true'"),
    "an empty source": ({"source": "' '"}, "source", "source must not be empty, not ' '"),
    "a condition that is a flag of YAML": ({"require": "true"}, "require", "require must be text, not True"),
}  # fmt: skip


@pytest.mark.parametrize(("changes", "field", "reason"), RULES.values(), ids=RULES)
def test_a_rule_that_makes_no_sense_is_refused(
    tmp_path: Path, changes: Mapping[str, str], field: str, reason: str
) -> None:
    """Refused once, with the line of the field (or of the rule where the field is not written) and what to write."""
    rule = {**RULE, **changes}
    text = written(rule)
    key = f"- {field}:" if field == "code" else f"    {field}:"
    line = 1 + next(number for number, one in enumerate(text.splitlines()) if key in one)
    assert problems_of(tmp_path, text) == (Problem(str(tmp_path / "book.yaml"), line, rule["code"], reason),)


FILES = {
    "a code used twice": (written(RULE, RULE), 15, "SHOP-010", "the code is already used: {folder}/book.yaml, line 5"),
    "a key written twice": (
        written(RULE).replace("    why:", "    title: x\n    why:"), 11, "", "the key 'title' is written twice",
    ),
    "an alias": (
        written(RULE).replace("title: A", "title: &a A").replace("source: common practice", "source: *a"),
        14, "", "an alias (*name) is not allowed; repeat the part",
    ),
    "a key that is no text": (
        written(RULE).replace("    why:", "    1: x\n    why:"), 11, "",
        "the key '1' is not plain text; put it in quotes",
    ),
    "an unknown version": (written(RULE).replace('"1"', '"2"'), 2, "", "version must be one of '1', not '2'"),
    "a version that is a number": (written(RULE).replace('"1"', "1"), 2, "", "version must be one of '1', not 1"),
    "an unknown head": (written(RULE).replace("title: One", "name: x\ntitle: One"), 3, "", "name is not a known field"),
}  # fmt: skip


@pytest.mark.parametrize(("text", "line", "code", "reason"), FILES.values(), ids=FILES)
def test_a_file_that_is_no_book_is_refused(tmp_path: Path, text: str, line: int, code: str, reason: str) -> None:
    """Refused with its line."""
    expected = Problem(str(tmp_path / "book.yaml"), line, code, reason.format(folder=tmp_path.name))
    assert problems_of(tmp_path, text) == (expected,)


@pytest.mark.parametrize(
    ("old", "new", "reason"),
    [
        ("why: The", "why: !!python/name:os.system The", "not readable as YAML"),
        ("why: The", "why: [The", "not readable as YAML"),
    ],
)
def test_what_is_no_plain_yaml_is_refused(tmp_path: Path, old: str, new: str, reason: str) -> None:
    """A tag of a program and an open bracket."""
    (problem,) = problems_of(tmp_path, written(RULE).replace(old, new))
    assert problem.reason.startswith(reason)
    assert problem.line in (11, 12)


def test_too_many_comparisons_are_refused(tmp_path: Path) -> None:
    """More than the engine carries in one rule; with the line of the rule."""
    (problem,) = problems_of(
        tmp_path, written({**RULE, "require": " && ".join(f"mass_kg != {number}" for number in range(11))})
    )
    assert (problem.line, problem.code) == (5, "SHOP-010")
    assert problem.reason == "11 comparisons in require, each value of a list counted; at most 10"


EXAMPLE: Final = "{fires: [{name: n, base: plain, set: {/stack/id: 5}}]}"


@pytest.mark.parametrize(
    ("old", "new", "reason"),
    [
        ("/stack/id: 5", "/stack/made: 2024-01-01", "put it in quotes if it is text"),
        ("/stack/id: 5", "/stack/id: [.nan]", "nan is not possible in a request"),
        ("/stack/id: 5", "stack: 5", "must look like ^/"),
        ("name: n, ", "", "name is missing"),
    ],
)
def test_an_example_that_no_request_can_have_is_refused(tmp_path: Path, old: str, new: str, reason: str) -> None:
    """With the line of the examples."""
    (problem,) = problems_of(tmp_path, written({**RULE, "examples": EXAMPLE.replace(old, new)}))
    assert reason in problem.reason
    assert (problem.line, problem.code) == (15, "SHOP-010")


def test_all_defects_are_told_at_once(tmp_path: Path) -> None:
    """Both expressions of a rule, a missing field in another and a duplicate code: four reasons in one go."""
    first = {**RULE, "where": "masskg > 1", "require": "mass_kg = 5"}
    second = {name: text for name, text in RULE.items() if name != "message"} | {"code": "SHOP-020"}
    third = {**RULE, "code": "SHOP-030"}
    problems = problems_of(tmp_path, written(first, second, third, third))
    assert [(problem.code, problem.reason) for problem in problems] == [
        ("SHOP-010", "where: a component has no masskg; did you mean mass_kg?"),
        ("SHOP-010", "require: column 9: '=' is not expected here; write == to compare"),
        ("SHOP-020", "message is missing"),
        ("SHOP-030", f"the code is already used: {tmp_path.name}/book.yaml, line 25"),
    ]


def test_a_problem_prints_as_compilers_print(tmp_path: Path) -> None:
    """File, line, rule, reason: an editor can jump to it."""
    (problem,) = problems_of(tmp_path, written({**RULE, "severity": "fatal"}))
    assert str(problem).startswith(f"{tmp_path / 'book.yaml'}:7: SHOP-010: severity must be one of ")
