"""What is known of a finding beforehand: its identity, the baseline, the waivers and the last audit."""

from __future__ import annotations

import copy
import json
from collections.abc import Callable, Sequence
from datetime import date
from pathlib import Path
from typing import Any

import jsonschema
import pytest
import yaml

from rules.assessor import Assessor
from rules.audit_items import VERDICTS, AuditItem, items_of
from rules.library import NOT_USABLE
from rules.rulebook.loader import base_request
from rules.schema.parsing import parse_request
from rules.schema.waivers import WAIVER_SCHEMA_ID, WAIVER_SCHEMA_PATH, waiver_schema
from service.audit.answering import Here
from service.audit.libraries import AuditInputError
from service.audit.standing import NEVER_COVERED, Standing, read_waivers, standing_verdict
from service.batch.lines import Shared, answer_lines
from service.cli.audit import INTERRUPTED
from service.cli.files import BAD_INPUT, FAULT
from service.cli.main import main
from tests.support.audits import check_sarif, mixed_lines, records, write

pytestmark = pytest.mark.usefixtures("judged_once")

DAY = "2031-06-30"


def _stack(name: str | None = "T-1", **changes: Any) -> dict[str, Any]:
    """The base with this id; ``grip`` and ``speed`` make it fail, a lost unbalance undecided."""
    made: dict[str, Any] = copy.deepcopy(base_request("nut_collet"))
    made["stack"].pop("id", None)
    if name is not None:
        made["stack"]["id"] = name
    if "grip" in changes:
        made["stack"]["components"][1]["workpiece_side"]["minimum_grip_mm"] = 30
        made["stack"]["joints"][-1]["grip_length_mm"] = changes["grip"]
    if "speed" in changes:
        made["operations"][0]["spindle_speed_rpm"] = changes["speed"]
    if "unbalance" in changes:
        del made["stack"]["components"][0]["unbalance_g_mm"]
    if "policy" in changes:
        made["policy"] = changes["policy"]
    return made


def _items(assessor: Assessor, value: dict[str, Any]) -> dict[str, AuditItem]:
    request = parse_request(value)
    return {f"{one.kind} {one.code}": one for one in items_of(assessor.assess(request), request)}


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, assessor: Assessor) -> Path:
    """A folder to work in, with rules loaded once."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("service.cli.audit._SMALL_BYTES", 10**9)
    monkeypatch.setattr("service.cli.audit.load_assessor", lambda _: assessor)
    return tmp_path


@pytest.fixture
def audit(here: Path, capsys: Any) -> Callable[..., tuple[int, dict[str, Any]]]:
    """Audits stacks and returns exit code and summary."""

    def run(lines: Sequence[dict[str, Any] | bytes], *options: str) -> tuple[int, dict[str, Any]]:
        text = [one if isinstance(one, bytes) else json.dumps(one).encode() + b"\n" for one in lines]
        write(here / "x.ndjson", text)
        code = main(["audit", "x.ndjson", "--json", "--quiet", *options])
        return code, json.loads(capsys.readouterr().out)

    return run


# --- identity --------------------------------------------------------------------------------------------------


def test_identity_has_no_index_and_no_number(assessor: Assessor) -> None:
    """Another order of joints and components' definitions, another value: the same findings, some with other values."""
    before = _items(assessor, _stack(grip=4.0))
    again = _stack(grip=5.0)
    again["stack"]["joints"].reverse()
    again["stack"]["joints"].append(again["stack"]["joints"].pop(0))
    after = _items(assessor, again)
    grip = "finding GRIP-010"
    assert before[grip].identity == after[grip].identity
    assert before[grip].values != after[grip].values


def test_a_definition_or_a_component_in_place_is_one_finding(assessor: Assessor) -> None:
    """A part that moves into the shared components keeps its findings."""
    plain, moved = _stack(grip=4.0), _stack(grip=4.0)
    collet = moved["stack"]["components"][1]
    moved["components"] = {"K-1": collet}
    moved["stack"]["components"][1] = {"kind": "reference", "id": collet["id"], "of": {"from": "request", "key": "K-1"}}
    grip = "finding GRIP-010"
    assert _items(assessor, plain)[grip].identity == _items(assessor, moved)[grip].identity


