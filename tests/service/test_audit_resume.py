"""A resumed audit gives the same output files as an uninterrupted one."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

import service.audit.run as run
from rules.assessor import Assessor
from rules.schema.report import Report
from rules.schema.request import CheckRequest
from service.audit.answering import Here
from service.audit.run import Interrupt
from service.batch.lines import CHUNK_LINES, Chunk
from service.cli.audit import INTERRUPTED
from service.cli.files import BAD_INPUT, FAULT
from service.cli.main import main
from tests.support.audits import mixed_lines, stacks, started, write
from tests.support.libraries import library_lines
from tests.support.sizes import spread

OUTS = ("o.ndjson", "o.csv", "o.html", "o.junit.xml")
OPTIONS = [word for out in OUTS for word in ("--out", out)]
WRITTEN = (*OUTS, "o.summary.csv")


@pytest.fixture(scope="module")
def judging(assessor: Assessor) -> Assessor:
    """Rules loaded once that judge equal requests once, since what becomes of the answers is the question here."""
    known: dict[str, Report] = {}

    class Judging(Assessor):
        def __init__(self) -> None:
            vars(self).update(vars(assessor))

        def assess(self, request: CheckRequest) -> Report:
            text = request.model_dump_json()
            if text not in known:
                known[text] = assessor.assess(request)
            return known[text]

    return Judging()


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder to work in, in which the state is noted after every second chunk."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(run, "_CHUNKS_BETWEEN_STATES", 2)
    return tmp_path


@pytest.fixture
def in_process(here: Path, monkeypatch: pytest.MonkeyPatch, judging: Assessor) -> Path:
    """That folder, without a pool and with rules loaded once: every library counts as small."""
    monkeypatch.setattr("service.cli.audit._SMALL_BYTES", 10**9)
    monkeypatch.setattr("service.cli.audit.load_assessor", lambda _: judging)
    return here


def written(folder: Path) -> dict[str, bytes]:
    """Return every output."""
    return {name: (folder / name).read_bytes() for name in WRITTEN}


def _uninterrupted(folder: Path, arguments: list[str], assessor: Assessor) -> dict[str, bytes]:
    """Return the outputs of an audit that runs through in this process."""
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(folder)
        patch.setattr("service.cli.audit._SMALL_BYTES", 10**9)
        patch.setattr("service.cli.audit.load_assessor", lambda _: assessor)
        main(["audit", *arguments, "--quiet", *OPTIONS])
    return written(folder)


def libraries_with_everything(folder: Path) -> list[str]:
    """Three libraries: definitions in front, bad and blank lines, and a document that is read whole."""
    write(folder / "a.ndjson", library_lines(70, 7, "references"))
    write(folder / "b.ndjson", mixed_lines() * 2)
    (folder / "c.json").write_text(json.dumps([json.loads(line) for line in stacks(60)]))
    return ["a.ndjson", "b.ndjson", "c.json"]


@pytest.fixture(scope="module")
def all_outputs(tmp_path_factory: pytest.TempPathFactory, judging: Assessor) -> dict[str, bytes]:
    """What an audit of those libraries writes when nothing interrupts it."""
    folder = tmp_path_factory.mktemp("all")
    return _uninterrupted(folder, libraries_with_everything(folder), judging)


LONG = 256
"""Lines of which the first state covers 64: the rest takes long enough to be interrupted."""


@pytest.fixture(scope="module")
def long_library(tmp_path_factory: pytest.TempPathFactory, judging: Assessor) -> tuple[Path, dict[str, bytes]]:
    """A library, and what an audit of it writes when nothing interrupts it."""
    folder = tmp_path_factory.mktemp("long")
    library = write(folder / "a.ndjson", library_lines(LONG, 7, "references"))
    return library, _uninterrupted(folder, ["a.ndjson"], judging)


def breaking_after(chunks: int) -> Callable[[Here, Chunk], Any]:
    """An answering that breaks down at this chunk."""
    answer = Here.answer
    left = chunks

    def breaking(self: Here, chunk: Chunk) -> Any:
        nonlocal left
        left -= 1
        if left < 0:
            raise RuntimeError("broken down")
        return answer(self, chunk)

    return breaking


@pytest.mark.usefixtures("in_process")
@pytest.mark.parametrize("chunks", spread([0, 1, 2, 3, 4, 6, 7], 4))
def test_after_a_breakdown_it_goes_on(
    here: Path, monkeypatch: pytest.MonkeyPatch, all_outputs: dict[str, bytes], chunks: int, capsys: Any
) -> None:
    """Wherever it breaks down, in whichever library: the outputs are those of an audit without it, byte by byte."""
    command = ["audit", *libraries_with_everything(here), "--quiet", *OPTIONS, "--resume", "state"]
    with monkeypatch.context() as broken:
        broken.setattr(Here, "answer", breaking_after(chunks))
        assert main(command) == FAULT
    place = json.loads((here / "state").read_text())["place"]
    assert (place["line"] + place["library"] > 0) == (chunks >= 2)
    capsys.readouterr()
    main(command)
    assert written(here) == all_outputs
    assert not (here / "state").exists()


@pytest.mark.usefixtures("in_process")
@pytest.mark.parametrize("how", [pytest.param(signal.SIGINT, marks=pytest.mark.long), signal.SIGTERM, signal.SIGKILL])
def test_a_signal_interrupts_and_the_audit_goes_on(
    here: Path, how: signal.Signals, long_library: tuple[Path, dict[str, bytes]], capsys: Any
) -> None:
    """SIGINT and SIGTERM leave with a code of their own, SIGKILL as it comes; then the same command finishes.

    The signal goes to the whole group, as from a keyboard.
    """
    library, expected = long_library
    shutil.copy(library, here / "a.ndjson")
    arguments = ["a.ndjson", *OPTIONS, "--resume", "state"]
    process = started(*arguments, "--workers", "1", cwd=here)
    _wait(process, lambda: _line(here / "state") > 0)
    if how == signal.SIGTERM:
        process.send_signal(how)
    else:
        os.killpg(process.pid, how)
    out, err = process.communicate(timeout=60)
    assert process.returncode == (-signal.SIGKILL if how == signal.SIGKILL else INTERRUPTED)
    assert out == b""
    assert (b"repeat the command to continue from state" in err) == (how != signal.SIGKILL)
    assert 0 < _line(here / "state") < LONG
    assert main(["audit", "--quiet", *arguments]) == 2, capsys.readouterr().err
    assert not (here / "state").exists()
    assert written(here) == expected


def _line(state: Path) -> int:
    try:
        line: int = json.loads(state.read_text())["place"]["line"]
    except FileNotFoundError:
        return 0
    return line


def _wait(process: subprocess.Popen[bytes], done: Callable[[], bool]) -> None:
    for _ in range(6000):
        if done():
            return
        if process.poll() is not None:
            raise AssertionError(f"the audit ended before it could be interrupted: {process.communicate()}")
        time.sleep(0.02)
    process.kill()
    raise AssertionError(f"the audit did not begin: {process.communicate()}")


@pytest.fixture
def interrupted(in_process: Path, monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The command of an audit that was interrupted in the middle."""
    write(in_process / "a.ndjson", stacks(60) * 4)
    command = ["audit", "a.ndjson", "--quiet", "--out", "o.csv", "--out", "o.ndjson", "--resume", "state"]
    with monkeypatch.context() as broken:
        broken.setattr(Here, "answer", breaking_after(5))
        assert main(command) == FAULT
    return command


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ("library", "the libraries are not those of"),
        ("rules", "rulebooks or catalogue are not those of"),
        ("outputs", "the outputs are not those of"),
        ("shorter", "o.ndjson: the output of"),
        ("gone", "o.csv: the output of"),
        ("other", "state: not an audit state file"),
        ("broken", "state: "),
    ],
)
def test_another_audit_can_t_go_on_from_it(
    here: Path, monkeypatch: pytest.MonkeyPatch, interrupted: list[str], change: str, told: str, capsys: Any
) -> None:
    """Whatever would make halves that do not fit is refused, and the state stays for the one it belongs to."""
    capsys.readouterr()
    if change == "library":
        data = (here / "a.ndjson").read_bytes()
        (here / "a.ndjson").write_bytes(data.replace(b"KB-0000059", b"KB-000005X"))
    elif change == "rules":
        monkeypatch.setattr("service.cli.audit.rules_in_force", lambda _: "others")
    elif change == "outputs":
        interrupted[4] = "other.csv"
    elif change == "shorter":
        os.truncate(here / "o.ndjson", 10)
    elif change == "gone":
        (here / "o.csv").unlink()
    else:
        (here / "state").write_text("[]" if change == "other" else "{")
    before = (here / "state").read_bytes()
    assert main(interrupted) == BAD_INPUT
    assert told in capsys.readouterr().err
    assert (here / "state").read_bytes() == before


