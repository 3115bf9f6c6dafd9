"""Expressions of rules: text and tree, values known, missing and not there, units, plain words."""

from __future__ import annotations

import itertools
import random
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.rulebook.checking import Scope, in_words, read
from rules.rulebook.expression import (
    Arithmetic,
    Call,
    Comparison,
    Constant,
    Expression,
    ExpressionError,
    Gap,
    Join,
    Listing,
    Macro,
    Name,
    Negation,
    Result,
    Subjects,
    View,
    compiled,
    conjuncts,
    inner_names,
    joined,
    names_in,
    parse,
    text_of,
)
from tests.support.random_rules import TEXTS, random_rule
from tests.support.rulebooks import SmallView, component, joint, small_vocabulary

# --- text and tree -------------------------------------------------------------------------------------------------

_NAMES: Final = st.sampled_from(("a", "b_mm", "upper.side.size", "inner", "trueness", "labels.in"))
_NUMBERS: Final = st.floats(allow_nan=False, allow_infinity=False).map(lambda one: Constant(one + 0.0))
_WORDS: Final = st.one_of(
    st.sampled_from(TEXTS), st.text(st.characters(exclude_categories=("Cs", "Cc")), max_size=6)
).filter(lambda text: "\n" not in text)
_CONSTANTS: Final = st.one_of(_NUMBERS, _WORDS.map(Constant), st.booleans().map(Constant))
_LISTS: Final = st.lists(st.one_of(_NUMBERS, _WORDS.map(Constant)), min_size=1, max_size=3).map(
    lambda members: Listing(tuple(one.value for one in members))
)


def _join(sign: Any, members: list[Expression]) -> Expression:
    """Join them as the parser does: a join of the same sign inside is in brackets, so it stays."""
    return Join(sign, tuple(members))


def _larger(inner: st.SearchStrategy[Expression]) -> st.SearchStrategy[Expression]:
    return st.one_of(
        inner.map(Negation),
        st.builds(_join, st.sampled_from(("&&", "||")), st.lists(inner, min_size=2, max_size=3)),
        st.builds(Comparison, st.sampled_from(("==", "!=", "<", "<=", ">", ">=")), inner, inner),
        st.builds(Comparison, st.just("in"), inner, _LISTS),
        st.builds(Arithmetic, st.sampled_from("+-*/"), inner, inner),
        st.builds(Call, st.sampled_from(("mm", "um", "abs")), inner),
        st.builds(Call, st.sampled_from(("has", "stated")), _NAMES.map(Name)),
        st.builds(
            Macro, st.sampled_from(("components", "joints")), st.sampled_from(("all", "exists", "count")),
            st.just("one"), inner,
        ),
    )  # fmt: skip


_EXPRESSIONS: Final = st.recursive(st.one_of(_NAMES.map(Name), _CONSTANTS), _larger, max_leaves=12)


@settings(deadline=None, derandomize=True, max_examples=1_500)
@given(_EXPRESSIONS)
def test_the_text_of_an_expression_reads_as_the_same_expression(one: Expression) -> None:
    """First principles: brackets where they are needed, every number to its last bit, every sign in a text."""
    text = text_of(one)
    assert parse(text) == one
    assert text_of(parse(text)) == text


@pytest.mark.parametrize("seed", range(40))
def test_a_rule_reads_the_same_however_it_is_spaced(seed: int) -> None:
    """Without any blank beside signs, and over two lines."""
    text = random_rule(random.Random(seed), "TEST-001")["require"]
    assert parse(text.replace(" && ", "&&").replace(" || ", "\n||\t").replace(" < ", "<")) == parse(text)


