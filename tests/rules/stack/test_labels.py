"""Labels of stack and parts are repeated on every face of the answer, and judge nothing."""

from __future__ import annotations

import copy
import html
import json
from typing import Any

import pytest

from rules.assessor import Assessor
from rules.schema.parsing import BadRequestError, parse_request
from service.audit.outputs import HEAD, CsvOutput
from service.batch.lines import NOTHING, Shared, answer_lines
from service.sheets.check import report_text
from service.sheets.page import report_page

ASSESSOR = Assessor.load()

_LABELS = {"tool number": "T 4711", "cell": "A <1>"}
_OWN = {"owner": "tool room"}
_LINE = "cell: A <1>; tool number: T 4711; holder owner: tool room; mill A: ; mill revision: c"


def _request(**changes: Any) -> dict[str, Any]:
    holder = {"kind": "reference", "id": "holder", "of": {"from": "request", "key": "H"}, "with": {"labels": _OWN}}
    return {
        "stack": {
            "id": "KB-1",
            "components": [holder, {"kind": "cutter", "id": "mill", "labels": {"revision": "c", "A": ""}}],
        },
        "components": {"H": {"kind": "base_holder", "id": "h", "labels": {"owner": "stores", "shelf": "3"}}},
        "labels": _LABELS,
        **changes,
    }


def test_labels_of_stack_and_parts_in_the_order_of_names() -> None:
    """Those laid over a definition replace its own."""
    report = ASSESSOR.assess(parse_request(_request()))
    assert [(one.component, one.name, one.text) for one in report.labels] == [
        (None, "cell", "A <1>"),
        (None, "tool number", "T 4711"),
        ("holder", "owner", "tool room"),
        ("mill", "A", ""),
        ("mill", "revision", "c"),
    ]
    assert report.label_line == _LINE


def test_labels_judge_nothing() -> None:
    """The answer without them differs in labels and digest of the request alone."""
    plain = copy.deepcopy(_request())
    del plain["labels"], plain["components"]["H"]["labels"], plain["stack"]["components"][0]["with"]
    del plain["stack"]["components"][1]["labels"]
    told, bare = (ASSESSOR.assess(parse_request(one)) for one in (_request(), plain))
    assert bare.labels == []
    kept = {"labels", "provenance"}
    assert told.model_dump(exclude=kept) == bare.model_dump(exclude=kept)


def test_every_face_has_them() -> None:
    """Text and page at the head and with the work instruction; the page escapes them."""
    report, analysis = ASSESSOR.assess_instructed(parse_request(_request()))
    assert report_text(report).replace("\n", " ").count("holder owner: tool room") == 2
    page = report_page(report, analysis)
    assert page.count(html.escape(_LINE)) == 3
    assert "A <1>" not in page


def test_a_section_left_out_leaves_them() -> None:
    """They are there whatever is included."""
    answer = ASSESSOR.assess(parse_request(_request())).only([])
    assert json.loads(answer.model_dump_json())["labels"][0] == {"component": None, "name": "cell", "text": "A <1>"}


def test_a_row_of_an_audit_has_them(tmp_path: Any) -> None:
    """In the last column."""
    lines = [json.dumps(_request()).encode()]
    (answer,) = answer_lines(ASSESSOR, 1, lines, Shared(NOTHING), "reports")
    output = CsvOutput(tmp_path / "audit.csv")
    output.begin()
    output.add("library", answer)
    output.close()
    head, row = (tmp_path / "audit.csv").read_text(encoding="utf-8").splitlines()
    assert head.split(",") == list(HEAD)
    assert row.endswith(f",{_LINE}")


@pytest.mark.parametrize(
    ("labels", "pointer"),
    [
        ({"owner": "x" * 201}, "/stack/components/0/labels/owner"),
        ({"owner": "a\nb"}, "/stack/components/0/labels/owner"),
        ({"owner": 3}, "/stack/components/0/labels/owner"),
        ({"x" * 65: "a"}, "/stack/components/0/labels"),
        ({str(n): "a" for n in range(51)}, "/stack/components/0/labels"),
        ("tool 3", "/stack/components/0/labels"),
    ],
)
def test_number_and_length_are_bounded(labels: Any, pointer: str) -> None:
    """Fifty labels, a name of 64 and a text of 200 characters in one line."""
    with pytest.raises(BadRequestError) as caught:
        parse_request({"stack": {"components": [{"kind": "collet", "id": "c", "labels": labels}]}})
    assert caught.value.faults[0].pointer == pointer
