"""A catalogue as commands and service use it: imports that fill it, and one bad part among many."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import junitparser
import pytest

from rules.assessor import Assessor
from rules.exchange.catalogue import load_catalogue
from rules.rulebook.loader import base_request
from rules.schema.parsing import parse_request
from service.audit.standing import baseline_bytes
from service.cli.files import BAD_INPUT, VERDICT_CODES
from service.cli.main import main
from tests.support.audits import check_sarif
from tests.support.stacks import assessor

PARTS = 1968
STACKS = 180
BAD_STACKS = {7, 70, 170}

HOLDER, COLLET, CUTTER = base_request("nut_collet")["stack"]["components"]


def _catalogue(folder: Path) -> Path:
    """Write a catalogue of one file with one bad part, number 1000."""
    folder.mkdir()
    parts = {f"T-{n}": CUTTER | {"id": f"T-{n}"} for n in range(PARTS - 2)} | {"H": HOLDER, "C": COLLET}
    parts["T-1000"]["mass_kg"] = -0.4321
    (folder / "parts.json").write_text(json.dumps(parts, indent=1))
    return folder


def _reference(key: str, name: str) -> dict[str, Any]:
    return {"kind": "reference", "id": name, "of": {"from": "catalogue", "key": key}}


def _request(number: int, key: str) -> dict[str, Any]:
    request = base_request("nut_collet")
    request["stack"]["id"] = f"S-{number}"
    request["stack"]["components"] = [
        _reference("H", HOLDER["id"]), _reference("C", COLLET["id"]), _reference(key, CUTTER["id"])
    ]  # fmt: skip
    return request


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A catalogue with one bad part, and a library of stacks of which three use it."""
    folder = tmp_path_factory.mktemp("shop")
    _catalogue(folder / "parts")
    lines = [_request(n, "T-1000" if n in BAD_STACKS else f"T-{n}") for n in range(STACKS)]
    (folder / "library.ndjson").write_text("".join(json.dumps(one) + "\n" for one in lines))
    return folder


def test_an_invalid_part_is_one_entry_of_every_output(shop: Path, tmp_path: Path) -> None:
    """With its reason and the stacks that wait, which no output calls passed; nothing covers it."""
    library = tmp_path / "x.ndjson"
    lines = (shop / "library.ndjson").read_bytes().splitlines(keepends=True)[:80]
    library.write_bytes(b"".join(lines) + b'{"components": {"Q-1": {"kind": "collet", "id": "q", "mass_kg": 0}}}\n')
    outs = [tmp_path / f"o.{kind}" for kind in ("csv", "sarif", "junit.xml", "html")]
    arguments = [str(library), "--catalogue", str(shop / "parts"), "--quiet", "--baseline", str(tmp_path / "b")]
    (tmp_path / "b").write_bytes(baseline_bytes([]))
    assert main(["audit", *arguments, *(word for out in outs for word in ("--out", str(out)))]) == BAD_INPUT
    waiting = sorted(BAD_STACKS & set(range(80)))
    table, log, suite, page = (out.with_suffix(".findings.csv") if out.suffix == ".csv" else out for out in outs)
    rows = list(csv.DictReader(io.StringIO(table.read_bytes().decode(), newline="")))
    causes = [row for row in rows if row["code"] == "AUD-020"]
    assert [(row["part_number"], "mass_kg" in row["message"]) for row in causes] == [("T-1000", True), ("Q-1", True)]
    assert all(f"line {n + 1}" in causes[0]["library"] for n in waiting)
    check_sarif(json.loads(log.read_text()))
    results = json.loads(log.read_text())["runs"][0]["results"]
    (first, second) = (one for one in results if one["ruleId"] == "AUD-020")
    places = [one["physicalLocation"]["region"]["startLine"] for one in first["locations"]]
    assert places == [n + 1 for n in waiting]
    assert second["properties"]["partNumbers"] == ["Q-1"]
    (cases,) = junitparser.JUnitXml.fromfile(str(suite))
    told = {case.name: [str(one._tag) for one in case.result] for case in cases}
    assert {name for name, found in told.items() if found == ["skipped"]} == {f"S-{n}" for n in waiting}
    assert (told["T-1000 AUD-020"], cases.errors) == (["error"], 3)
    text = page.read_text()
    assert text.index('id="invalid-parts"') < text.index('id="verdicts"')
    assert all(f"S-{n} (" in text for n in waiting)


