"""The component catalogue: files read, and faults rejected with file and line."""

from __future__ import annotations

import errno
import json
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from rules.assessor import Assessor
from rules.exchange.catalogue import load_catalogue
from rules.exchange.documents import NO_CATALOGUE, CatalogueError
from rules.rulebook.loader import base_request
from rules.schema.components import Collet, Cutter, InvalidPart
from rules.schema.parsing import parse_request
from rules.stack.chain import MAX_HOPS, resolve
from tests.support.stacks import assessor

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


# --- quarantine ----------------------------------------------------------------------------------------------------

GOOD = {"kind": "collet", "id": "good", "mass_kg": 0.1}


def _told(folder: Path) -> tuple[list[str], list[tuple[str, int, str | None]]]:
    """Return the keys in force, and file, line and key of what is quarantined."""
    found = load_catalogue(folder)
    usable = [
        key
        for key, entries in found.definitions.components.items()
        if not any(isinstance(one, InvalidPart) for one in entries)
    ]
    return usable, [(one.file, one.line, one.key) for one in found.quarantined]


_GOOD = '{"good": {"kind": "collet", "id": "g"}}'
_X = ("a.json", 2, "X")
_FILE = ("a.json", 1, None)


def _beside(part: str, key: str = "X") -> dict[str, str | bytes]:
    """Return a file with a good part and this one in its second line."""
    return {"a.json": f'{_GOOD[:-1]},\n "{key}": {part}}}'}


def _collet(fields: str) -> dict[str, str | bytes]:
    return _beside('{"kind": "collet", "id": "x", ' + fields + "}")


def _reference(source: str, key: str, more: str = "") -> str:
    return f'{{"kind": "reference", "of": {{"from": "{source}", "key": "{key}"}}{more}}}'


Quarantine = list[tuple[str, int, str | None]]

FILES: dict[str, tuple[dict[str, str | bytes], Quarantine]] = {
    "impossible value": (_collet('"mass_kg": -1'), [_X]),
    "unknown field": (_collet('"mas_kg": 1'), [_X]),
    "no object": (_beside("3"), [_X]),
    "field twice in one part": (_collet('"id": "y"'), [_X]),
    "not a number": (_collet('"mass_kg": NaN'), [_X]),
    "half a surrogate pair": (_collet('"description": "\\ud800"'), [_X]),
    "digits without end": (_collet(f'"mass_kg": 1{"0" * 5000}'), [_X]),
    "named like a standard part": (
        _beside('{"kind": "collet", "id": "x"}', "iso15488:32:12"),
        [("a.json", 2, "iso15488:32:12")],
    ),
    "without an id": ({"a.json": '[{"kind": "collet", "id": "good"},\n {"kind": "collet"}]'}, [("a.json", 2, None)]),
    "line of lines": ({"a.ndjson": '{"kind": "collet", "id": "good"}\n{"kind": "col\n'}, [("a.ndjson", 2, None)]),
    "part in YAML": (
        {"a.yaml": "good: {kind: collet, id: g}\nX: {kind: collet, id: x, mass_kg: heavy}\n"},
        [("a.yaml", 2, "X")],
    ),
    "field twice in YAML": (
        {"a.yaml": "good: {kind: collet, id: g}\nX: {kind: collet, id: x, id: y}\n"},
        [("a.yaml", 2, "X")],
    ),
    "alias in YAML": (
        {"a.yaml": "good: {kind: collet, id: g}\nX: {kind: collet, id: &n x, description: *n}\n"},
        [("a.yaml", 2, "X")],
    ),
    "row of CSV": ({"a.csv": "ID,KIND,DC\ngood,cutter,8\nX,colet,9\n"}, [("a.csv", 3, "X")]),
    "row twice in CSV": ({"a.csv": "ID,KIND,DC\ngood,cutter,8\nX,cutter,8\nX,cutter,9\n"}, [("a.csv", 4, "X")]),
    "broken JSON": ({"a.json": '{"A": {"kind": "collet"', "b.json": _GOOD}, [_FILE]),
    "not UTF-8": ({"a.json": b'{"A": "\xff"}', "b.json": _GOOD}, [_FILE]),
    "not UTF-8 in YAML": ({"a.yaml": b"A: \xff\n", "b.json": _GOOD}, [("a.yaml", 0, None)]),
    "not UTF-8 in CSV": ({"a.csv": b"ID,KIND\n\xff,collet\n", "b.json": _GOOD}, [("a.csv", 2, None)]),
    "too deep": ({"a.json": '{"A": ' + "[" * 100_000, "b.json": _GOOD}, [_FILE]),
    "cycle between files": (
        {
            "a.json": f'{{"A": {_reference("catalogue", "B")}}}',
            "b.json": f'{{"B": {_reference("catalogue", "A")}}}',
            "c.json": _GOOD,
        },
        [("a.json", 1, "A"), ("b.json", 1, "B")],
    ),
    "to the request": (_beside(_reference("request", "B")), [_X]),
    "to nothing": (_beside(_reference("catalogue", "B")), [_X]),
    "to no standard part": (_beside(_reference("standard", "iso15488:32:99")), [_X]),
    "a field that the kind has not": (_beside(_reference("catalogue", "good", ', "with": {"teeth": 4}')), [_X]),
}
"""Files with one good part, and what of them is quarantined."""