@pytest.mark.parametrize("change", ["stack", "component", "operation", "undecided"])
def test_another_case_is_another_identity(assessor: Assessor, change: str) -> None:
    """What a person would call another problem is one."""
    fast = _stack(speed=39_000)
    other = copy.deepcopy(fast)
    if change == "stack":
        other["stack"]["id"] = "T-2"
    elif change == "component":
        text = json.dumps(other)
        for part in fast["stack"]["components"]:
            text = text.replace(f'"{part["id"]}"', f'"{part["id"]}-2"')
        other = json.loads(text)
    elif change == "operation":
        other["operations"][0]["id"] = "99"
    else:
        for part in other["stack"]["components"]:
            part.pop("max_speed_rpm", None)
    ours = {one.identity for one in _items(assessor, fast).values() if one.code == "SPD-010"}
    theirs = {one.identity for one in _items(assessor, other).values() if one.code == "SPD-010"}
    assert ours
    assert ours != theirs


_POLICIES = [
    {},
    {"on_warning": "fail"},
    {"on_undecided": "fail"},
    {"on_warning": "fail", "on_undecided": "fail"},
    {"unstated": "typical"},
]


@pytest.mark.parametrize("policy", _POLICIES)
def test_the_weights_make_the_verdict(assessor: Assessor, policy: dict[str, Any]) -> None:
    """Nothing covered: the gravest weight, or what assumptions leave, is the verdict of the report."""
    stacks = [_stack(), _stack(grip=4.0), _stack(grip=31.0), _stack(unbalance=None), _stack(grip=4.0, unbalance=None)]
    lines = [json.dumps(one | {"policy": policy}).encode() for one in stacks]
    answers = answer_lines(assessor, 1, lines, Shared(), "verdicts")
    told = [standing_verdict(one, Standing().marks(one)) for one in answers]
    assert told == [one.verdict for one in answers]
    assert len(set(told)) > 1


# --- waivers ---------------------------------------------------------------------------------------------------


def _waiver(**changes: Any) -> dict[str, Any]:
    given = {"code": "GRIP-010", "stack": "T-1", "reason": "trial cut", "owner": "tool room", "expires": DAY}
    return {name: value for name, value in (given | changes).items() if value is not None}


def _written(folder: Path, *waivers: dict[str, Any]) -> str:
    (folder / "w.yaml").write_text(yaml.safe_dump({"$schema": WAIVER_SCHEMA_ID, "waivers": list(waivers)}))
    return "w.yaml"


_CASES = [
    # change of the waiver, day, covers, what is said of it
    ({}, DAY, True, ""),
    ({}, "2031-07-01", False, "lapsed on 2031-06-30"),
    ({"expires": "30.06.2031"}, DAY, False, "unreadable"),
    ({"expires": "2031-02-30"}, DAY, False, "unreadable"),
    ({"expires": "20310630"}, DAY, False, "unreadable"),
    ({"stack": "T-2"}, DAY, False, "matches no finding"),
    ({"at": "/stack/joints"}, DAY, True, ""),
    ({"at": "/stack/joints/9"}, DAY, False, "matches no finding"),
    ({"at": "/stack/join"}, DAY, False, "matches no finding"),
    ({"limit": 4.0}, DAY, True, ""),  # 4 mm are held; the minimum is 30 mm
    ({"limit": 4.01}, DAY, False, "beyond its limit"),
    ({"limit": 3.99}, DAY, True, ""),
]


@pytest.mark.parametrize(("change", "day", "covers", "said"), _CASES)
def test_a_waiver_holds_or_says_why_not(
    here: Path, audit: Callable[..., Any], change: dict[str, Any], day: str, covers: bool, said: str
) -> None:
    """A waived error leaves the exit code, not the output; a void one leaves nothing."""
    plain, _ = audit([_stack(grip=4.0)])
    options = ("--waivers", _written(here, _waiver(**change)), "--as-of", day, "--out", "o.sarif")
    code, summary = audit([_stack(grip=4.0)], *options)
    assert plain == 2
    assert (code < 2, summary["waived"]) == (covers, int(covers))
    assert summary["verdicts"]["fail"] == 1
    (told,) = summary["waivers"]
    assert (told["findings"], said in told["said"]) == (int(covers), True)
    assert bool(told["said"]) == bool(said)
    log = json.loads((here / "o.sarif").read_text())
    check_sarif(log)
    results = log["runs"][0]["results"]
    (grip,) = (one for one in results if one["ruleId"] == "GRIP-010")
    assert ("suppressions" in grip) == covers


