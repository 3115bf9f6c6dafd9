"""What is told of a joint."""

from __future__ import annotations

from typing import get_args

from rules.facts.joints import TELLING
from rules.tables.couplings import JointClass


def test_something_is_told_of_every_joint_class() -> None:
    """A class of the table that nothing is told of would stop a check."""
    assert set(TELLING) == set(get_args(JointClass))
