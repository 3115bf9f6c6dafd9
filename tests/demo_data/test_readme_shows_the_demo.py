"""The README shows the present output of the program."""

from __future__ import annotations

import re

import pytest

from tests.support.readme import COMMANDS, PICTURES, README, drawn, printed, shown


@pytest.mark.parametrize("name", COMMANDS)
def test_the_output_is_current(name: str) -> None:
    """The program prints what the README shows; python -m tests.support.readme writes it anew."""
    assert printed(name) == shown(name)


@pytest.mark.parametrize("name", PICTURES)
def test_the_pictures_are_current(name: str) -> None:
    """The program draws what the README shows; python -m tests.support.readme draws it anew."""
    assert f"]({name})" in README.read_text(encoding="utf-8")
    assert drawn(name) == (README.parent / name).read_text(encoding="utf-8")


def test_every_file_named_in_the_readme_is_there() -> None:
    """Commands in the README can be typed as they stand."""
    files = set(re.findall(r"demo_data/[\w./-]+\.(?:json|py|svg)", README.read_text(encoding="utf-8")))
    assert files
    assert not [name for name in files if not (README.parent / name).exists()]