def test_no_waiver_decides_what_is_undecided(here: Path, audit: Callable[..., Any]) -> None:
    """It is reported, and the stack stays for review."""
    stack = _stack(unbalance=None)
    _, before = audit([stack])
    codes = [one["code"] for one in before["undecided"] if one["code"] not in NEVER_COVERED]
    assert codes
    code, summary = audit([stack], "--waivers", _written(here, *(_waiver(code=one) for one in codes)), "--as-of", DAY)
    assert (code, summary["waived"], summary["after_waivers"]["pass"]) == (1, 0, 0)
    assert all("undecided" in one["said"] for one in summary["waivers"])


_WRONG = [
    (_waiver(code="GRIP-999"), "no rule has the code GRIP-999"),
    (_waiver(code="MCH-010"), "cannot be waived"),
    (_waiver(code="KNOB-010"), "cannot be waived"),
    (_waiver(code="SPD-010"), "cannot be waived"),
    (_waiver(owner=None), "owner"),
    (_waiver(reason=None), "reason"),
    (_waiver(reason=" "), "/waivers/0/reason"),
    (_waiver(expires=None), "expires"),
    (_waiver(until=DAY), "/waivers/0/until"),
    (_waiver(limit="4"), "/waivers/0/limit"),
]


@pytest.mark.parametrize(("waiver", "told"), _WRONG)
def test_a_wrong_waiver_stops_the_audit(here: Path, assessor: Assessor, waiver: dict[str, Any], told: str) -> None:
    """With its place in the file."""
    with pytest.raises(AuditInputError, match=told):
        read_waivers(here / _written(here, waiver), assessor.book, date(2031, 1, 1))


@pytest.mark.parametrize("text", ["waivers: 3", "- a", "waivers: [", "x: 1", "\x00", ""])
def test_what_is_no_waiver_file_is_refused(here: Path, assessor: Assessor, text: str) -> None:
    """Never with a traceback."""
    (here / "w.yaml").write_text(text)
    with pytest.raises(AuditInputError, match=r"w\.yaml"):
        read_waivers(here / "w.yaml", assessor.book, date(2031, 1, 1))


def test_rules_that_nothing_covers_exist(assessor: Assessor) -> None:
    """Every one is a rule, and every rule on knobs and machine limits is among them."""
    codes = {rule.code for rule in assessor.book.rules}
    assert codes | {NOT_USABLE} >= NEVER_COVERED
    assert {one for one in codes if one.startswith(("KNOB-", "MCH-"))} <= NEVER_COVERED


def test_the_schema_of_waivers_is_served(client: Any) -> None:
    """Of draft 2020-12, without a token, and it accepts what the reader accepts."""
    jsonschema.Draft202012Validator.check_schema(waiver_schema())
    answer = client.get(WAIVER_SCHEMA_PATH)
    assert (answer.status_code, answer.json()) == (200, waiver_schema())
    validator = jsonschema.Draft202012Validator(answer.json())
    assert not list(validator.iter_errors({"$schema": WAIVER_SCHEMA_ID, "waivers": [_waiver(at="/stack", limit=3.5)]}))
    assert all(list(validator.iter_errors({"waivers": [_waiver(**{name: None})]})) for name in ("owner", "expires"))


# --- baseline --------------------------------------------------------------------------------------------------


def test_a_baseline_covers_what_was_there(here: Path, audit: Callable[..., Any]) -> None:
    """The same library has nothing new, in whatever order; another stack's error is new."""
    library = [_stack("T-1", grip=4.0), _stack("T-2", unbalance=None), _stack("T-3")]
    assert audit(library, "--write-baseline", "b.json")[0] == 2
    held = json.loads((here / "b.json").read_text())["fingerprints"]
    assert held == sorted(held)
    assert held
    code, summary = audit(library[::-1], "--baseline", "b.json")
    assert (code, summary["in_baseline"]) == (0, len(held))
    code, summary = audit([*library, _stack("T-4", grip=4.0)], "--baseline", "b.json")
    assert (code, summary["open"]["errors"]) == (2, 1)


def test_what_nothing_covers_stays_out_of_a_baseline(audit: Callable[..., Any]) -> None:
    """A speed at which something may burst counts every night."""
    stack = _stack(speed=39_000)
    audit([stack], "--write-baseline", "b.json")
    code, summary = audit([stack], "--baseline", "b.json")
    assert code == 2
    held = {one["code"] for one in summary["findings"] if one["severity"] == "error"}
    assert held & NEVER_COVERED
    assert summary["open"]["errors"] >= len(held & NEVER_COVERED)


