"""The sentences of the work instruction are complete and use known names only."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from rules.assembly.joint_values import JOINT_WORDS
from rules.assembly.sentences import Number, Sentence, StepWords, Words, instruction, say
from rules.couplings.sides import COUPLINGS
from rules.quantities.missing import Missing
from tests.support.stacks import assessor


def _names(sentences: tuple[Sentence, ...]) -> Iterator[str]:
    for one in sentences:
        yield from one.needs
        if one.otherwise is not None:
            yield from _names((one.otherwise,))


def _steps() -> Iterator[tuple[str, StepWords]]:
    for name, entry in instruction().couplings.items():
        for step in (*entry.build, *entry.open):
            yield name, step


def test_every_coupling_has_words() -> None:
    """Every coupling is told, and no other beside 'unknown'."""
    assert set(instruction().couplings) == {*COUPLINGS, "unknown"}


def test_sentences_of_joints_name_known_words_only() -> None:
    """A misspelt name would silence a sentence for ever."""
    known = JOINT_WORDS
    for coupling, step in _steps():
        maker = [name for one in step.maker for name in (one.when, one.unless) if name is not None]
        unknown = {*_names(step.sentences), *step.values, *maker} - known
        assert not unknown, (coupling, step.action)


def test_no_word_is_idle() -> None:
    """Every word that the code can find is used by some sentence; the torque of a joint includes a part's."""
    used = {name for _, step in _steps() for name in (*_names(step.sentences), *step.values)}
    assert JOINT_WORDS - used <= {"joint", "tightening_torque"}


@pytest.mark.parametrize("name", COUPLINGS)
def test_every_coupling_is_joined_and_opened_once(name: str) -> None:
    """One step joins and one opens; what the collet waits for comes last."""
    entry = instruction().couplings[name]
    assert [step.action for step in entry.build].count("join") == 1
    assert [step.action for step in entry.open].count("open") == 1
    assert not next(step for step in entry.build if step.action == "join").deferred


def test_codes_exist() -> None:
    """Rules that are named stand in the rulebooks."""
    codes = {rule.code for rule in assessor().book.rules}
    assert instruction().not_of_joining | instruction().knob_codes <= codes


def _sentence(text: str, *needs: str, otherwise: Sentence | None = None) -> Sentence:
    return Sentence(needs, text, otherwise)


def test_sentence_stands_only_where_all_is_known() -> None:
    """Known: said. Lacking: its fallback, and the field named. Of no concern: silence, and nothing named."""
    found = {"a": Number("a", "mm", 2.5), "b": Missing(("/b",)), "c": None}
    words = Words({"x": "X"}, found.get)
    missing: list[str] = []
    assert say([_sentence("{x} has {a}.", "x", "a")], words, missing) == "X has 2.5 mm."
    assert say([_sentence("{b}", "b", otherwise=_sentence("unknown"))], words, missing) == "unknown"
    assert missing == ["/b"]
    assert say([_sentence("{b} {c}", "b", "c")], words, missing) == ""
    assert missing == ["/b"]


@pytest.mark.parametrize(
    ("number", "text"),
    [
        (Number("", "mm", 12.3456), "12.346 mm"),
        (Number("", "um", 3.0), "3 µm"),
        (Number("", "deg", -90.0), "-90°"),
        (Number("", "s", None, 7, 10), "7 to 10 s"),
        (Number("", "mm", 50.8, tolerance=0.5), "50.8 ± 0.5 mm"),
        (Number("", "mm", 50.8, in_inches=True), "50.8 mm (2 in)"),
        (Number("", "mm", 26.9875, tolerance=0.2, in_inches=True), "26.988 ± 0.2 mm (1.0625 in)"),
        (Number("", "N m", 40.0, in_inches=True), "40 N m"),
        (Number("", None, 2), "2"),
    ],
)
def test_numbers_as_people_read_them(number: Number, text: str) -> None:
    """Value with its unit, else its bounds."""
    assert number.text() == text
