"""Parts of an answer are built without validation, as pydantic's own ``model_construct`` builds them."""

from __future__ import annotations

import json
import pickle
from pathlib import Path

import pytest

from rules.quantities.models import construct
from rules.schema.report import JointEnds, Quantity, Report
from tests.support.stacks import report_of


def test_a_part_is_that_of_pydantic() -> None:
    """Equal, with the same fields set, in the order of the contract, and unchangeable."""
    made, other = (
        construct(JointEnds, lower="mill", upper="collet"),
        JointEnds.model_construct(lower="mill", upper="collet"),
    )
    assert made == other
    assert made.model_dump_json() == other.model_dump_json() == '{"upper":"collet","lower":"mill"}'
    assert made.model_fields_set == other.model_fields_set
    assert pickle.loads(pickle.dumps(made)) == made  # noqa: S301
    with pytest.raises(ValueError, match="frozen"):
        made.upper = "x"  # type: ignore[misc]


def test_another_field_is_no_part() -> None:
    """As many fields as the model has, one of them misnamed."""
    with pytest.raises(KeyError):
        construct(Quantity, value=1.0, units="um")  # type: ignore[call-arg]


@pytest.mark.parametrize("file", sorted(Path("demo_data/stacks").glob("*.json")), ids=lambda file: file.stem)
def test_a_report_so_built_is_valid(file: Path) -> None:
    """Validation of the JSON gives the same report: nothing was of another type than the contract says."""
    report = report_of(json.loads(file.read_bytes()))
    assert Report.model_validate_json(report.model_dump_json()) == report