@pytest.mark.parametrize("name", FILES)
def test_what_is_wrong_with_one_part_is_its_own_affair(tmp_path: Path, name: str) -> None:
    """The good part beside it is in force; a strict start refuses all of it."""
    files, expected = FILES[name]
    for file, text in files.items():
        (tmp_path / file).write_bytes(text if isinstance(text, bytes) else text.encode())
    assert _told(tmp_path) == (["good"], expected)
    with pytest.raises(CatalogueError):
        load_catalogue(tmp_path, strict=True)


def test_a_part_refers_to_one_of_another_file(tmp_path: Path) -> None:
    """In either order of the files, with fields laid over it."""
    (tmp_path / "a.json").write_text(
        '{"A": {"kind": "reference", "of": {"from": "catalogue", "key": "B"}, "with": {"mass_kg": 2}}}'
    )
    (tmp_path / "b.json").write_text(json.dumps({"B": GOOD}))
    found = load_catalogue(tmp_path, strict=True)
    stack = {"components": [{"kind": "reference", "of": {"from": "catalogue", "key": "A"}}]}
    (part,) = resolve(parse_request({"stack": stack}), found.definitions).request.stack.components
    assert isinstance(part, Collet)
    assert part.mass_kg == 2


def test_a_long_chain_of_definitions_is_set_aside(tmp_path: Path) -> None:
    """Each walk through it is bounded, or a catalogue of such would take minutes to load."""
    chain = {
        f"K{n}": {"kind": "reference", "of": {"from": "catalogue", "key": f"K{n + 1}"}} for n in range(5 * MAX_HOPS)
    }
    (tmp_path / "a.json").write_text(json.dumps({**chain, f"K{5 * MAX_HOPS}": GOOD}))
    usable, quarantined = _told(tmp_path)
    assert len(usable) == MAX_HOPS
    assert len(quarantined) == 4 * MAX_HOPS + 1


def test_a_file_that_cannot_be_read_may_hold_the_key(tmp_path: Path) -> None:
    """A key that is not found is then no error of the request; without such a file it is."""
    request = base_request("nut_collet")
    request["stack"]["components"][1] = {"kind": "reference", "of": {"from": "catalogue", "key": "A"}}
    codes = []
    for text in ("{", "{}"):
        (tmp_path / "a.json").write_text(text)
        report = Assessor(assessor().book, load_catalogue(tmp_path)).assess(parse_request(request))
        codes.append((report.verdict, [one.code for one in report.findings]))
    assert codes == [("review", ["REF-050"]), ("fail", ["REF-010"])]


def test_an_alias_is_no_way_around_a_file_that_cannot_be_read(tmp_path: Path) -> None:
    """The catalogue goes before an alias, and the key may be in the file."""
    (tmp_path / "aliases.yaml").write_text("- {pattern: A, becomes: 'iso15488:32:12', reason: habit}\n")
    parts = tmp_path / "parts"
    parts.mkdir()
    request = base_request("nut_collet")
    request["stack"]["components"][1] = {"kind": "reference", "of": {"from": "catalogue", "key": "A"}}
    found = []
    for text in ("{", "{}"):
        (parts / "a.json").write_text(text)
        own = Assessor.load(catalogue=parts, aliases=tmp_path / "aliases.yaml")
        found.append("REF-050" in [one.code for one in own.assess(parse_request(request)).findings])
    assert found == [True, False]


def _link(folder: Path, outside: Path) -> None:
    (outside / "secret.json").write_text('{"A": {"kind": "collet", "id": "a"}}')
    (folder / "a.json").symlink_to(outside / "secret.json")


def _linked_folder(folder: Path, outside: Path) -> None:
    (outside / "secret.json").write_text('{"A": {"kind": "collet", "id": "a"}}')
    (folder / "a.json").symlink_to(outside)


def _loop(folder: Path, _: Path) -> None:
    (folder / "a.json").symlink_to("a.json")


def _pipe(folder: Path, _: Path) -> None:
    os.mkfifo(folder / "a.json")


def _large(folder: Path, _: Path) -> None:
    with (folder / "a.json").open("wb") as file:
        file.truncate(50 * 1024 * 1024)


@pytest.mark.parametrize("make", [_link, _linked_folder, _loop, _pipe, _large])
def test_a_hostile_file_is_set_aside_unread(tmp_path: Path, make: Callable[[Path, Path], None]) -> None:
    """Nothing outside the folder is read, nothing waited for, and nothing taken into memory."""
    folder, outside = tmp_path / "parts", tmp_path / "outside"
    folder.mkdir()
    outside.mkdir()
    make(folder, outside)
    (folder / "b.json").write_text(json.dumps({"good": GOOD}))
    assert _told(folder) == (["good"], [("a.json", 0, None)])