def test_stacks_that_wait_are_not_fixed(shop: Path, tmp_path: Path, capsys: Any) -> None:
    """Their earlier findings are gone for want of a judgement, and a baseline keeps them."""
    library, last, known = tmp_path / "x.ndjson", tmp_path / "last.sarif", tmp_path / "known"
    requests = [_request(n, "T-7") for n in range(3)]
    for one in requests:
        one["operations"][0]["limits"]["runout"]["tir_um"] = 1
    write = lambda: library.write_text("".join(json.dumps(one) + "\n" for one in requests))  # noqa: E731
    write()
    common = ["audit", str(library), "--catalogue", str(shop / "parts"), "--quiet"]
    main([*common, "--out", str(last), "--write-baseline", str(known)])
    before = known.read_bytes()
    requests[1]["stack"]["components"][2] = _reference("T-1000", CUTTER["id"])
    write()
    capsys.readouterr()
    main([*common, "--json", "--against", str(last), "--baseline", str(known), "--prune-baseline"])
    out, said = capsys.readouterr()
    summary = json.loads(out)
    assert (summary["against"]["fixed"], {one["stack"] for one in summary["against"]["first_gone"]}) == (0, {"S-1"})
    assert summary["against"]["first_new"][0]["code"] == "AUD-020"
    assert known.read_bytes() == before
    assert "1 stack and 0 lines" in said


@pytest.mark.parametrize("workers", [[], ["--workers", "2"]])
def test_of_many_parts_one_is_bad(shop: Path, workers: list[str], capsys: Any, caplog: Any) -> None:
    """Only its stacks are not judged, for one cause that is counted once; the other verdicts are what they were."""
    arguments = [str(shop / "library.ndjson"), "--catalogue", str(shop / "parts"), "--json", "--quiet", *workers]
    assert main(["audit", *arguments]) == BAD_INPUT
    summary = json.loads(capsys.readouterr().out)
    assert summary["stacks"] == STACKS
    assert (summary["stacks_not_judged"], summary["bad_lines"]) == (len(BAD_STACKS), 0)
    (cause,) = summary["invalid_parts"]
    assert (cause["part"], cause["source"], cause["stacks"]) == ("T-1000", "catalogue", len(BAD_STACKS))
    assert "mass_kg" in cause["reason"]
    assert summary["verdicts"] == {"pass": STACKS - len(BAD_STACKS), "review": len(BAD_STACKS), "fail": 0}
    assert not {one["stack"] for one in summary["worst"]} & {f"S-{n}" for n in BAD_STACKS}
    told = [one.getMessage() for one in caplog.records if "T-1000" in one.getMessage()]
    assert len(told) == 1
    assert "parts.json:" in told[0]
    assert "4321" not in told[0]  # the place and the reason, not the value


def test_a_strict_start_refuses_it(shop: Path, monkeypatch: pytest.MonkeyPatch, capsys: Any) -> None:
    """The operator's switch; every command then says which part it is."""
    monkeypatch.setenv("STACKGAUGE_CATALOGUE_STRICT", "true")
    monkeypatch.setenv("STACKGAUGE_CATALOGUE", str(shop / "parts"))
    assert main(["audit", str(shop / "library.ndjson"), "--quiet"]) == BAD_INPUT
    assert "T-1000" in capsys.readouterr().err


def test_a_check_is_a_clear_answer(shop: Path, tmp_path: Path, capsys: Any) -> None:
    """Neither a pass nor a fault."""
    request = tmp_path / "stack.json"
    request.write_text(json.dumps(_request(1, "T-1000")))
    for unstated in ("typical", "undecided"):
        code = main(["check", str(request), "--catalogue", str(shop / "parts"), "--json", "--unstated", unstated])
        report = json.loads(capsys.readouterr().out)
        assert code == VERDICT_CODES["review"]
        (found,) = report["findings"]
        assert (found["code"], found["at"]) == ("REF-050", ["/stack/components/2"])
        assert found["message"].startswith("Not judged")


def test_no_work_instruction_for_a_stack_that_is_not_judged(shop: Path) -> None:
    """There is nothing to assemble."""
    own = Assessor(assessor().book, load_catalogue(shop / "parts"))
    report = own.assess(parse_request(_request(1, "T-1000")).with_assembly())
    assert report.assembly is not None
    assert report.assembly.state == "do_not_build"


def _order(key: str) -> dict[str, Any]:
    return {"order": "KB-1", "operations": [{"id": "10", "stack": _request(1, key)["stack"]}]}