@pytest.mark.parametrize(
    ("text", "same"),
    [
        ("a || b && c", "a || (b && c)"),
        ("a && b || c", "(a && b) || c"),
        ("!a && b", "(!a) && b"),
        ("!a.b == c", "(!a.b) == c"),
        ("a + b * c < d", "(a + (b * c)) < d"),
        ("a - b - c", "(a - b) - c"),
        ("a / b / c", "(a / b) / c"),
        ("a - b + c", "(a - b) + c"),
        ("a < b && c >= d", "(a < b) && (c >= d)"),
        ("a + 1 in [2, 3]", "(a + 1) in [2, 3]"),
        ("!!a", "!(!a)"),
        ("a * -2", "a * (-2)"),
        ("inner == trueness", "(inner)==(trueness)"),
    ],
)
def test_signs_bind_as_in_the_common_expression_language(text: str, same: str) -> None:
    """Literature: CEL specification, operators in order of precedence, all of them associative to the left."""
    assert parse(text) == parse(same)


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("1", 1.0), ("-1", -1.0), ("2.50", 2.5), ("1e3", 1000.0), ("1.5E-3", 0.0015), ("0.1", 0.1), ("true", True),
        ('"a"', "a"), ("'a'", "a"), ("'say \"a\"'", 'say "a"'), ('"say \\"a\\""', 'say "a"'), ('"a\\\\b"', "a\\b"),
        ('"it\'s"', "it's"), ("'it\\'s'", "it's"), ('""', ""), ('"µ"', "µ"), ('"\\\\\\""', '\\"'),
    ],
)  # fmt: skip
def test_a_constant_is_what_is_written(text: str, value: float | str | bool) -> None:
    """Numbers, flags, and texts in either quote with the two escapes."""
    assert parse(text) == Constant(value)


def test_names_are_those_of_the_subject_and_those_of_others() -> None:
    """In the order written, once; a list's name is none."""
    one = parse('b_mm < a && components.exists(c, c.x.y > b_mm && c.kind == "z" && d) || joints.all(j, j.k)')
    assert names_in(one) == ("b_mm", "a", "d")
    assert inner_names(one) == {("component", "x.y"), ("component", "kind"), ("joint", "k")}
    assert [text_of(part) for part in conjuncts(parse("a && (b && c) && (d || e)"))] == ["a", "b", "c", "d || e"]
    assert conjuncts(None) == ()


# --- values --------------------------------------------------------------------------------------------------------

GAP: Final = Gap({"g": ("/g",)})
HELD: Final[dict[str, Result]] = {"t": True, "f": False, "g": GAP, "h": Gap({"h": ("/h",)}), "n": None, "two": 2.0,
                                  "zero": 0.0, "text": "a", "huge": 1e300}  # fmt: skip
"""True, false, two gaps, one that does not exist, and some values."""


@dataclass
class Held:
    """The view of a subject with these values; others have their own."""

    values: dict[str, Result]
    others: tuple[dict[str, Result], ...] = ()
    shared: Subjects[View] | None = None

    def get(self, name: str) -> Result:
        return self.values.get(name)

    def subjects(self, over: str) -> list[View]:
        if self.shared is not None:
            return self.shared
        return [Held(one) for one in self.others] if over == "components" else []


@dataclass
class Counted(Held):
    """One that counts what is read of it."""

    asked: int = 0

    def get(self, name: str) -> Result:
        self.asked += 1
        return super().get(name)


AND: Final = {
    "tt": "t", "tf": "f", "tg": "g", "tn": "n",
    "ft": "f", "ff": "f", "fg": "f", "fn": "f",
    "gt": "g", "gf": "f", "gg": "g", "gn": "n",
    "nt": "n", "nf": "f", "ng": "n", "nn": "n",
}  # fmt: skip
OR: Final = {
    "tt": "t", "tf": "t", "tg": "t", "tn": "t",
    "ft": "t", "ff": "f", "fg": "g", "fn": "n",
    "gt": "t", "gf": "g", "gg": "g", "gn": "n",
    "nt": "t", "nf": "n", "ng": "n", "nn": "n",
}  # fmt: skip


@pytest.mark.parametrize(("sign", "table"), [("&&", AND), ("||", OR)])
def test_a_join_has_its_table(sign: str, table: dict[str, str]) -> None:
    """Written by hand: a member that decides decides; else what does not exist goes before what is missing."""
    assert len(table) == 16
    for (left, right), found in table.items():
        assert compiled(parse(f"{left} {sign} {right}"))(Held(HELD), {}) == HELD[found], (left, sign, right)


