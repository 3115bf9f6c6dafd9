"""The list of settings is complete and without secrets; faults name the variable."""

from __future__ import annotations

import json
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
    assert lines["STACKGAUGE_PORT"].split()[1:] == ["set", "here", "9000"]
    assert lines["STACKGAUGE_HOST"].split()[1:] == ["default", "127.0.0.1"]


def test_settings_are_given_as_json(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    """For scripts."""
    monkeypatch.setenv("STACKGAUGE_EXTRA_RULEBOOKS", '["/etc/a", "/etc/b"]')
    assert main(["settings", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["extra_rulebooks"] == ["/etc/a", "/etc/b"]
    assert told.keys() == Settings.model_fields.keys()


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
