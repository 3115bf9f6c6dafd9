"""Properties of the stack as a whole."""

from __future__ import annotations

import pytest

from rules.rulebook.loader import base_request
from tests.support.stacks import derived_of


@pytest.mark.parametrize(("field", "name"), [("thread", "knob_thread"), ("form", "knob_form")])
def test_what_a_knob_does_not_state_is_lacking_there(field: str, name: str) -> None:
    """By the pointer of the knob's own field."""
    request = base_request("press_in")
    (place,) = [n for n, part in enumerate(request["stack"]["components"]) if part["kind"] == "retention_knob"]
    del request["stack"]["components"][place][field]
    (stack,) = [fact for fact in derived_of(request).facts if fact.kind == "stack"]
    assert stack.lacking[name] == (f"/stack/components/{place}/{field}",)
