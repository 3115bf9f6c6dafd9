"""Progress is shown to people on standard error, unless they turn it off."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

import pytest
from rich.console import Console

from service.audit.progress import Bar, Lines, Nothing, progress_of
from service.cli.main import main
from tests.support.audits import stacks, write

pytestmark = pytest.mark.usefixtures("judged_once")


def test_a_line_now_and_then() -> None:
    """First principles: at most one in ten seconds; rate and time left from what this run did, not an earlier one."""
    said: list[str] = []
    clock = iter((100.0, 104.0, 110.0, 115.0, 120.0))
    lines = Lines(1_000_000, said.append, lambda: next(clock), done=(500, 100_000))
    for answered, byte in ((600, 150_000), (1500, 200_000), (1600, 210_000), (2500, 550_000)):
        lines.update(answered, byte)
    assert said == [
        "1500 stacks, 100/s, 20 %, about 81 s left",
        "2500 stacks, 100/s, 55 %, about 21 s left",
    ]


def test_no_time_left_where_the_end_is_not_known() -> None:
    """Standard input has no size: answers and rate only."""
    said: list[str] = []
    clock = iter((0.0, 20.0))
    lines = Lines(None, said.append, lambda: next(clock))
    lines.update(100, 5000)
    assert said == ["100 stacks, 5/s"]


def test_a_bar_on_a_terminal() -> None:
    """The bar tells percent, stacks, rate; it is gone at the end."""
    terminal = io.StringIO()
    with Bar(1000, Console(file=terminal, force_terminal=True, width=100)) as bar:
        bar.update(40, 500)
    assert "50%" in terminal.getvalue()
    assert "40 stacks" in terminal.getvalue()


def test_the_bar_counts_from_where_it_resumed() -> None:
    """First principles: 5 bytes a second since the resume leave 18 s for 90 bytes, whatever was done before."""
    clock = [0.0]
    terminal = Console(file=io.StringIO(), force_terminal=True, width=100, get_time=lambda: clock[0])
    bar = Bar(1000, terminal, done=(300, 880))
    for second in range(1, 7):
        clock[0] = float(second)
        bar.update(300 + second, 880 + 5 * second)
    task = bar._progress.tasks[0]
    assert task.time_remaining == pytest.approx(18.0)
    assert task.fields["rate"] == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("terminal", "quiet", "kind"), [(True, False, Bar), (False, False, Lines), (True, True, Nothing)]
)
def test_who_is_told_how(monkeypatch: pytest.MonkeyPatch, terminal: bool, quiet: bool, kind: type) -> None:
    """A bar for a terminal, lines for a log, nothing when quiet."""
    monkeypatch.setattr("sys.stderr", type("Stream", (io.StringIO,), {"isatty": lambda _: terminal})())
    assert type(progress_of(10, quiet=quiet)) is kind


def test_quiet_says_nothing_on_standard_error(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: Any) -> None:
    """With lines at every portion, --quiet still has none; the summary stays on standard output."""
    monkeypatch.setattr("service.audit.progress._SECONDS_BETWEEN_LINES", 0.0)
    library = str(write(tmp_path / "a.ndjson", stacks(60)[:2]))
    main(["audit", library])
    assert "audit: 2 stacks" in capsys.readouterr().err
    main(["audit", library, "--quiet"])
    printed = capsys.readouterr()
    assert printed.err == ""
    assert printed.out.startswith("2 stacks judged")