@pytest.mark.parametrize("sign", ["&&", "||"])
def test_the_order_of_members_changes_nothing(sign: str) -> None:
    """Of three, whatever they are."""
    for members in itertools.product("tfgn", repeat=3):
        found = {
            repr(compiled(parse(f" {sign} ".join(one)))(Held(HELD), {})) for one in itertools.permutations(members)
        }
        assert len(found) == 1


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("!t", False), ("!f", True), ("!g", GAP), ("!n", None),
        ("two < 3", True), ("two < 2", False), ("two <= 2", True), ("two > 2", False), ("two >= 2", True),
        ("two == 2", True), ("two != 2", False), ("3 > two", True),
        ("g < 3", GAP), ("n < 3", None), ("g < n", None), ("n < g", None), ("g < h", Gap({"g": ("/g",), "h": ("/h",)})),
        ("two in [1, 2]", True), ("two in [1, 3]", False), ("g in [1]", GAP), ("n in [1]", None),
        ('text == "a"', True), ('text in ["b"]', False),
        ("two + 1 == 3", True), ("two - 1 == 1", True), ("two * two == 4", True), ("1 / two == 0.5", True),
        ("two / zero < 1", Gap({})), ("zero / zero < 1", Gap({})), ("huge * huge > 1", Gap({})),
        ("g + 1 < 3", GAP), ("n + g < 3", None), ("two / g < 1", GAP),
        ("two / zero < 1 || t", True), ("two / zero < 1 && t", Gap({})),
        ("abs(two - 5) == 3", True), ("abs(g) == 3", GAP), ("abs(n) == 3", None), ("-two == -2", True),
        ("has(two)", True), ("has(g)", True), ("has(n)", False), ("has(f)", True),
        ("stated(two)", True), ("stated(g)", False), ("stated(n)", False), ("stated(f)", True),
        ("has(n) && n < 3", False), ("!has(n) || n < 3", True), ("stated(g) && g < 3", False),
        ("t == true", True), ("f == t", False), ("g == t", GAP),
    ],
)  # fmt: skip
def test_an_expression_has_the_value_that_follows_from_its_parts(text: str, value: Result) -> None:
    """Written by hand."""
    assert compiled(parse(text))(Held(HELD), {}) == value


def others(shape: str) -> tuple[dict[str, Result], ...]:
    return tuple({"x": HELD[one]} for one in shape)


@pytest.mark.parametrize(
    ("shape", "every", "some", "count"),
    [
        ("", True, False, 0.0),
        ("t", True, True, 1.0),
        ("tt", True, True, 2.0),
        ("tf", False, True, 1.0),
        ("ff", False, False, 0.0),
        # one that does not exist is not asked
        ("n", True, False, 0.0),
        ("tn", True, True, 1.0),
        ("fn", False, False, 0.0),
        ("tg", GAP, True, GAP),
        ("fg", False, GAP, GAP),
        ("gn", GAP, GAP, GAP),
        ("tfg", False, True, GAP),
        ("gg", GAP, GAP, GAP),
    ],
)
def test_a_question_to_several_has_its_table(shape: str, every: Result, some: Result, count: Result) -> None:
    """Written by hand; the order of the subjects changes nothing."""
    for order in itertools.permutations(shape):
        view = Held(HELD, others("".join(order)))
        for method, expected in (("all", every), ("exists", some)):
            assert compiled(parse(f"components.{method}(c, c.x)"))(view, {}) == expected
        assert compiled(parse("components.filter(c, c.x).size()"))(view, {}) == count


def test_a_question_to_several_sees_the_subject_of_the_rule_too() -> None:
    """And a threshold; a variable hides nothing of the subject but names that begin with it."""
    view = Held({"x": 2.0, "c2.x": 9.0}, ({"x": 1.0}, {"x": 3.0}))
    (one,) = [parse("components.exists(c, c.x > x + most && c2.x == 9)")]
    limited = read("components.exists(c, c.mass_kg > most)", Scope("stack", small_vocabulary(), {"most": Bare()}))
    assert compiled(one)(Held({**view.values, "most": 0.5}, view.others), {}) is True
    heavy = Held({}, ({"mass_kg": 3.0},))
    assert [compiled(limited.expression)(heavy, {"most": most}) for most in (2.0, 3.0)] == [True, False]


