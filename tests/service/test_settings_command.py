"""The list of settings is complete and without secrets; faults name the variable."""

from __future__ import annotations

import errno
import json
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from pydantic import Field, SecretStr

from service.cli.files import BAD_INPUT
from service.cli.main import main
from service.operations.settings import Settings, settings_summary, unknown_variables

MARK = "Q7mark"


class _Secretive(Settings):
    """Settings as an operator with secrets has them, in every shape."""

    tokens: dict[str, SecretStr] = Field(default_factory=dict)
    hashes: tuple[SecretStr, ...] = ()
    by_caller: dict[str, list[SecretStr]] = Field(default_factory=dict)
    other: dict[str, str] = Field(default_factory=dict)
    login: SecretStr | None = None
    api_key: str = ""
    admin_password: str | None = None
    keyboard: str = "shown"


def test_every_setting_is_shown(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    """By its variable, with where it comes from."""
    monkeypatch.setenv("STACKGAUGE_PORT", "9000")
    assert main(["settings"]) == 0
    lines = {line.split()[0]: line for line in capsys.readouterr().out.splitlines()}
    assert list(lines) == [f"STACKGAUGE_{name.upper()}" for name in Settings.model_fields]
    assert lines["STACKGAUGE_PORT"].split()[1:] == ["environment", "9000"]
    assert lines["STACKGAUGE_HOST"].split()[1:] == ["default", "127.0.0.1"]


@pytest.fixture
def settings_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[[str], Path]:
    """Writes the file that the environment names."""

    def write(text: str) -> Path:
        file = tmp_path / "stackgauge.toml"
        file.write_bytes(text.encode("latin-1"))
        monkeypatch.setenv("STACKGAUGE_SETTINGS_FILE", str(file))
        return file

    return write


def test_the_environment_wins_over_the_file_and_the_file_over_the_default(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, settings_file: Callable[[str], Path]
) -> None:
    """And each setting tells its origin, in whatever case the variable is written."""
    settings_file(
        """
        # of the shop
        port = 9000
        workers = 3
        log_level = "error"
        as_of = 2026-05-01
        extra_rulebooks = ["/etc/a", "/etc/b"]
        weakened_safety_rules = ["GRIP-010"]
        tokens_sha256 = ["%s"]
        """
        % ("ab" * 32)
    )
    monkeypatch.setenv("STACKGAUGE_PORT", "9001")
    monkeypatch.setenv("stackgauge_workers", "4")
    assert main(["settings"]) == 0
    told = capsys.readouterr()
    assert not told.err
    assert "ab" * 32 not in told.out
    lines = {line.split()[0].removeprefix("STACKGAUGE_"): line.split(maxsplit=2)[1:] for line in told.out.splitlines()}
    assert {name: lines[name] for name, (origin, _) in lines.items() if origin != "default"} == {
        "PORT": ["environment", "9001"],
        "WORKERS": ["environment", "4"],
        "LOG_LEVEL": ["file", "error"],
        "AS_OF": ["file", "2026-05-01"],
        "EXTRA_RULEBOOKS": ["file", '["/etc/a", "/etc/b"]'],
        "WEAKENED_SAFETY_RULES": ["file", '["GRIP-010"]'],
        "TOKENS_SHA256": ["file", "1 set"],
        "SETTINGS_FILE": ["environment", str(Settings().settings_file)],
    }
    assert Settings(port=9002).port == 9002


@pytest.mark.parametrize(
    ("text", "arguments", "told"),
    [
        (f'port = 1\nmax_body_byte = "{MARK}"\n', [], "{file}:2: max_body_byte is not a setting"),
        (f'[port]\na = "{MARK}"\n[ prot ]\nb = 1\n', [], "{file}:3: prot is not a setting"),
        ('settings_file = "other.toml"\n', [], "{file}:1: settings_file is"),
        ("STACKGAUGE_PORT = 1\n", [], "{file}:1: STACKGAUGE_PORT is not a setting"),
        (f'\n"port" = "{MARK}"\n', [], "{file}:2: port: Input"),
        ("workers = 2\nport = 1\nport = 2\n", [], "{file}: Cannot overwrite a value"),
        ("port == 1\n", [], "{file}: Invalid value"),
        ("host = '\xe9'\n", [], "{file}: not written in UTF-8"),
        ("port = 1\n", ["--port", "99999"], "STACKGAUGE_PORT: Input should"),
        ("tokens_sha256 = ['Q7mark']\n", [], "{file}:1: tokens_sha256: String"),
    ],
)
def test_a_wrong_settings_file_stops_the_start(
    capsys: pytest.CaptureFixture[str],
    settings_file: Callable[[str], Path],
    text: str,
    arguments: list[str],
    told: str,
) -> None:
    """With file and line of the fault; values, which may be secret, are not told."""
    file = settings_file(text)
    assert main(["serve", *arguments]) == BAD_INPUT
    printed = capsys.readouterr()
    assert printed.err.splitlines()[0].startswith(told.format(file=file))
    assert not printed.out
    assert MARK not in printed.err


def test_a_settings_file_that_is_not_there_stops_the_start(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """An operator who names one means it."""
    monkeypatch.setenv("STACKGAUGE_SETTINGS_FILE", "/nowhere/stackgauge.toml")
    assert main(["settings"]) == BAD_INPUT
    assert capsys.readouterr().err == f"/nowhere/stackgauge.toml: {os.strerror(errno.ENOENT)}\n"


@pytest.mark.parametrize(
    "command", [["check", "-"], ["compare", "-"], ["search", "-"], ["gate", "-"], ["audit", "-"], ["export", "-"]]
)
def test_every_command_refuses_a_folder_without_rulebooks(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path, command: list[str]
) -> None:
    """A path that is mistyped or not mounted would take the shop's rules away without a word."""
    monkeypatch.setenv("STACKGAUGE_EXTRA_RULEBOOKS", json.dumps([str(tmp_path), str(tmp_path / "none")]))
    assert main(command) == BAD_INPUT
    empty, missing = capsys.readouterr().err.splitlines()
    assert empty.startswith(f"{tmp_path}:0: no rulebook")
    assert missing.startswith(f"{tmp_path}/none:0: ")
    assert missing.endswith(os.strerror(errno.ENOENT))


@pytest.mark.parametrize(
    ("given", "shown"),
    [
        ({}, {"tokens": "0 set", "login": "not set", "api_key": "not set", "admin_password": "not set"}),
        ({"tokens": {MARK: MARK, "b": MARK}}, {"tokens": "2 set"}),
        ({"hashes": (MARK, MARK, MARK)}, {"hashes": "3 set"}),
        ({"by_caller": {"a": [MARK]}}, {"by_caller": "1 set"}),
        ({"login": MARK}, {"login": "set"}),
        ({"other": {MARK: MARK}}, {"other": "1 set"}),
        ({"login": ""}, {"login": "not set"}),
        ({"api_key": MARK}, {"api_key": "set"}),
        ({"admin_password": MARK}, {"admin_password": "set"}),
        ({}, {"keyboard": "shown"}),
    ],
)
def test_secrets_are_counted_and_not_told(given: dict[str, Any], shown: dict[str, str]) -> None:
    """Known by their type or by the name of the setting."""
    summary = settings_summary(_Secretive(**given))
    assert {name: summary[name] for name in shown} == shown
    assert MARK not in json.dumps(summary)


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("PORT", "tcp://10.0.0.1:8713"),
        ("PORT", "65536"),
        ("WORKERS", "0"),
        ("LOG_LEVEL", "loud"),
        ("SHUTDOWN_GRACE_S", "-1"),
        ("SHUTDOWN_GRACE_S", "nan"),
        ("SHUTDOWN_GRACE_S", "inf"),
        ("EXTRA_RULEBOOKS", MARK),
        ("AS_OF", "yesterday"),
        ("EXPECT_JUDGEMENT_SHA256", "abc"),
        ("WEAKENED_SAFETY_RULES", '["grip"]'),
    ],
)
@pytest.mark.parametrize("command", ["settings", "serve"])
def test_a_wrong_setting_stops_the_start(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, command: str, name: str, value: str
) -> None:
    """The variable is named; what it is set to, which may be secret, is not told."""
    monkeypatch.setenv(f"STACKGAUGE_{name}", value)
    assert main([command]) == BAD_INPUT
    told = capsys.readouterr()
    assert f"STACKGAUGE_{name}" in told.err
    assert not told.out
    assert MARK not in told.err


def test_variables_that_are_no_setting_are_named(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A misspelt limit is seen; the value is not told."""
    monkeypatch.setenv("STACKGAUGE_MAX_BODY_BYTE", MARK)
    assert main(["settings"]) == 0
    told = capsys.readouterr()
    assert told.err == "STACKGAUGE_MAX_BODY_BYTE is not a setting\n"
    assert MARK not in told.out
    assert unknown_variables({"STACKGAUGE_PORT": "1", "stackgauge_x": "1", "OTHER": "1"}) == ["stackgauge_x"]