def test_nor_does_an_entry_written_by_hand_cover_it(here: Path, audit: Callable[..., Any]) -> None:
    """Whatever the file says."""
    stack = _stack(speed=39_000)
    _, before = audit([stack], "--write-baseline", "b.json", "--out", "o.sarif")
    results = json.loads((here / "o.sarif").read_text())["runs"][0]["results"]
    held = json.loads((here / "b.json").read_text())
    held["fingerprints"] = [one["partialFingerprints"]["stackRulePlace/v1"] for one in results]
    (here / "b.json").write_text(json.dumps(held))
    code, after = audit([stack], "--baseline", "b.json")
    covered = [one for one in results if one["ruleId"] not in NEVER_COVERED]
    assert (code, after["in_baseline"]) == (2, len(covered))
    assert 0 < after["open"]["errors"] <= before["open"]["errors"]


def test_an_entry_covers_one_finding(audit: Callable[..., Any]) -> None:
    """A second stack with the same id does not hide behind the first."""
    audit([_stack(grip=4.0)], "--write-baseline", "b.json")
    code, summary = audit([_stack(grip=4.0), _stack(grip=4.0)], "--baseline", "b.json")
    assert (code, summary["open"]["errors"]) == (2, 1)


def test_a_baseline_is_pruned_of_what_is_gone(here: Path, audit: Callable[..., Any], capsys: Any) -> None:
    """Unless a line could not be judged, since its findings are not gone."""
    audit([_stack("T-1", grip=4.0), _stack("T-2", unbalance=None)], "--write-baseline", "b.json")
    whole = (here / "b.json").read_bytes()
    assert main(["audit", "x.ndjson", "--quiet", "--baseline", "b.json", "--prune-baseline"]) == 0
    assert (here / "b.json").read_bytes() == whole
    (here / "x.ndjson").write_bytes(json.dumps(_stack("T-2", unbalance=None)).encode() + b"\n{}\n")
    assert main(["audit", "x.ndjson", "--quiet", "--baseline", "b.json", "--prune-baseline"]) == BAD_INPUT
    assert "not pruned" in capsys.readouterr().err
    assert (here / "b.json").read_bytes() == whole
    audit([_stack("T-2", unbalance=None)], "--baseline", "b.json", "--prune-baseline")
    left = json.loads((here / "b.json").read_text())["fingerprints"]
    assert 0 < len(left) < len(json.loads(whole)["fingerprints"])


_BUDGETS = [
    # options, exit code with two new errors and one new stack with undecided rules
    ([], 2),
    (["--max-new-errors", "1", "--max-new-undecided", "99"], 2),
    (["--max-new-errors", "2", "--max-new-undecided", "99"], 0),
    (["--max-new-errors", "2"], 1),
    (["--max-new-errors", "2", "--fail-on", "fail"], 0),
    (["--max-new-warnings", "0", "--max-new-undecided", "99"], 2),
]


@pytest.mark.parametrize(("options", "expected"), _BUDGETS)
@pytest.mark.parametrize("against", ["baseline", "against"])
def test_a_budget_governs_the_exit_code(
    audit: Callable[..., Any], options: list[str], expected: int, against: str
) -> None:
    """New is what neither the baseline nor, without one, the last audit has; what was there does not count."""
    old = [_stack("T-0", grip=4.0)]
    audit(old, "--write-baseline", "b.json", "--out", "last.sarif")
    new = [*old, _stack("T-1", grip=4.0), _stack("T-2", grip=4.0), _stack("T-3", unbalance=None)]
    known = ["--baseline", "b.json"] if against == "baseline" else ["--against", "last.sarif"]
    if against == "against" and not options:
        options = ["--max-new-errors", "0"]
    assert audit(new, *known, *options)[0] == expected


# --- the last audit --------------------------------------------------------------------------------------------


def test_a_library_has_no_differences_from_itself(audit: Callable[..., Any]) -> None:
    """In another order of lines, too."""
    library = [
        _stack("T-1", grip=4.0),
        _stack("T-2", unbalance=None),
        _stack("T-3", speed=39_000),
        _stack(None, grip=4.0),
    ]
    audit(library, "--out", "last.sarif")
    _, summary = audit(library[::-1], "--against", "last.sarif")
    told = summary["against"]
    assert told["unchanged"] > 0
    assert (told["new"], told["updated"], told["fixed"], told["gone"], told["same_rules"]) == (0, 0, 0, 0, True)