@dataclass
class Bare:
    """A threshold without a unit, or with one."""

    unit: str | None = None


def test_subjects_answer_a_question_once() -> None:
    """What differs by a list of the same name, by a threshold or by who asks is another question."""
    words = small_vocabulary()
    one = Counted({"mass_kg": 3.0, "component_kind": "collet"})
    all_there_are: Subjects[View] = Subjects([one])
    asking = [Held({"total_mass_kg": mass}, shared=all_there_are) for mass in (2.0, 4.0)]

    def ask(text: str, view: View, *right: str, most: float = 0.0) -> Result:
        scope = Scope("stack", words, {"most": Bare()}, {"right": right or ("collet",)})
        return compiled(read(text, scope).expression)(view, {"most": most})

    for view in asking:
        assert ask("components.all(c, c.component_kind in right)", view) is True
        assert ask("components.all(c, c.component_kind in right)", view, "extension") is False
        assert [ask("components.exists(c, c.mass_kg > most)", view, most=most) for most in (2.0, 3.0)] == [True, False]
    assert one.asked == 4
    assert [ask("components.all(c, c.mass_kg > total_mass_kg)", view) for view in asking] == [True, False]


def test_gaps_of_one_name_keep_the_fields_of_every_subject() -> None:
    """Two components without length: both places to state it are told, each once."""
    view = Held({}, tuple({"x": Gap({"x": (f"/{place}", "/both")})} for place in "ab"))
    assert compiled(parse("components.all(c, c.x < 1)"))(view, {}) == Gap({"x": ("/a", "/both", "/b")})
    assert joined([]) == {}


def test_a_listing_has_no_value_of_its_own() -> None:
    """It stands only beside in."""
    with pytest.raises(TypeError):
        compiled(Listing((1.0,)))


# --- units ---------------------------------------------------------------------------------------------------------


def scope(kind: str = "component", **thresholds: str | None) -> Scope:
    return Scope(kind, small_vocabulary(), {name: Bare(unit) for name, unit in thresholds.items()})


@pytest.mark.parametrize(
    ("text", "unit"),
    [
        ("length_mm", "mm"),
        ("length_mm + 2 * diameter_mm", "mm"),
        ("length_mm * diameter_mm", "mm2"),
        ("length_mm * diameter_mm / diameter_mm", "mm"),
        ("length_mm / diameter_mm", None),
        ("mass_kg / length_mm", "kg/mm"),
        ("1 / length_mm", "1/mm"),
        ("machine.power_kw / mass_kg / length_mm", "kW/kg mm"),
        ("um(length_mm)", "um"),
        ("mm(machine.runout_um)", "mm"),
        ("mm(length_mm)", "mm"),
        ('um("1 in")', "um"),
        ("abs(length_mm - 3)", "mm"),
        ("slenderness * length_mm", "mm"),
        ("components.filter(c, c.balanced).size()", None),
        ("-length_mm", "mm"),
    ],
)
def test_a_number_has_the_unit_of_its_parts(text: str, unit: str | None) -> None:
    """First principles: sums keep the unit, products and quotients add and subtract the powers."""
    found = read(text, scope())
    assert (found.type, found.unit) == ("number", unit)


@pytest.mark.parametrize(
    ("text", "value"),
    [('mm("1/4 in")', 6.35), ('um("1/4 in")', 6350.0), ('mm("1 1/2 in")', 38.1), ('mm("12.5 mm")', 12.5)],
)
def test_a_length_in_text_is_converted_once(text: str, value: float) -> None:
    """Exact: an inch is 25.4 mm."""
    found = read(text, scope()).expression
    assert isinstance(found, Constant)
    assert found.value == pytest.approx(value, rel=1e-15)


