"""All ways to install compile the rules engine with the same flags, and reject the same versions of Python."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path
from runpy import run_path
from typing import Any, Final

import pytest
from packaging.requirements import Requirement
from packaging.specifiers import SpecifierSet

ROOT = Path(__file__).resolve().parents[2]
INSTALLER = "service/deploy/install.py"
INSTALL: Final[dict[str, Any]] = run_path(str(ROOT / INSTALLER))
PROJECT_FILE: Final[dict[str, Any]] = tomllib.loads((ROOT / "pyproject.toml").read_text())
PROJECT = PROJECT_FILE["project"]
BASH = shutil.which("bash") or ""


def _readme_command(name: str) -> str:
    found = re.search(rf"<!-- {name} command -->\n```sh\n(.*)\n```", (ROOT / "README.md").read_text())
    assert found is not None
    return found[1]


def test_the_flags_stated_elsewhere_are_the_installers() -> None:
    """The README and the message of the engine that does not load show them for an installation by other means."""
    stated = {
        place: re.findall(r'CPPFLAGS="([^"]*)"', (ROOT / place).read_text())
        for place in (
            "README.md",
            "DEVELOPERS.md",
            ".ci/run",
            "service/deploy/Containerfile",
            "rules/rulebook/engine.py",
        )
    }
    assert stated["README.md"]
    assert stated["rules/rulebook/engine.py"]
    assert {flags for found in stated.values() for flags in found} == {INSTALL["BUILD_FLAGS"]}
    pin = re.search(r"durable-rules==[\d.]+", (ROOT / "requirements.lock").read_text())
    assert pin is not None
    assert pin[0] in (ROOT / "rules" / "rulebook" / "engine.py").read_text()


@pytest.mark.parametrize("name", ["demo", "test"])
def test_the_readmes_commands_install_with_the_installer(name: str) -> None:
    """In one line, and pip is not called beside it."""
    command = _readme_command(name)
    assert command.startswith(f"python3 {INSTALLER} && .venv/bin/python ")
    assert "pip" not in command


def test_the_image_is_installed_with_the_installer() -> None:
    """What pip itself then installs is this project alone."""
    lines = (ROOT / "service" / "deploy" / "Containerfile").read_text().splitlines()
    runs = [line for line in lines if line.startswith("RUN ") and ("pip " in line or ".py " in line)]
    assert next(line.split()[1:3] for line in runs) == ["python", INSTALLER]
    assert all("--no-deps ." in line for line in runs[1:])


def test_the_installer_takes_the_versions_the_project_states() -> None:
    """As `requires-python` is read by the library that pip itself uses, and as the classifiers list them."""
    stated = SpecifierSet(PROJECT["requires-python"])
    taken = [f"3.{minor}" for minor in range(40) if not INSTALL["refusal"](3, minor)]
    assert taken == [f"3.{minor}" for minor in range(40) if f"3.{minor}" in stated]
    assert [f"Programming Language :: Python :: {version}" for version in taken] == PROJECT["classifiers"]
    assert INSTALL["refusal"](2, 12)
    assert INSTALL["refusal"](4, 12)


def test_another_python_is_refused_in_one_line(tmp_path: Path) -> None:
    """Before anything is installed."""
    folder = tmp_path / "stackgauge"
    (folder / "service" / "deploy").mkdir(parents=True)
    shutil.copy(ROOT / INSTALLER, folder / INSTALLER)
    (folder / "pyproject.toml").write_text('[project]\nrequires-python = ">=3.5,<3.7"\n')
    done = subprocess.run(
        [sys.executable, folder / INSTALLER], cwd=folder, capture_output=True, text=True, check=False, timeout=60
    )
    version = f"{sys.version_info.major}.{sys.version_info.minor}"
    assert done.returncode == 1
    assert done.stderr == f"stackgauge needs Python 3.5 to 3.6; {sys.executable} is Python {version}\n"
    assert sorted(path.name for path in folder.iterdir()) == ["pyproject.toml", "service"]


@pytest.mark.parametrize(("flags", "reach"), [("-DOWN=1", "-DOWN=1 "), ("", "")])
def test_the_flags_reach_pip(tmp_path: Path, flags: str, reach: str) -> None:
    """Together with those of the caller; and the exit code is that of the first command that fails."""
    seen: list[tuple[list[str], str | None]] = []

    def call(command: list[str], **given: Any) -> int:
        seen.append((command[1:4], given.get("env", {}).get("CPPFLAGS")))
        return 3 if "install" in command else 0

    install = INSTALL["install"]
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("CPPFLAGS", flags)
        patch.setattr(subprocess, "call", call)
        assert install(tmp_path / "environment", tmp_path / "lock") == 3
    assert seen[-1] == (["-m", "pip", "install"], reach + INSTALL["BUILD_FLAGS"])
    assert seen[0] == (["-m", "venv", str(tmp_path / "environment")], None)


def test_the_kernel_is_one_thing_however_it_is_built() -> None:
    """Wheel and installer compile the same sources with the same flags."""
    modules = PROJECT_FILE["tool"]["setuptools"]["ext-modules"]
    sources = {str(file.relative_to(ROOT)) for file in (ROOT / "rules" / "kernel").glob("*.c")}
    assert {source for one in modules for source in one["sources"]} == sources
    assert {one["name"].replace(".", "/") + ".c" for one in modules} == sources
    assert len({tuple(one["extra-compile-args"]) for one in modules}) == 1
    assert not {"-ffast-math", "-Ofast"} & {*modules[0]["extra-compile-args"]}
    assert all(one["optional"] for one in modules)
    seen: list[list[str]] = []
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(subprocess, "call", lambda command: seen.append(command) or 7)
        assert INSTALL["build_kernel"]("-DOWN=1") == 7
    (command,) = seen
    assert {*modules[0]["extra-compile-args"], "-DOWN=1"} <= {*command}


@pytest.mark.parametrize("trouble", ["another source", "no kernel"])
def test_without_its_kernel_nothing_starts(tmp_path: Path, trouble: str) -> None:
    """One line says how to build it, from the command line and from Python."""
    for name in ("rules", "service"):
        shutil.copytree(ROOT / name, tmp_path / name, ignore=shutil.ignore_patterns("__pycache__"))
    folder = tmp_path / "rules" / "kernel"
    if trouble == "another source":
        with (folder / "_beam.c").open("a") as file:
            file.write("/* changed */\n")
    else:
        for file in folder.glob("_beam.*.so"):
            file.unlink()
    stack = str(ROOT / "demo_data" / "stacks" / "14-short-grip.json")
    for arguments in (["-m", "service", "check", stack], ["-c", "import rules; rules.check"]):
        done = subprocess.run(
            [sys.executable, *arguments],
            cwd=tmp_path,
            env={**os.environ, "PYTHONPATH": str(tmp_path)},
            capture_output=True,
            text=True,
            check=False,
            timeout=60,
        )
        assert done.returncode != 0
        assert done.stdout == ""
        last = done.stderr.splitlines()[-1]
        assert last.removeprefix("rules.MissingExtraError: ").startswith("The compiled kernel is")
        assert f"python3 {INSTALLER} --kernel" in last
        assert len(done.stderr.splitlines()) == 1 or arguments[0] == "-c"


@pytest.mark.skipif(not BASH or not shutil.which("git"), reason="no bash or no git")
@pytest.mark.parametrize("code", [0, 1])
def test_ci_runs_the_readmes_command_on_a_fresh_clone(tmp_path: Path, code: int) -> None:
    """Of the commit, not of what lies in the folder; on the Python asked for; with the exit code of the tests."""
    checkout = tmp_path / "checkout"
    (checkout / ".ci").mkdir(parents=True)
    shutil.copy(ROOT / ".ci" / "run", checkout / ".ci" / "run")
    (checkout / "README.md").write_text("<!-- test command -->\n```sh\npython3 tests.py && echo done\n```\n")
    (checkout / "tests.py").write_text(f"import sys\nprint('tests on', sys.executable)\nsys.exit({code})\n")
    git = ["git", "-c", "user.name=nobody", "-c", "user.email=nobody@example.com", "-c", "commit.gpgsign=false"]
    for arguments in (["init", "-q"], ["add", "."], ["commit", "-qm", "One"]):
        subprocess.run([*git, *arguments], cwd=checkout, check=True, capture_output=True)
    (checkout / "tests.py").write_text("print('not committed')\n")
    done = subprocess.run(
        [BASH, checkout / ".ci" / "run"],
        env={**os.environ, "PYTHON": sys.executable, "TMPDIR": str(tmp_path)},
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
    )
    assert done.returncode == code, done.stderr
    printed = done.stdout.splitlines()
    assert f"tests on {sys.executable}" in printed
    assert (printed[-1] == "done") == (code == 0)
    assert [line.split()[-1] for line in printed if line.startswith("python ")] == [sys.executable]
    assert [path.name for path in tmp_path.iterdir()] == ["checkout"]


def test_the_lock_holds_one_version_of_a_package_for_every_python() -> None:
    """What is tested on one is what runs on all: figures of another numpy or scipy may differ in the last digit."""
    lines = re.findall(r"^(\S+==.*?)(?: \\)?$", (ROOT / "requirements.lock").read_text(), flags=re.MULTILINE)
    pins = [Requirement(line) for line in lines]
    versions: dict[str, set[str]] = {}
    for minor in range(11, 15):
        python = {"python_full_version": f"3.{minor}.9", "python_version": f"3.{minor}"}
        for pin in pins:
            if pin.marker is None or pin.marker.evaluate(python):
                versions.setdefault(pin.name, set()).add(str(pin.specifier))
    assert {"numpy", "scipy", "durable-rules"} <= versions.keys()
    assert {name: found for name, found in versions.items() if len(found) > 1} == {}
