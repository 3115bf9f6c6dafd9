"""The component catalogue: files read, and faults rejected with file and line."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from rules.exchange.catalogue import load_catalogue
from rules.exchange.documents import NO_CATALOGUE, CatalogueError
from rules.schema.components import Collet, Cutter

COLLET = {"id": "collet-1", "kind": "collet", "mass_kg": 0.1}


def _problems(folder: Path) -> list[str]:
    with pytest.raises(CatalogueError) as caught:
        load_catalogue(folder, strict=True)
    return [str(problem).removeprefix(f"{folder}/") for problem in caught.value.problems]


def test_three_forms_in_one_folder(tmp_path: Path) -> None:
    """JSON by key, YAML as a list by id, CSV under heads of ISO 13399, in folders as deep as wanted."""
    (tmp_path / "a.json").write_text(json.dumps({"KB-C1": COLLET}))
    (tmp_path / "deeper").mkdir()
    (tmp_path / "deeper" / "b.yaml").write_text("- {id: KB-C2, kind: collet, mass_kg: 0.2}\n")
    (tmp_path / "c.csv").write_text("ID,KIND,DC,NOF\nKB-EM8,cutter,8,4\n")
    found = load_catalogue(tmp_path).definitions.components
    assert list(found) == ["KB-C1", "KB-EM8", "KB-C2"]
    assert isinstance(found["KB-C2"][0], Collet)
    cutter = found["KB-EM8"][0]
    assert isinstance(cutter, Cutter)
    assert (cutter.cutting_diameter_mm, cutter.teeth) == (8, 4)


def test_a_key_defined_twice_is_kept_twice(tmp_path: Path) -> None:
    """Which of the two is meant is asked when a stack refers to it."""
    (tmp_path / "a.json").write_text(json.dumps({"KB-C1": COLLET}))
    (tmp_path / "b.json").write_text(json.dumps([COLLET | {"id": "KB-C1"}]))
    assert len(load_catalogue(tmp_path).definitions.components["KB-C1"]) == 2


def test_a_machine_stands_among_the_components(tmp_path: Path) -> None:
    """Its kind tells it from them; its limits are in force for a request that refers to it."""
    (tmp_path / "a.json").write_text(json.dumps({"KB-C1": COLLET, "mill-3": {"kind": "stated", "max_speed_rpm": 9000}}))
    found = load_catalogue(tmp_path).definitions
    assert list(found.components) == ["KB-C1"]
    assert [one.max_speed_rpm for one in found.machines["mill-3"]] == [9000]


def test_digest_tells_the_content_not_the_files(tmp_path: Path) -> None:
    """The same components in other files give the same digest; another mass another one; none no digest."""
    (tmp_path / "one").mkdir()
    (tmp_path / "two").mkdir()
    (tmp_path / "three").mkdir()
    (tmp_path / "four").mkdir()
    (tmp_path / "one" / "a.json").write_text(json.dumps({"A": COLLET, "B": COLLET}))
    (tmp_path / "two" / "a.yaml").write_text(json.dumps({"B": COLLET}))
    (tmp_path / "two" / "b.json").write_text(json.dumps({"A": COLLET}))
    (tmp_path / "three" / "a.json").write_text(json.dumps({"A": COLLET, "B": COLLET | {"mass_kg": 0.11}}))
    digests = [load_catalogue(tmp_path / name).digest for name in ("one", "two", "three", "four")]
    assert digests[0] == digests[1] != digests[2]
    assert digests[3] is None is NO_CATALOGUE.digest


def test_every_defect_is_told_with_file_and_line(tmp_path: Path) -> None:
    """All at once, so that one start shows what is to be mended."""
    keyed = '{"K1": {"id": "collet-1", "kind": "collet"},\n "K2": {"id": "collet-2", "kind": "colet"}}'
    (tmp_path / "a.json").write_text(keyed)
    (tmp_path / "b.yaml").write_text("- {kind: collet}\n- {id: KB-3, kind: collet, mas_kg: 1}\n")
    (tmp_path / "c.yaml").write_text("A: {id: a, kind: collet}\nA: {id: a, kind: collet}\n")
    (tmp_path / "d.json").write_text("3")
    (tmp_path / "e.txt").write_text("")
    problems = _problems(tmp_path)
    assert [problem.split(": ")[0] for problem in problems] == [
        "a.json:2", "b.yaml:1", "b.yaml:2", "c.yaml:2", "d.json:1", "e.txt:0",
    ]  # fmt: skip
    assert "mas_kg: unknown field; did you mean 'mass_kg'" in problems[2]
    assert "written twice" in problems[3]


def test_a_wrong_line_of_csv_is_told(tmp_path: Path) -> None:
    """The reader of CSV names the line."""
    (tmp_path / "a.csv").write_text("ID,KIND,DC\nKB-EM8,cutter,8\nKB-EM9,cutter,minus nine\n")
    (problem,) = _problems(tmp_path)
    assert problem.startswith("a.csv:3: ")


def test_no_folder(tmp_path: Path) -> None:
    """A folder that is not there stops the start."""
    with pytest.raises(CatalogueError, match="no folder of that name can be read"):
        load_catalogue(tmp_path / "nowhere")