def test_what_was_written_beyond_the_state_is_written_anew(here: Path, interrupted: list[str]) -> None:
    """A crash may leave more in the outputs than the state knows of: it is cut off."""
    with (here / "o.ndjson").open("ab") as file:
        file.write(b'{"half a line')
    main(interrupted)
    resumed = {name: (here / name).read_bytes() for name in ("o.csv", "o.ndjson", "o.summary.csv")}
    main([word for word in interrupted if word not in ("--resume", "state")])
    assert resumed == {name: (here / name).read_bytes() for name in resumed}


def test_an_interrupt_ends_behind_the_chunk_in_hand(
    here: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The chunk at which the signal comes is the last one written; without a state it is said that all is in vain."""
    monkeypatch.setattr("service.cli.audit._SMALL_BYTES", 10**9)
    answer = Here.answer

    def interrupting(self: Here, chunk: Chunk) -> Any:
        if chunk.first > CHUNK_LINES:
            signal.raise_signal(signal.SIGINT)
        return answer(self, chunk)

    monkeypatch.setattr(Here, "answer", interrupting)
    write(here / "a.ndjson", stacks(60) * 3)
    assert main(["audit", "a.ndjson", "--quiet", "--out", "o.ndjson"]) == INTERRUPTED
    told = capsys.readouterr()
    assert told.err == f"audit: interrupted after {2 * CHUNK_LINES} stacks; the output is incomplete\n"
    assert told.out == ""
    assert len((here / "o.ndjson").read_bytes().splitlines()) == 2 * CHUNK_LINES


def test_the_second_interrupt_is_obeyed_at_once() -> None:
    """The first is noted, the second raises, and afterwards signals do what they did before."""
    before = signal.getsignal(signal.SIGINT)
    with Interrupt() as interrupt:
        signal.raise_signal(signal.SIGINT)
        assert interrupt.asked
        with pytest.raises(KeyboardInterrupt):
            signal.raise_signal(signal.SIGINT)
    assert signal.getsignal(signal.SIGINT) == before
