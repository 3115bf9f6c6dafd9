"""The order of the demo is on hold because of one tool, and released with the corrected stack."""

from __future__ import annotations

import importlib.util
import json
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from rules.assessor import Assessor
from rules.gate.gate import gate
from rules.schema.gate import GateReport, GateRequest
from rules.schema.parsing import parse
from rules.schema.strict_json import parse_json
from service.http.app import create_app
from service.http.questions import gates_router
from service.operations.settings import Settings
from tests.service.conftest import Client

DEMO = Path(__file__).resolve().parents[2] / "demo_data"
ORDERS = DEMO / "orders"
TOOLS = {"10": "04-shrink-fit-rougher", "20": "15-incomplete-library-entry", "30": "08-hydraulic-with-sleeve"}
"""Operation -> the shop's stack it is to run with."""


def _json(file: Path) -> Any:
    return parse_json(file.read_bytes())


@pytest.fixture(scope="module")
def assessor() -> Assessor:
    return Assessor.load()


def _decided(order: Any, assessor: Assessor) -> GateReport:
    return gate(parse(GateRequest, order), assessor)


def test_every_order_is_expected() -> None:
    """No file without an expectation."""
    assert {file.name for file in ORDERS.iterdir()} == {"kb-wo-2107.json", "kb-wo-2107-corrected-stack.json"}


def test_the_tools_are_those_of_the_shop() -> None:
    """Three stacks to the letter; the corrected one is the deep-rib stack with its entry complete."""
    order = _json(ORDERS / "kb-wo-2107.json")
    stacks = {one["id"]: one["stack"] for one in order["operations"]}
    assert stacks == {number: _json(DEMO / "stacks" / f"{name}.json")["stack"] for number, name in TOOLS.items()}
    corrected = _json(ORDERS / "kb-wo-2107-corrected-stack.json")
    assert corrected["operation"] == "20"
    assert corrected["stack"] == _json(DEMO / "stacks" / "01-deep-rib-shrink-extension.json")["stack"]


def test_one_tool_is_held(assessor: Assessor) -> None:
    """Data are missing of the second tool alone, so the order is held and the others are not."""
    report = _decided(_json(ORDERS / "kb-wo-2107.json"), assessor)
    assert (report.decision, report.evaluation) == ("hold", 3)
    assert {one.id: one.decision for one in report.operations} == {"10": "release", "20": "hold", "30": "release"}
    held = report.operations[1]
    assert held.reasons == []
    assert {gap.code for gap in held.undecided} == {
        *("BAL-020", "GRIP-050", "GRIP-070", "GRIP-080", "RUN-010", "RUN-020", "RUN-030", "RUN-040", "RUN-060"),
        *("SHR-030", "SPD-020", "STF-010", "STF-040", "STF-070", "MCH-070"),
    }
    assert {field for gap in held.undecided for lack in gap.lacks for field in lack.at} == {
        "/operations/1/stack/components/1/runout",
        "/operations/1/stack/components/1/machine_side/length_mm",
        "/operations/1/stack/components/2/unbalance_g_mm",
    }


def test_the_corrected_stack_is_released(assessor: Assessor) -> None:
    """With the stack exchanged and nothing else, the order is released."""
    order = _json(ORDERS / "kb-wo-2107.json")
    order["operations"][1]["stack"] = _json(ORDERS / "kb-wo-2107-corrected-stack.json")["stack"]
    report = _decided(order, assessor)
    assert (report.decision, report.evaluation, report.counts.release) == ("release", 1, 3)
    assert report.context == order["context"]


@pytest.fixture
def scheduler(monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    """The program, loaded from where it lies."""
    monkeypatch.syspath_prepend(str(DEMO))
    spec = importlib.util.spec_from_file_location("demo_scheduler", DEMO / "scheduler.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


class _Posting:
    """What the program needs of a client, in this process; it may be told to fail."""

    def __init__(self, assessor: Assessor, fails: bool = False) -> None:
        app = create_app(Settings(), assessor)
        app.include_router(gates_router(assessor))
        self.client = Client(app)
        self.fails = fails
        self.asked: list[str] = []

    def post(self, path: str, **options: Any) -> Any:
        self.asked.append(path)
        return self.client.request("POST", "/v1/no-such-route" if self.fails else path, **options)


def test_the_scheduler_holds_corrects_releases_and_verifies(
    scheduler: ModuleType, assessor: Assessor, capsys: Any
) -> None:
    """Golden: the steps in their order, each asked over HTTP."""
    posting = _Posting(assessor)
    assert scheduler.schedule(posting) is True
    assert posting.asked == ["/v1/gates"] * 4
    lines = capsys.readouterr().out.splitlines()
    steps = [line for line in lines if not line.startswith("    ")]
    assert steps == [
        "Gate check of order KB-WO-2107, revision A",
        "  hold (evaluation 3, NotDecidable)",
        "The toolroom sends the corrected stack",
        "Gate check of order KB-WO-2107, revision B",
        "  release (evaluation 1, OK)",
        "  digest stored with the order",
        "Before the start, with the digests",
        "  may start: yes",
        "Operation 20 is made faster",
        "  may start: no",
    ]
    assert "      missing: /operations/1/stack/components/1/runout" in lines
    assert lines[-1] == "    digest: not as expected"


def test_the_scheduler_releases_nothing_without_a_decision(
    scheduler: ModuleType, assessor: Assessor, capsys: Any
) -> None:
    """Whatever is not a 200 is no decision: the order is held."""
    posting = _Posting(assessor, fails=True)
    assert scheduler.schedule(posting) is False
    assert posting.asked == ["/v1/gates"]
    assert capsys.readouterr().out.splitlines()[-1] == "  no decision: order held"


def test_the_files_are_written_as_the_others() -> None:
    """Indented by two, so that a difference is a change."""
    for file in ORDERS.iterdir():
        text = file.read_text(encoding="utf-8")
        assert text == json.dumps(json.loads(text), indent=2) + "\n"
