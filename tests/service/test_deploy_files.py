"""The systemd unit and the container file start an existing program with existing settings, without privileges."""

from __future__ import annotations

import re
import shlex
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import httpx
import pytest

from service.cli.files import BAD_INPUT
from service.cli.main import _parser, main
from service.http.access import digest_of
from service.operations.connections import OTHER_FILES
from service.operations.settings import Settings
from tests.support.served import served

ROOT = Path(__file__).resolve().parents[2]
DEPLOY = ROOT / "service" / "deploy"
UNIT = DEPLOY / "stackgauge.service"
CONTAINERFILE = DEPLOY / "Containerfile"
ANALYZE = shutil.which("systemd-analyze") or ""

PREFIX = "/opt/stackgauge/bin/"


def _unit() -> list[tuple[str, str]]:
    """The assignments of the unit, in order; a name may come more than once."""
    lines = UNIT.read_text().splitlines()
    return [(name, value) for name, eq, value in (line.partition("=") for line in lines) if eq and name[0] != "#"]


def _values(name: str) -> list[str]:
    return [value for one, value in _unit() if one == name]


def _instructions() -> list[tuple[str, str]]:
    """The instructions of the container file, with their lines joined."""
    text = re.sub(r"^#.*\n", "", CONTAINERFILE.read_text(), flags=re.MULTILINE).replace("\\\n", " ")
    return [(name, rest) for name, _, rest in (line.partition(" ") for line in text.splitlines() if line.strip())]


def _starts(command: list[str]) -> None:
    """The command is installed by this project and its arguments are understood."""
    program, *arguments = command
    scripts = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]["scripts"]
    assert program.removeprefix(PREFIX) in scripts
    assert _parser(arguments[0]).parse_args(arguments).run.__module__ == "service.cli.serve"


def _settings(assignments: list[str]) -> Settings:
    """The settings that these assignments make; none of them is unknown or secret."""
    given = dict(one.split("=", 1) for one in assignments)
    names = {name.removeprefix("STACKGAUGE_").lower() for name in given}
    assert names <= Settings.model_fields.keys()
    assert not {name for name in names if re.search("token|secret|password|key", name)}
    return Settings.model_validate({name.removeprefix("STACKGAUGE_").lower(): value for name, value in given.items()})


def test_the_unit_starts_the_service() -> None:
    """With known settings, and time enough to end in order."""
    (command,) = _values("ExecStart")
    _starts(shlex.split(command))
    settings = _settings(_values("Environment"))
    (stop_s,) = _values("TimeoutStopSec")
    assert int(stop_s) > settings.shutdown_grace_s + settings.shutdown_timeout_s
    (files,) = _values("LimitNOFILE")
    assert settings.max_connections + OTHER_FILES <= int(files)
    # The signal that reads the rules anew, which takes two workers or more.
    assert _values("ExecReload") == ["/bin/kill -HUP $MAINPID"]
    assert settings.workers > 1
    # The supervisor tells the workers; batch processes told at once would drop the lines they are at.
    assert _values("KillMode") == ["mixed"]


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("DynamicUser", "yes"),
        ("NoNewPrivileges", "yes"),
        ("CapabilityBoundingSet", ""),
        ("ProtectSystem", "strict"),
        ("ProtectHome", "yes"),
        ("PrivateTmp", "yes"),
        ("PrivateDevices", "yes"),
        ("MemoryDenyWriteExecute", "yes"),
        ("SystemCallFilter", "@system-service"),
    ],
)
def test_the_unit_gives_no_more_than_is_needed(name: str, value: str) -> None:
    """Each once, and not taken back later."""
    assert _values(name) == [value]


@pytest.mark.skipif(not ANALYZE, reason="no systemd-analyze")
def test_systemd_finds_nothing_wrong_with_the_unit(tmp_path: Path) -> None:
    """Every name is known to it, and the exposure it computes is low (0 to 10; services without care reach 9.6)."""
    copy = tmp_path / UNIT.name
    copy.write_text(UNIT.read_text().replace(f"{PREFIX}stackgauge", sys.executable))
    done = subprocess.run([ANALYZE, "verify", str(copy)], capture_output=True, text=True, check=False)
    assert (done.returncode, [line for line in done.stderr.splitlines() if UNIT.name in line]) == (0, [])
    rated = subprocess.run(
        [ANALYZE, "security", "--offline=true", "--no-pager", "--threshold=20", str(copy)],
        capture_output=True,
        text=True,
        check=False,
    )
    assert rated.returncode == 0, rated.stdout + rated.stderr


