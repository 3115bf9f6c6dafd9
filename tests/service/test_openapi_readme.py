"""The lines of openapi/README.md that check one stack do so, and the API page shows the same lines."""

from __future__ import annotations

import html
import json
import os
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.support.contract import DOCUMENT
from tests.support.readme_blocks import ADDRESS, blocks
from tests.support.served import ROOT, Served, served

PAGE = ROOT / "service/web/docs.html"


@pytest.fixture(scope="module")
def server() -> Iterator[Served]:
    with served() as one:
        yield one


@pytest.fixture(scope="module")
def expected(server: Served) -> list[str]:
    """The verdict and the undecided rules, as curl gets them."""
    lines = blocks()["sh"].replace(ADDRESS, server.url)
    done = subprocess.run(["/bin/sh", "-c", lines], capture_output=True, text=True, check=True)
    report = json.loads(done.stdout)
    return [report["verdict"], *(rule["code"] for rule in report["undecided"])]


def _printed(lines: str, server: Served, *paths: Path) -> list[str]:
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(map(str, (ROOT, *paths)))}
    program = lines.replace(ADDRESS, server.url)
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=False, env=environment)
    assert done.returncode == 0, done.stderr
    return done.stdout.split()


def test_curl_checks_a_stack(expected: list[str]) -> None:
    """A stack with little stated is left to a review."""
    assert expected[0] == "review"
    assert len(expected) > 1


def test_the_client_of_the_project_checks_it(server: Served, expected: list[str]) -> None:
    """With the same answer."""
    assert _printed(blocks()["python"], server) == expected


def test_a_generated_client_checks_it(server: Served, expected: list[str], tmp_path: Path) -> None:
    """Under the name that its generator gives it."""
    (tmp_path / "settings.yaml").write_text("post_hooks: []\n", encoding="utf-8")
    command = [sys.executable, "-m", "openapi_python_client", "generate", "--path", str(DOCUMENT)]
    told = subprocess.run(
        [*command, "--config", "settings.yaml"], cwd=tmp_path, capture_output=True, text=True, check=False
    )
    assert told.returncode == 0, told.stdout + told.stderr
    assert _printed(blocks()["python generated"], server, tmp_path / "stackgauge-client") == expected


def test_the_page_shows_the_same_lines() -> None:
    """In the order of the file, TypeScript too; python -m tests.contract_tools compiles and runs that."""
    shown = re.findall(r"<pre><code>(.*?)</code></pre>", PAGE.read_text(encoding="utf-8"), re.DOTALL)
    assert [html.unescape(lines) for lines in shown] == list(blocks().values())