def test_the_service_starts_and_says_what_it_does_without(shop: Path, client_with: Callable[[Any], Any]) -> None:
    """A check, a gate, a search and a batch are answers; the version lists what is quarantined."""
    client = client_with(Assessor(assessor().book, load_catalogue(shop / "parts")))
    mounted = client.get("/version").json()["catalogue"]
    assert mounted["in_force"] == PARTS - 1
    (one,) = mounted["quarantined"]
    assert (one["key"], one["file"], one["line"] > 1) == ("T-1000", "parts.json", True)
    assert client.get("/readyz").status_code == 200
    gate = client.request("POST", "/v1/gates", json=_order("T-1000")).json()
    (operation,) = gate["operations"]
    assert (gate["may_start"], gate["decision"]) == (False, "hold")
    assert "REF-050" in [reason["code"] for reason in operation["reasons"]]
    stocked = {"stock": {"H": 1, "C": 1, "T-1000": 1, "T-1": 1}}
    found = client.request("POST", "/v1/searches", json=stocked).json()
    assert [left["key"] for left in found["left_out"]] == ["T-1000"]


# --- imports -------------------------------------------------------------------------------------------------------

TABLE = "ID,KIND,DC,LF,NOF\nKB-1,cutter,8,,3\nKB-2,cutter,10,,4\n"


def _import(*arguments: str, capsys: Any) -> tuple[int, str]:
    """Return the exit code and what is told of the catalogue."""
    code = main(["import", *arguments, "--json"])
    return code, capsys.readouterr().err


def test_an_import_fills_a_catalogue(tmp_path: Path, capsys: Any) -> None:
    """One file a part, and the same bytes again; what check and serve mount has the parts."""
    table, parts = tmp_path / "t.csv", tmp_path / "parts"
    table.write_text(TABLE)
    assert _import(str(table), "--to-catalogue", str(parts), capsys=capsys)[0] == 0
    files = {file.name: file.read_bytes() for file in parts.iterdir()}
    assert sorted(files) == ["KB-1.json", "KB-2.json"]
    code, told = _import(str(table), "--to-catalogue", str(parts), capsys=capsys)
    assert (code, "2 unchanged" in told) == (0, True)
    assert {file.name: file.read_bytes() for file in parts.iterdir()} == files
    found = load_catalogue(parts, strict=True)
    assert found.count == 2


def test_no_part_is_overwritten_silently(tmp_path: Path, capsys: Any) -> None:
    """Other data is refused with both places; --replace takes it where the file has only this part."""
    table, parts = tmp_path / "t.csv", tmp_path / "parts"
    parts.mkdir()
    (parts / "hand.yaml").write_text("KB-2: {kind: cutter, id: KB-2, teeth: 7}\nKB-9: {kind: collet, id: KB-9}\n")
    table.write_text(TABLE)
    code, told = _import(str(table), "--to-catalogue", str(parts), capsys=capsys)
    assert (code, "1 new" in told, "1 refused" in told) == (1, True, True)
    assert f"hand.yaml:1 has other data than {table}:3" in told
    before = (parts / "KB-1.json").read_bytes()
    table.write_text(TABLE.replace("8,,3", "8,,2"))
    assert _import(str(table), "--to-catalogue", str(parts), capsys=capsys)[0] == 1
    assert (parts / "KB-1.json").read_bytes() == before
    code, told = _import(str(table), "--to-catalogue", str(parts), "--replace", capsys=capsys)
    assert (code, "1 replaced" in told, "1 refused" in told) == (1, True, True)
    assert json.loads((parts / "KB-1.json").read_text())["KB-1"]["teeth"] == 2
    assert "teeth: 7" in (parts / "hand.yaml").read_text()


def test_a_part_with_a_wrong_cell_is_no_part_of_a_catalogue(tmp_path: Path, capsys: Any) -> None:
    """Neither through an import, which says what an assembled tool is, nor in a table that is mounted."""
    table, tool, parts = tmp_path / "t.csv", tmp_path / "t.xml", tmp_path / "parts"
    table.write_text(TABLE.replace("ID,", "Id,").replace("8,,3", "eight,,3"))
    tool.write_text('<CuttingTool assetId="KB-T-1"><CuttingToolLifeCycle/></CuttingTool>')
    code, told = _import(str(table), str(tool), "--as", "assembled", "--to-catalogue", str(parts), capsys=capsys)
    assert (code, [file.name for file in parts.iterdir()]) == (1, ["KB-2.json"])
    assert "KB-T-1: left out" in told
    tool.unlink()
    parts.joinpath("KB-2.json").unlink()
    mounted = load_catalogue(tmp_path)
    assert (mounted.count, [(one.key, one.line) for one in mounted.quarantined]) == (1, [("KB-1", 2)])


