"""Parts built without validation equal validated parts with the same values."""

from __future__ import annotations

import contextlib
import random

import pytest
from pydantic import ValidationError

from rules.assessor import Assessor
from rules.quantities.models import construct
from rules.schema.parsing import BadRequestError, parse_request
from rules.schema.report import PositionReport, Report
from tests.support.random_stacks import random_stack

ASSESSOR = Assessor.load()


def test_a_report_is_written_as_its_validated_self_would_be() -> None:
    """Types, order of the fields and completeness, over random stacks: the text is the same to the last byte."""
    rng = random.Random(21)
    told = 0
    for _ in range(300):
        with contextlib.suppress(BadRequestError):
            text = ASSESSOR.assess(parse_request(random_stack(rng))).model_dump_json()
            assert Report.model_validate_json(text).model_dump_json() == text
            told += 1
    assert told > 100


def test_a_made_part_is_a_model_like_any_other() -> None:
    """Equal to the validated one, with all fields set; copied and changed in the copy, never changed itself."""
    part = construct(PositionReport, component="collet-1", from_mm=1.0, to_mm=None)
    plain = PositionReport(component="collet-1", from_mm=1.0, to_mm=None)
    assert part == plain
    assert part.model_fields_set == plain.model_fields_set
    assert part.model_copy(deep=True) == plain
    assert part.model_copy(update={"to_mm": 2.0}).model_dump() == plain.model_dump() | {"to_mm": 2.0}
    assert part.to_mm is None
    with pytest.raises(ValidationError, match="frozen"):
        part.to_mm = 3.0  # type: ignore[misc]
