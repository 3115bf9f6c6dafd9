"""Start the service, check every stack of the shop over HTTP, print the reports and stop the service.

Run from the root of the project: python demo_data/run_demo.py
"""

from __future__ import annotations

import os
import socket
import subprocess
import sys
import time
from pathlib import Path

import httpx
from rich.console import Console
from rich.table import Table

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent))

from rules.schema.report import Report  # noqa: E402
from service.sheets.check import print_report  # noqa: E402


def free_port() -> int:
    """Return a free port."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def wait_until_ready(client: httpx.Client, server: subprocess.Popen[bytes]) -> None:
    """Wait until /readyz answers 200; exit after 30 seconds."""
    for _ in range(300):
        if server.poll() is not None:
            sys.exit("the service did not start; see its messages above")
        try:
            if client.get("/readyz").status_code == 200:
                return
        except httpx.TransportError:
            pass
        time.sleep(0.1)
    sys.exit("the service did not become ready within 30 seconds")


def ask(client: httpx.Client, file: Path) -> Report:
    """Return the report on one stack."""
    answer = client.post("/v1/checks", content=file.read_bytes(), headers={"Content-Type": "application/json"})
    answer.raise_for_status()
    return Report.model_validate_json(answer.content)


def overview(reports: dict[str, Report]) -> Table:
    """Return a table with one line per stack."""
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="")
    for name in ("stack", "verdict", "findings, rules not decided", "p95 µm"):
        table.add_column(name, justify="right" if name == "p95 µm" else "left", overflow="fold")
    for name, report in reports.items():
        codes = [item.code for item in report.findings]
        if report.undecided:
            first, *others = [item.code for item in report.undecided]
            codes.append(f"{first}? and {len(others)} more" if others else f"{first}?")
        plane = report.runout.plane("gauge_plane")
        p95_um = None if plane is None else plane.quantile_um("p95")
        table.add_row(name, report.verdict, " ".join(codes) or "-", "-" if p95_um is None else f"{p95_um:.1f}")
    return table


def main() -> None:
    """Start the service, check the stacks, print the results."""
    port = free_port()
    command = [sys.executable, "-m", "service", "serve", "--port", str(port)]
    server = subprocess.Popen(
        command,
        cwd=HERE.parent,
        env={**os.environ, "STACKGAUGE_LOG_LEVEL": "warning", "STACKGAUGE_SHUTDOWN_GRACE_S": "0"},
    )
    console = Console(width=None if sys.stdout.isatty() else 100, highlight=False)
    try:
        with httpx.Client(base_url=f"http://127.0.0.1:{port}", timeout=10) as client:
            wait_until_ready(client, server)
            version = client.get("/version").json()
            console.print(f"{version['service']} {version['version']}, checked over HTTP\n")
            reports = {file.stem: ask(client, file) for file in sorted((HERE / "stacks").glob("*.json"))}
    finally:
        server.terminate()
        server.wait(timeout=10)
    first = next(iter(reports.values()))
    print_report(first, console)
    console.print("\nEvery stack of the shop (a question mark marks a rule that was not decided)")
    console.print(overview(reports))


if __name__ == "__main__":
    main()
