"""The vocabulary file: closed, typed, with units that match the names."""

from __future__ import annotations

from pathlib import Path

import pytest

from rules.rulebook.source import RulebookError
from rules.rulebook.vocabulary import load_vocabulary
from tests.support.rulebooks import BOOKS, small_vocabulary

GOOD = """\
stack:
  stack: {type: text, unit: none, meaning: Its name., always: true}
component:
  component: {type: text, unit: none, meaning: Its name., always: true}
joint:
  joint: {type: text, unit: none, meaning: Its name., always: true}
  grip_length_mm: {type: number, unit: mm, meaning: Length held.}
operation:
  stack: {type: text, unit: none, meaning: Its name., always: true}
"""


def test_a_vocabulary_knows_its_properties_by_kind() -> None:
    """Type, unit and presence of each; a kind nobody knows has none."""
    grip = small_vocabulary().of("joint")["grip_length_mm"]
    assert (grip.type, grip.unit, grip.always) == ("number", "mm", False)
    assert small_vocabulary().of("joint")["upper"].always
    assert "grip_length_mm" not in small_vocabulary().of("component")
    assert "joint" not in small_vocabulary().of("spindle")
    assert small_vocabulary().file == str(BOOKS / "vocabulary.yaml")


@pytest.mark.parametrize(
    ("old", "new", "line", "reason"),
    [
        ("unit: mm", "unit: inch", 7, "unit must be one of"),
        ("unit: mm", "unit: um", 7, "ends in _mm but has the unit um"),
        ("grip_length_mm", "holding_n_m", 7, "holding_n_m ends in _n_m but has the unit mm"),
        ("grip_length_mm", "Grip", 7, "'Grip' is not a name for a property"),
        ("grip_length_mm", "grip.mm", 7, "'grip.mm' is not a name for a property"),
        ("grip_length_mm", "has", 7, "'has' cannot be the name of a property"),
        ("grip_length_mm", "labels", 7, "'labels' cannot be the name of a property"),
        ("type: number, unit: mm", "type: text, unit: mm", 7, "a text has no unit"),
        ("type: number", "type: date", 7, "type must be one of"),
        ("meaning: Length held.", "always: true, meaning: x", 7, "only a text can be present always"),
        (", meaning: Length held.", "", 7, "meaning is missing"),
        ("meaning: Length held.", "meaning: ''", 7, "meaning must not be empty"),
        ("meaning: Length held.", "note: x", 7, "note is not a known field"),
        ("  grip_length_mm", "  joint", 7, "the key 'joint' is written twice"),
        ("operation:", "spindle:", 1, "operation is missing"),
        ("{type: number, unit: mm, meaning: Length held.}", "mm", 7, "must be a mapping"),
    ],
)
def test_a_broken_vocabulary_is_refused_with_line_and_reason(
    tmp_path: Path, old: str, new: str, line: int, reason: str
) -> None:
    """As a rulebook is."""
    file = tmp_path / "vocabulary.yaml"
    file.write_text(GOOD.replace(old, new), encoding="utf-8")
    with pytest.raises(RulebookError) as caught:
        load_vocabulary(file)
    found = [(problem.file, problem.line) for problem in caught.value.problems if reason in problem.reason]
    assert found == [(str(file), line)], str(caught.value)


def test_the_unspoilt_vocabulary_loads(tmp_path: Path) -> None:
    """Every refusal above comes from its one change."""
    file = tmp_path / "vocabulary.yaml"
    file.write_text(GOOD, encoding="utf-8")
    assert load_vocabulary(file).of("joint").keys() == {"joint", "grip_length_mm"}