def test_lengths_are_converted_by_a_thousand() -> None:
    """Exact, in both directions."""
    view = SmallView(component(length_mm=2.5), stated={"machine.runout_um": 40.0})
    for text in ("um(length_mm) == 2500", "mm(machine.runout_um) == 0.04", "mm(length_mm) == 2.5"):
        assert compiled(read(text, scope()).expression)(view, {}) is True


def test_a_threshold_takes_the_unit_of_what_it_meets() -> None:
    """On either side, through a bare number's place too, and keeps its own if it has one."""
    for text, unit in (("length_mm < most", "mm"), ("most > mass_kg", "kg"), ("slenderness < most", "ratio"),
                       ("length_mm / mass_kg < most", "mm/kg"), ("length_mm + most < 5", "mm")):  # fmt: skip
        names = scope(most=None)
        read(text, names)
        assert names.units == {"most": unit}
    with pytest.raises(ExpressionError, match="length_mm is in mm and most in kg"):
        read("length_mm < most", scope(most="kg"))


# --- words ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("kind", "text", "words"),
    [
        ("joint", "grip_length_mm >= minimum_grip_mm",
         "Length of shank really held. is at least Length that must be held."),
        ("component", "length_mm < most", "Length. is less than 4 mm (most)"),
        ("component", "length_mm < most && (balanced || mass_kg > 2)",
         "Length. is less than 4 mm (most) and (Balanced as a single piece. or Mass. is more than 2 kg)"),
        ("component", "!balanced", "not (Balanced as a single piece.)"),
        ("component", "balanced == false", "not (Balanced as a single piece.)"),
        ("component", "balanced != false", "Balanced as a single piece."),
        ("component", 'tolerance in ["h6", "h_5"]', "Tolerance class of the shank. is one of h6, h 5"),
        ("component", "abs(length_mm - diameter_mm) <= 1", "the magnitude of Length. less Diameter. is at most 1 mm"),
        ("component", "length_mm / diameter_mm != 3", "Length. over Diameter. is not 3"),
        ("component", "has(length_mm)", "there is: Length."),
        ("component", "stated(length_mm)", "stated: Length."),
        ("stack", "components.all(c, c.mass_kg < 2)", "of every component: Mass. is less than 2 kg"),
        ("stack", "joints.exists(j, j.sealed)", "of some joint: The joint is sealed."),
        ("stack", "components.filter(c, c.balanced).size() >= 2",
         "the number of components of which: Balanced as a single piece. is at least 2"),
    ],
)  # fmt: skip
def test_a_condition_reads_in_words(kind: str, text: str, words: str) -> None:
    """Each name by its meaning in the vocabulary, each threshold with its value."""
    names = scope(kind, most=None)
    assert in_words(read(text, names).expression, names, {"most": 4.0}) == words.replace(" or ", ", or ")


def test_every_random_condition_reads_in_words() -> None:
    """No sign of the language is left over, whatever is written."""
    for text, kind, thresholds in _random_conditions(150):
        names = Scope(kind, small_vocabulary(), {name: Bare() for name in thresholds})
        try:
            found = read(text, names)
        except ExpressionError:
            continue  # a list has no entry here
        words = in_words(found.expression, names)
        assert words
        assert not {"&&", "||", "==", "!=", "<=", ">="} & set(words.split())


def _random_conditions(count: int) -> Iterator[tuple[str, str, list[str]]]:
    for seed in range(count):
        rule = random_rule(random.Random(seed), "TEST-001")
        yield rule["require"], rule["for"], list(rule["thresholds"])


def test_a_view_of_the_tests_sees_what_a_subject_sees() -> None:
    """The support for the tests above: own properties first, then what is stated; all subjects of a sort."""
    facts = [component("a", mass_kg=1.0), joint("a/b", ("clamped",)), component("b")]
    view = SmallView(facts[1], facts, {"machine.power_kw": 5.0})
    assert view.get("clamped") == Gap({"clamped": ("/joints/0/clamped",)})
    assert (view.get("upper"), view.get("machine.power_kw"), view.get("sealed")) == ("a", 5.0, None)
    assert [one.get("component") for one in view.subjects("components")] == ["a", "b"]