@pytest.mark.parametrize("locked", ["a.json", "deep"])
def test_what_may_not_be_read_is_set_aside(tmp_path: Path, locked: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """A file, or a whole folder; the system refuses, as it does not refuse root."""

    def refusing(real: Callable[[Any], Any]) -> Callable[[Any], Any]:
        def refuse(path: Any) -> Any:
            if Path(path) == tmp_path / locked:
                raise PermissionError(errno.EACCES, "Permission denied", str(path))
            return real(path)

        return refuse

    (tmp_path / "deep").mkdir()
    for name in ("a.json", "deep/c.json"):
        (tmp_path / name).write_text("{}")
    (tmp_path / "b.json").write_text(json.dumps({"good": GOOD}))
    monkeypatch.setattr(Path, "read_bytes", refusing(Path.read_bytes))
    monkeypatch.setattr(os, "scandir", refusing(os.scandir))
    assert _told(tmp_path) == (["good"], [(locked, 0, None)])


def test_links_within_the_folder_are_followed_once(tmp_path: Path) -> None:
    """As an orchestrator mounts files: a link to a hidden folder that holds them."""
    (tmp_path / "..2031_05_04").mkdir()
    (tmp_path / "..2031_05_04" / "a.json").write_text(json.dumps({"good": GOOD}))
    (tmp_path / "..data").symlink_to("..2031_05_04")
    (tmp_path / "a.json").symlink_to("..data/a.json")
    (tmp_path / "again.json").symlink_to("a.json")
    assert _told(tmp_path) == (["good"], [])


def test_the_digest_covers_what_is_not_judged(tmp_path: Path) -> None:
    """Answers differ with it: good, invalid, gone, or in a file that cannot be read."""
    digests = []
    for text in ('{"A": {"kind": "collet", "id": "a"}}', '{"A": {"kind": "colet", "id": "a"}}', "{}", "{"):
        (tmp_path / "a.json").write_text(text)
        digests.append(load_catalogue(tmp_path).digest)
    assert len(set(digests)) == 4


# --- revisions -----------------------------------------------------------------------------------------------------


def _revised(tmp_path: Path, *definitions: dict[str, Any]) -> Assessor:
    (tmp_path / "a.json").write_text(json.dumps(list(definitions)))
    return Assessor(assessor().book, load_catalogue(tmp_path))


def _mass_of(own: Assessor, **of: str) -> float | list[str] | None:
    """Return the mass of the part in a stack, or the codes of what is wrong with its reference."""
    reference = {"kind": "reference", "of": {"from": "catalogue", "key": "C", **of}}
    report = own.assess(parse_request({"stack": {"components": [reference]}}))
    wrong = [one.code for one in report.findings if one.code.startswith("REF")]
    return wrong or report.mass.components[0].mass_kg


C: dict[str, Any] = {"kind": "collet", "id": "C", "mass_kg": 1}
A, B = C | {"revision": "A"}, C | {"revision": "B", "mass_kg": 2}
BAD = C | {"revision": "B", "mass_kg": -2}


@pytest.mark.parametrize(
    ("definitions", "of", "expected"),
    [
        ([C], {}, 1),
        ([A], {}, 1),  # the only one
        ([A], {"revision": "A"}, 1),
        ([A], {"revision": "a"}, ["REF-010"]),  # compared to the letter
        ([C], {"revision": "A"}, ["REF-010"]),
        ([A, B], {}, ["REF-030"]),  # a later revision need not be the part in the drawer
        ([A, B], {"revision": "A"}, 1),
        ([A, B], {"revision": "B"}, 2),
        ([C, B], {}, ["REF-030"]),
        ([C, B], {"revision": "B"}, 2),
        ([A, A], {"revision": "A"}, ["REF-030"]),
        ([A, BAD], {"revision": "A"}, 1),
        ([A, BAD], {"revision": "B"}, ["REF-050"]),
        ([A, BAD], {}, ["REF-050"]),  # the invalid one may be meant
        ([A, {"kind": "collet", "id": "C", "revision": 7}], {"revision": "B"}, ["REF-050"]),
        ([A, {"kind": "collet", "id": "C", "revision": 7}], {"revision": "A"}, 1),
    ],
)
def test_a_revision_is_meant_to_the_letter(
    tmp_path: Path, definitions: list[dict[str, Any]], of: dict[str, str], expected: float | list[str]
) -> None:
    """Without one the key has to have a single definition."""
    assert _mass_of(_revised(tmp_path, *definitions), **of) == expected


def test_only_the_catalogue_has_revisions() -> None:
    """A definition of the request or of a standard has none, so one that is stated is not found."""
    for source, key in (("request", "C"), ("standard", "iso15488:32:12")):
        reference = {"kind": "reference", "of": {"from": source, "key": key, "revision": "A"}}
        request = {"stack": {"components": [reference]}, "components": {"C": C}}
        assert [one.code for one in assessor().assess(parse_request(request)).findings] == ["REF-010"]


def test_the_message_names_the_revisions(tmp_path: Path) -> None:
    """So that one can be chosen."""
    reference = {"kind": "reference", "of": {"from": "catalogue", "key": "C"}}
    report = _revised(tmp_path, A, B, C).assess(parse_request({"stack": {"components": [reference]}}))
    assert "revision A, revision B, 1 without a revision" in report.findings[0].message