def test_the_container_starts_the_service_as_nobody_in_particular() -> None:
    """Not as root, with known settings, listening where the container's port leads."""
    told = _instructions()
    last = [rest for name, rest in told if name == "USER"]
    assert len(last) == 1
    assert all(int(one) >= 1000 for one in last[0].split(":"))
    assert [name for name, _ in told].index("USER") > max(
        place for place, (name, _) in enumerate(told) if name in ("FROM", "COPY", "RUN")
    )
    settings = _settings([one for name, rest in told if name == "ENV" for one in shlex.split(rest)])
    assert settings.host == "0.0.0.0"  # noqa: S104 - inside of the container
    ((_, exposed),) = [one for one in told if one[0] == "EXPOSE"]
    assert int(exposed) == settings.port
    entry, arguments = (
        re.findall('"([^"]+)"', rest) for wanted in ("ENTRYPOINT", "CMD") for name, rest in told if name == wanted
    )
    _starts([*entry, *arguments])


def _image_environment() -> dict[str, str]:
    """What the image sets in the environment."""
    given = [one for name, rest in _instructions() if name == "ENV" for one in shlex.split(rest)]
    return dict(one.split("=", 1) for one in given)


def test_the_run_line_of_the_container_starts_the_service() -> None:
    """With the digest of a token in its place, the same command starts here and asks for that token."""
    (line,) = re.findall(r"^# Run:  (.*)$", CONTAINERFILE.read_text(), flags=re.MULTILINE)
    words = shlex.split(line.replace("DIGEST", digest_of("a-token")))
    assert words[:2] == ["podman", "run"]
    given = dict(words[place + 1].split("=", 1) for place, word in enumerate(words) if word == "-e")
    (published,) = [words[place + 1] for place, word in enumerate(words) if word == "-p"]
    assert published.split(":")[1] == str(Settings().port)
    environment = _image_environment() | given
    with served(environment=environment) as service:
        for token, status in (("another", 401), ("a-token", 422)):
            headers = {"Authorization": f"Bearer {token}"}
            assert httpx.post(f"{service.url}/v1/checks", json={}, headers=headers).status_code == status
        assert httpx.post(f"{service.url}/v1/checks", json={}).status_code == 401


@pytest.mark.parametrize("file", [UNIT, CONTAINERFILE], ids=lambda file: file.name)
def test_what_the_comments_advise_are_settings(file: Path) -> None:
    """Each name exists, the one of the key that signs among them."""
    named = {one.lower() for one in re.findall(r"STACKGAUGE_(\w+)", file.read_text())}
    assert named <= Settings.model_fields.keys()
    assert "gate_key_file" in named


def test_the_image_does_not_start_open(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    """Without the digest of the run line it stops, and names both settings that the container file names."""
    for variable, value in _image_environment().items():
        monkeypatch.setenv(variable, value)
    assert main(["serve"]) == BAD_INPUT
    told = capsys.readouterr().err
    for name in ("STACKGAUGE_TOKENS_SHA256", "STACKGAUGE_OPEN_BEHIND_PROXY"):
        assert name in told
        assert name in CONTAINERFILE.read_text()


def test_the_image_is_built_from_what_is_let_in() -> None:
    """What is copied exists and is let in by the list of what is left out, which begins with everything."""
    ignored = [line for line in (ROOT / ".dockerignore").read_text().splitlines() if line and line[0] != "#"]
    assert ignored[0] == "*"
    let_in = {line[1:] for line in ignored if line[0] == "!"}
    copied = [
        source
        for name, rest in _instructions()
        if name in ("COPY", "ADD") and "--from" not in rest
        for source in rest.split()[:-1]
    ]
    assert copied
    for source in copied:
        assert (ROOT / source).exists()
        assert source.split("/")[0] in let_in


def _pins(text: str) -> dict[str, tuple[str, ...]]:
    """Hashes by pinned requirement."""
    entries = re.split(r"\n(?=\S)", text.strip())
    return {entry.split(" \\\n")[0]: tuple(sorted(re.findall(r"sha256:\w+", entry))) for entry in entries}


def test_what_runs_is_what_was_tested() -> None:
    """The lock file of the image is a part of the project's, hash for hash, and lacks nothing that is needed.

    When this fails, compile it anew as DEVELOPERS.md says.
    """
    whole, part = (_pins((folder / "requirements.lock").read_text()) for folder in (ROOT, DEPLOY))
    assert part.items() <= whole.items()
    assert all(part.values())
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    extras = project["optional-dependencies"]
    needed = [*project["dependencies"], *extras["server"], *extras["verify"]]
    names = {re.split("[^a-z0-9-]", one.replace("_", "-"), maxsplit=1)[0] for one in needed} - {project["name"]}
    assert names <= {one.partition("==")[0] for one in part}
    assert "pytest" not in {one.partition("==")[0] for one in part}