def test_two_documents_of_one_import_may_not_contradict_each_other(tmp_path: Path, capsys: Any) -> None:
    """Not even with --replace: nothing says which one counts."""
    one, two, parts = tmp_path / "1.csv", tmp_path / "2.csv", tmp_path / "parts"
    one.write_text(TABLE)
    two.write_text(TABLE.replace("8,,3", "8,,2"))
    code, told = _import(str(one), str(two), "--to-catalogue", str(parts), "--replace", capsys=capsys)
    assert (code, f"{two}:2 contradicts {one}:2" in told) == (1, True)
    assert json.loads((parts / "KB-1.json").read_text())["KB-1"]["teeth"] == 3


def test_a_broken_file_of_the_same_name_is_not_overwritten(tmp_path: Path, capsys: Any) -> None:
    """It may hold what somebody is working on."""
    table, parts = tmp_path / "t.csv", tmp_path / "parts"
    parts.mkdir()
    (parts / "KB-1.json").write_text("{half a")
    table.write_text(TABLE)
    assert _import(str(table), "--to-catalogue", str(parts), capsys=capsys)[0] == 1
    assert (parts / "KB-1.json").read_text() == "{half a"
    assert _import(str(table), "--to-catalogue", str(parts), "--replace", capsys=capsys)[0] == 0
    assert load_catalogue(parts, strict=True).count == 2


def test_revisions_lie_beside_each_other(tmp_path: Path, capsys: Any) -> None:
    """In files of their own; names that differ in upper and lower case only do not meet on any disk."""
    table, parts = tmp_path / "t.csv", tmp_path / "parts"
    table.write_text(TABLE)
    for revision in ("A", "B/2"):
        assert _import(str(table), "--to-catalogue", str(parts), "--revision", revision, capsys=capsys)[0] == 0
    table.write_text(TABLE.replace("KB", "kb"))
    assert _import(str(table), "--to-catalogue", str(parts), "--revision", "A", capsys=capsys)[0] == 0
    names = [file.name for file in parts.iterdir()]
    assert len({name.casefold() for name in names}) == len(names) == 6
    found = load_catalogue(parts, strict=True).definitions
    assert found.revisions["KB-1"] == ["A", "B/2"]
    with pytest.raises(SystemExit):
        main(["import", str(table), "--revision", "A"])


def test_what_import_prints_is_a_catalogue(tmp_path: Path, capsys: Any) -> None:
    """As it stands, of one document or several, for check and audit."""
    table = tmp_path / "t.csv"
    table.write_text(TABLE)
    xml = Path("demo_data/imports/archetypes.xml")
    assert main(["import", str(table), str(xml), "--kind", "collet", "--json"]) == 0
    printed = tmp_path / "parts.ndjson"
    printed.write_text(capsys.readouterr().out)
    request = tmp_path / "stack.json"
    request.write_text(json.dumps({"stack": {"components": [_reference("KB-2", "mill")]}}))
    main(["check", str(request), "--catalogue", str(printed), "--json"])
    codes = [one["code"] for one in json.loads(capsys.readouterr().out)["findings"]]
    assert not [code for code in codes if code.startswith("REF")]
    stack = {"components": [{"kind": "reference", "id": "m", "of": {"from": "request", "key": "KB-2"}}]}
    library = tmp_path / "library.ndjson"
    library.write_text(printed.read_text() + json.dumps({"stack": stack}) + "\n")
    main(["audit", str(library), "--json", "--quiet"])
    summary = json.loads(capsys.readouterr().out)
    assert (summary["stacks"], summary["bad_lines"]) == (1, 0)
    assert not [one for one in summary["findings"] if one["code"].startswith("REF")]


@pytest.mark.parametrize("form", ["csv", "mtconnect"])
def test_a_catalogue_is_exported_and_imported(tmp_path: Path, form: str, capfdbinary: Any) -> None:
    """The folder that comes of it has the same parts."""
    table, parts, again = tmp_path / "t.csv", tmp_path / "parts", tmp_path / "again"
    table.write_text(TABLE.replace("NOF", "WT"))
    assert main(["import", str(table), "--to-catalogue", str(parts)]) == 0
    capfdbinary.readouterr()
    assert main(["export", str(parts), "--parts", form, "--standard", "2.4"]) == 0
    document = tmp_path / f"all.{form}"
    document.write_bytes(capfdbinary.readouterr().out)
    assert main(["import", str(document), "--to-catalogue", str(again)]) == 0
    assert [(file.name, file.read_bytes()) for file in sorted(again.iterdir())] == [
        (file.name, file.read_bytes()) for file in sorted(parts.iterdir())
    ]
