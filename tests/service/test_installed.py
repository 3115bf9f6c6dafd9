"""The wheel in empty environments: the contract and the client alone, and with the server."""

from __future__ import annotations

import json
import os
import re
import subprocess
from collections.abc import Mapping
from pathlib import Path
from zipfile import ZipFile

import httpx
import pytest

from rules import check, decide_release
from rules.schema.parsing import parse_request
from rules.schema.strict_json import parse_json
from service.cli import FAULT
from service.cli.files import VERDICT_CODES
from tests.support.installed import ROOT, build_wheel, install, modules_of
from tests.support.served import served
from tests.support.signing import PRINTED_THUMBPRINT, set_of, signed

DEMO = ROOT / "demo_data"
STACK = DEMO / "stacks" / "14-short-grip.json"
ORDER = DEMO / "orders" / "kb-wo-2107.json"
ELSEWHERE: Mapping[str, str] = {name: value for name, value in os.environ.items() if not name.startswith("PYTHON")}


def answered(file: Path) -> str:
    """What the service answers to the request of a file: the sections that it asks for."""
    data = file.read_bytes()
    return check(data).only(parse_request(parse_json(data)).sections).model_dump_json()


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return build_wheel(tmp_path_factory.mktemp("wheel"))


@pytest.fixture(scope="module")
def base(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An environment with what ``pip install stackgauge`` brings."""
    return install(wheel, tmp_path_factory.mktemp("base"))


@pytest.fixture(scope="module")
def server(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An environment with what ``pip install 'stackgauge[server]'`` brings."""
    return install(wheel, tmp_path_factory.mktemp("server"), "server")


def _run(environment: Path, folder: Path, program: str, *arguments: str | Path) -> subprocess.CompletedProcess[str]:
    run = [environment / "bin" / program, *arguments]
    return subprocess.run(
        run, cwd=folder, env=ELSEWHERE, capture_output=True, encoding="utf-8", stdin=subprocess.DEVNULL, check=False
    )


def test_the_wheel_holds_every_file_that_is_read(wheel: Path) -> None:
    """Two packages, whole: tables, rulebooks, templates, pages, the marks that they are typed. Only texts stay out."""
    names = {name for name in ZipFile(wheel).namelist() if ".dist-info/" not in name}
    packages = [ROOT / "rules", ROOT / "service"]
    files = {str(file.relative_to(ROOT)) for package in packages for file in package.rglob("*") if file.is_file()}
    assert names == {name for name in files if "/__pycache__/" not in name and not name.endswith(".md")}
    assert {"rules/py.typed", "service/py.typed"} <= names


def test_the_contract_and_the_client_need_no_extra(base: Path, tmp_path: Path) -> None:
    """Every module of the contract is there, from the environment and not from this project, with its types."""
    told = """
import importlib, pkgutil, typing
import rules.schema, service.client, service.contract
from rules import BadRequestError
from rules.schema.parsing import parse_request
from rules.schema.strict_json import parse_json

for module in pkgutil.iter_modules(rules.schema.__path__, "rules.schema."):
    importlib.import_module(module.name)
for client in (service.client.Client, service.client.AsyncClient):
    for name in vars(client):
        if not name.startswith("_"):
            typing.get_type_hints(getattr(client, name))
try:
    parse_request({})
except BadRequestError:
    print(rules.__file__, service.__file__, sep="\\n")
"""
    done = _run(base, tmp_path, "python", "-c", told)
    assert (done.returncode, done.stderr) == (0, "")
    assert all(Path(file).is_relative_to(modules_of(base)) for file in done.stdout.split())


@pytest.mark.parametrize("command", [["check", str(STACK)], ["serve"], ["--help"]])
@pytest.mark.parametrize("program", [["stackgauge"], ["python", "-m", "service"]], ids=" ".join)
def test_a_command_without_the_server_extra_says_so(
    program: list[str], command: list[str], base: Path, tmp_path: Path
) -> None:
    """In one line that tells how to install it; the exit code is no verdict."""
    done = _run(base, tmp_path, *program, *command)
    assert (done.returncode, done.stdout) == (FAULT, "")
    (line,) = done.stderr.splitlines()
    assert line.startswith("The command line needs the server extra: ")
    assert "pip install 'stackgauge[server]' (" in line


def test_a_check_without_the_server_extra_says_so(base: Path, tmp_path: Path) -> None:
    """An import that fails tells how to mend it."""
    done = _run(base, tmp_path, "python", "-c", "from rules import check")
    assert done.returncode == 1
    told = "rules.MissingExtraError: rules.check needs the server extra: pip install 'stackgauge[server]' ("
    assert done.stderr.splitlines()[-1].startswith(told)
    assert "During handling" not in done.stderr


def test_the_verify_extra_verifies(base: Path, wheel: Path, tmp_path: Path) -> None:
    """A stored answer is verified without the server; without the extra, the client says what to install."""
    (tmp_path / "answer.json").write_text(signed().model_dump_json())
    (tmp_path / "keys.json").write_text(json.dumps(set_of()))
    told = """
import json
from pathlib import Path
from rules.schema.gate import GateReport
from service.client import verify_signature

answer = GateReport.model_validate_json(Path("answer.json").read_bytes())
print(verify_signature(answer, json.loads(Path("keys.json").read_bytes())))
"""
    done = _run(install(wheel, tmp_path / "verify", "verify"), tmp_path, "python", "-c", told)
    assert (done.returncode, done.stdout, done.stderr) == (0, f"{PRINTED_THUMBPRINT}\n", "")
    done = _run(base, tmp_path, "python", "-c", told)
    assert done.returncode == 1
    assert "'stackgauge[verify]'" in done.stderr.splitlines()[-1]


def test_commands_work_elsewhere(server: Path, tmp_path: Path) -> None:
    """Rules, tables and templates are found, what is written is written here, and the installation stays as it was."""
    before = _files(modules_of(server))
    for arguments, printed in (
        (("check", STACK, "--json", "--unstated", "undecided", "--html", "page.html"), answered(STACK) + "\n"),
        (("draw", STACK, "--out", "stack.svg"), ""),
        (("audit", STACK, "--quiet", "--out", "audit.html", "--out", "audit.csv"), None),
    ):
        done = _run(server, tmp_path, "stackgauge", *arguments)
        assert (done.returncode, done.stderr) == (VERDICT_CODES["fail"], "")
        assert printed in (done.stdout, None)
    assert {file.name for file in tmp_path.iterdir()} == {
        *("page.html", "stack.svg", "audit.html", "audit.csv", "audit.findings.csv", "audit.summary.csv")
    }
    assert "<style>" in (tmp_path / "audit.html").read_text(encoding="utf-8")
    assert _files(modules_of(server)) == before


def _files(modules: Path) -> dict[str, bytes]:
    """Return the project's files in an environment with their contents, but for Python's cache."""
    return {
        str(file): file.read_bytes()
        for package in ("rules", "service")
        for file in (modules / package).rglob("*")
        if file.is_file() and "__pycache__" not in file.parts
    }


def test_the_client_asks_the_served_installation(base: Path, server: Path, tmp_path: Path) -> None:
    """The report is that of the library, the decision is verified, and the pages come with their scripts."""
    told = """
import json, sys
from pathlib import Path
from service.client import Client

url, stack, order = sys.argv[1:]
with Client(url) as client:
    print(client.check(json.loads(Path(stack).read_bytes())).model_dump_json())
    print(client.releases(json.loads(Path(order).read_bytes())).report.decision)
"""
    with served(
        python=server / "bin" / "python",
        folder=tmp_path,
        environment=dict.fromkeys(set(os.environ) - set(ELSEWHERE), ""),
    ) as service:
        done = _run(base, tmp_path, "python", "-c", told, service.url, STACK, ORDER)
        assert (done.returncode, done.stderr) == (0, "")
        report, decision = done.stdout.splitlines()
        assert report == answered(STACK)
        assert decision == decide_release(ORDER.read_bytes()).decision
        scripts = [*re.findall(r'(?:src|href)="([^"]+\.(?:js|css))"', httpx.get(f"{service.url}/").text)]
        assert scripts
        for path in ("/docs", *scripts):
            assert httpx.get(f"{service.url}/{path.lstrip('/')}").status_code == 200
