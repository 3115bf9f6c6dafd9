"""The sentences of the work instruction are complete and use known names only."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from rules.assembly.joint_values import JOINT_WORDS
from rules.assembly.sentences import Number, Sentence, StepWords, Words, coupling_cautions, instruction, say
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
        maker = [one.when for one in step.maker if one.when is not None]
        unknown = {*_names(step.sentences), *step.values, *maker} - known
        assert not unknown, (coupling, step.action)


def test_no_word_is_idle() -> None:
    """Every word that the code can find is used by some sentence."""
    used = {name for _, step in _steps() for name in (*_names(step.sentences), *step.values)}
    assert JOINT_WORDS - used <= {"joint"}


@pytest.mark.parametrize("name", COUPLINGS)
def test_every_coupling_is_joined_and_opened_once(name: str) -> None:
    """One step joins and one opens; what the collet waits for comes last."""
    entry = instruction().couplings[name]
    assert [step.action for step in entry.build].count("join") == 1
    assert [step.action for step in entry.open].count("open") == 1
    assert not next(step for step in entry.build if step.action == "join").deferred


@pytest.mark.parametrize("name", ["press_collet", "nut_collet", "hydraulic", "shrink_fit"])
def test_couplings_with_cautions_have_a_place_for_them(name: str) -> None:
    """A caution of cautions.yaml that no step carries would be lost."""
    entry = instruction().couplings[name]
    assert coupling_cautions(name)
    assert any(step.caution for step in entry.build)


def test_every_caution_about_a_coupling_has_a_step() -> None:
    """A new coupling in cautions.yaml wants a step that carries it."""
    for name in COUPLINGS:
        entry = instruction().couplings[name]
        assert bool(coupling_cautions(name)) == any(step.caution for step in entry.build)


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
        (Number("", None, 2), "2"),
    ],
)
def test_numbers_as_people_read_them(number: Number, text: str) -> None:
    """Value with its unit, else its bounds."""
    assert number.text() == text