def test_each_kind_of_difference_is_told(here: Path, audit: Callable[..., Any]) -> None:
    """New, changed, fixed, and gone with its stack, which is not fixed."""
    audit([_stack("A", grip=4.0), _stack("B", grip=4.0), _stack("C", grip=4.0), _stack("D")], "--out", "last.sarif")
    now = [_stack("D", grip=4.0), _stack("B", grip=5.0), _stack("A")]
    _, summary = audit(now, "--against", "last.sarif", "--out", "o.sarif", "--out", "o.html", "--out", "o.csv")
    told = summary["against"]
    for name, stack in (("new", "D"), ("updated", "B"), ("fixed", "A"), ("gone", "C")):
        assert {one["stack"] for one in told[f"first_{name}"]} == {stack}
        assert len(told[f"first_{name}"]) == told[name] > 0
    (grip,) = (one for one in told["first_updated"] if one["code"] == "GRIP-010")
    assert grip["before"] == [4.0, 30.0]
    states: dict[str, set[str]] = {}
    log = json.loads((here / "o.sarif").read_text())
    check_sarif(log)
    for one in log["runs"][0]["results"]:
        states.setdefault(one["properties"]["stack"], set()).add(one["baselineState"])
    assert (states["D"], states["C"]) == ({"new"}, {"absent"})
    assert states["A"] == {"absent"}
    assert "updated" in states["B"]
    # what is absent now was not there the next night
    _, summary = audit(now, "--against", "o.sarif")
    assert (summary["against"]["fixed"], summary["against"]["gone"]) == (0, 0)


@pytest.mark.parametrize(
    "text",
    ["", "{}", "[]", '{"runs": []}', '{"runs": [{"tool": {"driver": {"name": "other"}}, "results": []}]}', "[" * 9999],
)
def test_another_file_is_no_last_audit(here: Path, text: str, capsys: Any) -> None:
    """It is said before anything is judged."""
    write(here / "x.ndjson", [json.dumps(_stack()).encode()])
    (here / "last.sarif").write_text(text)
    assert main(["audit", "x.ndjson", "--against", "last.sarif", "--out", "o.csv"]) == BAD_INPUT
    assert "last.sarif" in capsys.readouterr().err
    assert not (here / "o.csv").exists()


_HOSTILE = [
    ("properties", {"severity": "grave"}),
    ("properties", {"severity": "error", "observed": 10**400}),
    ("properties", {"severity": "error", "limit": float("nan")}),
    ("properties", {"severity": "error", "observed": [1]}),
    ("properties", {"severity": "error", "stack": 3}),
    ("properties", 3),
    ("partialFingerprints", {}),
    ("partialFingerprints", {"stackRulePlace/v1": "x" * 64}),
    ("message", {"text": None}),
    ("ruleId", None),
]


@pytest.mark.parametrize(("name", "value"), _HOSTILE)
def test_a_damaged_last_audit_is_refused(here: Path, name: str, value: Any, capsys: Any) -> None:
    """Whatever is wrong within a result."""
    result = {
        "ruleId": "GRIP-010",
        "message": {"text": "x"},
        "partialFingerprints": {"stackRulePlace/v1": "0" * 64},
        "properties": {"severity": "error"},
    }
    run = {"tool": {"driver": {"name": "stackgauge"}}, "results": [result | {name: value}]}
    (here / "last.sarif").write_text(json.dumps({"runs": [run]}))
    write(here / "x.ndjson", [json.dumps(_stack()).encode()])
    assert main(["audit", "x.ndjson", "--against", "last.sarif"]) == BAD_INPUT
    assert "last.sarif" in capsys.readouterr().err


def test_texts_of_a_last_audit_steer_no_terminal(here: Path, capsys: Any) -> None:
    """Escape sequences and half characters become dots."""
    result = {
        "ruleId": "GRIP-010",
        "message": {"text": "a\x1b[2Jb\ud800"},
        "partialFingerprints": {"stackRulePlace/v1": "0" * 64},
        "properties": {"severity": "error", "stack": "T-1"},
    }
    run = {"tool": {"driver": {"name": "stackgauge"}}, "results": [result]}
    (here / "last.sarif").write_text(json.dumps({"runs": [run]}))
    write(here / "x.ndjson", [json.dumps(_stack()).encode()])
    main(["audit", "x.ndjson", "--against", "last.sarif", "--quiet", "--out", "o.html", "--out", "o.sarif"])
    assert "a·[2Jb·" in capsys.readouterr().out


