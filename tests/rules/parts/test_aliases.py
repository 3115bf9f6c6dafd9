"""The operator's alias file: house names for designations and standard parts."""

from __future__ import annotations

import pickle
from pathlib import Path
from typing import Any

import pytest

from rules.assessor import Assessor
from rules.parts.aliases import Aliases, load_aliases
from rules.rulebook.source import RulebookError
from rules.schema.parsing import parse_request
from rules.schema.short_form import full_form

_FILE = """\
- {pattern: KB-CONE 63, becomes: HSK-A63, reason: name on the drawings of the shop}
- {pattern: KC 32/*, becomes: "iso15488:32:*", reason: collets of the shelf}
- {pattern: Q*, becomes: PSC *, reason: polygonal sizes as the shop writes them}
- {pattern: Q4, becomes: PSC 40, reason: the trade's short size}
"""


@pytest.fixture(scope="module")
def file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("aliases") / "aliases.yaml"
    path.write_text(_FILE, encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def aliases(file: Path) -> Aliases:
    return load_aliases(file)


@pytest.mark.parametrize(
    ("name", "becomes"),
    [
        ("KB-CONE 63", "HSK-A63"),
        ("kb cone63", "HSK-A63"),
        ("KBCONE6", None),
        ("KB-CONE 634", None),
        ("kc-32/12", "iso15488:32:12"),
        ("KC32/4,5", "iso15488:32:4.5"),
        ("KC32/", None),
        ("KC32/x", None),
        ("KC32/12x", None),
        ("KC32/1.2.3", None),
        ("KC32/²", None),
        ("KC32/123456789", None),
        ("Q63", "PSC 63"),
        ("Q4", "PSC 40"),
        ("Q", None),
        ("", None),
        ("*", None),
    ],
)
def test_a_name_stands_for_its_target(aliases: Aliases, name: str, becomes: str | None) -> None:
    """Whatever its case, blanks and hyphens; a wildcard is one number, and a pattern without one goes first."""
    assert aliases.of(name) == becomes


_OVERLAPPING = "- {pattern: KB 1*, becomes: PSC *, reason: x}\n- {pattern: KB *, becomes: PSC *, reason: x}\n"


def test_two_targets_are_none(tmp_path: Path) -> None:
    """The same name with two meanings is not known."""
    path = tmp_path / "a.yaml"
    path.write_text(_OVERLAPPING, encoding="utf-8")
    found = load_aliases(path)
    assert (found.of("KB 163"), found.of("KB 63")) == (None, "PSC 63")


_ROW = "{pattern: KB1, becomes: HSK-A63, reason: x}"


_DEFECTS = [
    ("pattern: x", 1, "a list of aliases is expected"),
    ("- {pattern: KB1, becomes: HSK-A63}", 1, "reason: Field required"),
    ("- {pattern: KB1, becomes: HSK-A63, reason: x, until: never}", 1, "until: Extra inputs"),
    ("- {pattern: KB1, becomes: HSK-A63, reason: ''}", 1, "reason: String should have at least 1 character"),
    (f"- {{pattern: {'k' * 65}, becomes: HSK-A63, reason: x}}", 1, "pattern: String should have at most 64"),
    (f"- {_ROW}\n- {{pattern: kb-1, becomes: PSC 63, reason: x}}", 2, "'kb-1' stands in line 1 already"),
    ("- {pattern: KB1, becomes: nonsense, reason: x}", 1, "is no designation and no standard part"),
    ('- {pattern: KB1, becomes: "iso15488:32:40", reason: x}', 1, "is no designation and no standard part"),
    ("- {pattern: KB*, becomes: nonsense *, reason: x}", 1, "is no designation and no standard part"),
    (f"- {_ROW}\n- {{pattern: KB2, becomes: KB1, reason: x}}", 2, "is another alias; name its target"),
    ("- {pattern: KB1, becomes: kb 1, reason: x}", 1, "a loop: 'KB1' becomes 'kb 1'"),
    (
        "- {pattern: KB1, becomes: KB2, reason: x}\n- {pattern: KB2, becomes: KB1, reason: x}",
        1,
        "a loop: 'KB1' becomes 'KB2' becomes 'KB1'",
    ),
    ("- {pattern: HSK-A63, becomes: BT40, reason: x}", 1, "is a designation or part of a standard"),
    ('- {pattern: "iso15488:32:12", becomes: "iso15488:32:10", reason: x}', 1, "is a designation or part"),
    ("- {pattern: K*B*, becomes: PSC *, reason: x}", 1, "one * in the pattern at most"),
    ("- {pattern: KB, becomes: PSC *, reason: x}", 1, "one * in the pattern at most"),
    ("- {pattern: '*', becomes: PSC *, reason: x}", 1, "has no letter or digit of its own"),
    ("- {pattern: ' - ', becomes: PSC 63, reason: x}", 1, "has no letter or digit of its own"),
    ("- {pattern: KB1, pattern: KB2, becomes: PSC 63, reason: x}", 1, "'pattern'"),
    ("- [", 2, "not readable as YAML"),
    ("\n".join(f"- {{pattern: K{n}k, becomes: PSC 63, reason: x}}" for n in range(1001)), 1, "1001 aliases"),
]


@pytest.mark.parametrize(("text", "line", "reason"), _DEFECTS)
def test_a_defect_stops_the_start(tmp_path: Path, text: str, line: int, reason: str) -> None:
    """With file, line and a sentence."""
    path = tmp_path / "aliases.yaml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(RulebookError) as caught:
        Assessor.load(aliases=path)
    problem = caught.value.problems[0]
    assert (problem.file, problem.line) == (str(path), line)
    assert reason in problem.reason


def test_a_file_that_is_not_there_stops_the_start(tmp_path: Path) -> None:
    """A misspelt path is no empty file."""
    with pytest.raises(RulebookError, match="can't be read"):
        load_aliases(tmp_path / "none.yaml")


def _request(holder_side: str, collet: str) -> dict[str, Any]:
    return full_form(
        {
            "stack": [
                {"kind": "base_holder", "machine_side": holder_side, "workpiece_side": "ER 32", "gauge_length_mm": 100},
                {"part": collet, "id": "collet", "mass_kg": 0.2},
                {"part": "din6535:HA12:83", "cutting_diameter_mm": 12, "projection_mm": 40},
            ]
        }
    )


def test_the_report_is_that_of_the_target_and_says_so(file: Path) -> None:
    """Every section but provenance and what was understood; the statement on the part stays."""
    named = Assessor.load(aliases=file)
    house = named.assess(parse_request(_request("kb cone 63", "KC32/12")))
    plain = named.assess(parse_request(_request("HSK-A63", "iso15488:32:12")))
    told = {one.at: one for one in house.understood}
    end, key = told["/stack/components/0/machine_side"], told["/stack/components/1/of/key"]
    assert (end.designation, end.became) == ("kb cone 63", "HSK-A63")
    assert end.understood_as == next(iter(plain.understood)).understood_as
    assert (key.designation, key.became) == ("KC32/12", "iso15488:32:12")
    assert key.understood_as is not None
    kept = {"provenance", "understood"}
    assert house.model_dump(exclude=kept) == plain.model_dump(exclude=kept)
    assert house.provenance.aliases_sha256 == load_aliases(file).digest
    assert [one.became for one in plain.understood] == [None, None]


def test_without_the_file_a_house_name_is_not_known() -> None:
    """The end counts as not stated, and the part is not defined; no digest is named."""
    plain = Assessor.load()
    report = plain.assess(parse_request(_request("kb cone 63", "iso15488:32:12")))
    assert report.understood[0].understood_as is None
    assert report.provenance.aliases_sha256 is None
    report = plain.assess(parse_request(_request("HSK-A63", "KC32/12")))
    assert "REF-010" in [one.code for one in report.findings]


def test_an_unknown_target_of_a_wildcard_is_undecided(file: Path) -> None:
    """The alias is told, and the end counts as not stated."""
    report = Assessor.load(aliases=file).assess(parse_request(_request("Q41", "iso15488:32:12")))
    assert (report.understood[0].became, report.understood[0].understood_as) == ("PSC 41", None)


def test_the_catalogue_goes_before_an_alias(file: Path, tmp_path: Path) -> None:
    """A key that the catalogue defines is that part."""
    catalogue = tmp_path / "parts.yaml"
    catalogue.write_text("KC32-12: {kind: collet, id: c}", encoding="utf-8")
    own = Assessor.load(catalogue=tmp_path, aliases=file)
    report = own.assess(parse_request(_request("HSK-A63", "KC32-12")))
    assert [one.became for one in report.understood if one.became] == []


def test_an_alias_file_travels_with_the_rules(aliases: Aliases) -> None:
    """To the workers of server and batch."""
    assert pickle.loads(pickle.dumps(aliases)) == aliases  # noqa: S301 - made here