@pytest.mark.parametrize(
    "options",
    [
        ["--prune-baseline"],
        ["--max-new-errors", "3"],
        ["--baseline", "absent.json"],
        ["--baseline", "x.ndjson"],
        ["--against", "last.sarif", "--out", "last.sarif"],
        ["--waivers", "absent.yaml"],
    ],
)
def test_what_does_not_go_together_is_refused(here: Path, options: list[str], capsys: Any) -> None:
    """With the code for bad input."""
    write(here / "x.ndjson", [json.dumps(_stack()).encode()])
    (here / "last.sarif").write_text("{}")
    assert main(["audit", "x.ndjson", *options]) == BAD_INPUT
    assert capsys.readouterr().err.startswith("audit: ")
    assert (here / "last.sarif").read_text() == "{}"


# --- a broken night --------------------------------------------------------------------------------------------


@pytest.mark.parametrize("chunks", [1, 3])
def test_what_was_met_survives_an_interruption(
    here: Path, monkeypatch: pytest.MonkeyPatch, chunks: int, capsys: Any
) -> None:
    """Killed and resumed, with everything known: the same bytes."""
    monkeypatch.setattr("service.audit.run._CHUNKS_BETWEEN_STATES", 1)
    write(here / "x.ndjson", list(mixed_lines()) * 3)
    main(["audit", "x.ndjson", "--quiet", "--out", "last.sarif", "--write-baseline", "b.json"])
    known = json.loads((here / "b.json").read_text())
    known["fingerprints"] = known["fingerprints"][::2]
    (here / "b.json").write_text(json.dumps(known))
    names = ("o.sarif", "o.html", "o.csv", "o.findings.csv", "o.junit.xml")
    outs = [word for name in names if "findings" not in name for word in ("--out", name)]
    command = ["audit", "x.ndjson", "--quiet", "--against", "last.sarif", "--baseline", "b.json", *outs]
    command += [
        "--write-baseline",
        "next.json",
        "--waivers",
        _written(here, _waiver(stack="KB-0000001")),
        "--as-of",
        DAY,
    ]
    main(command)
    expected = {name: (here / name).read_bytes() for name in (*names, "next.json")}
    answer, left = Here.answer, chunks

    def breaking(self: Here, chunk: Any) -> Any:
        nonlocal left
        left -= 1
        if left < 0:
            raise RuntimeError("broken down")
        return answer(self, chunk)

    with monkeypatch.context() as broken:
        broken.setattr(Here, "answer", breaking)
        assert main([*command, "--resume", "state"]) == FAULT
    assert main([*command, "--resume", "state"]) != INTERRUPTED
    assert {name: (here / name).read_bytes() for name in expected} == expected
    assert not (here / "next.json.new").exists()
    with monkeypatch.context() as broken:
        left = 1
        broken.setattr(Here, "answer", breaking)
        main([*command, "--resume", "state"])
    (here / "b.json").write_text(json.dumps(known | {"fingerprints": []}))
    capsys.readouterr()
    assert main([*command, "--resume", "state"]) == BAD_INPUT
    assert "baseline" in capsys.readouterr().err


def test_a_stack_id_used_twice_is_found(here: Path, audit: Callable[..., Any]) -> None:
    """With both places, in every output; a bare stack counts, too."""
    bare = json.dumps(_stack("T-1")["stack"]).encode() + b"\n"
    code, summary = audit([_stack("T-1"), _stack("T-2"), bare], "--out", "o.ndjson", "--out", "o.csv")
    (found,) = (one for one in summary["parts"] if one["code"] == "AUD-010")
    assert (found["parts"], code) == (1, 1)
    assert "line 1" in found["first"][0]
    assert "line 3" in found["first"][0]
    assert "AUD-010" in (here / "o.findings.csv").read_text()
    assert len(records(here / "o.ndjson")) == 4


def test_verdicts_are_in_order() -> None:
    """The best first, since the gravest is looked for by its place."""
    assert VERDICTS == ("pass", "review", "fail")
