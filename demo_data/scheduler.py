"""A small scheduler: it holds a work order, takes a corrected stack, releases the order and verifies the decision.

It starts the service, sends the order over HTTP, prints each step and stops the service.
Run from the root of the project: python demo_data/scheduler.py
"""

from __future__ import annotations

import copy
import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import httpx

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE))

from run_demo import free_port, wait_until_ready  # noqa: E402

ORDERS = HERE / "orders"


def read(name: str) -> dict[str, Any]:
    """Return the content of a file under orders."""
    content: dict[str, Any] = json.loads((ORDERS / f"{name}.json").read_text(encoding="utf-8"))
    return content


def decide(client: httpx.Client, order: dict[str, Any]) -> dict[str, Any] | None:
    """Return the gate report, or None: any answer but 200 is no decision, and without one nothing is released."""
    try:
        answer = client.post("/v1/gates", json=order)
    except httpx.TransportError:
        return None
    report: dict[str, Any] | None = answer.json() if answer.status_code == 200 else None
    return report


def tell(report: dict[str, Any]) -> None:
    """Print the decision, and for each operation the reasons and the missing fields."""
    print(f"  {report['decision']} (evaluation {report['evaluation']}, {report['evaluation_name']})")
    for one in report["operations"]:
        print(f"    operation {one['id']}: {one['decision']}")
        for reason in one["reasons"]:
            print(f"      {reason['code']} {reason['message']}")
        for code in sorted({gap["code"] for gap in one["undecided"]}):
            print(f"      {code} could not be decided")
        fields = {field for gap in one["undecided"] for lack in gap["lacks"] for field in lack["at"]}
        for field in sorted(fields):
            print(f"      missing: {field}")


def corrected(order: dict[str, Any]) -> dict[str, Any]:
    """Return the order with the corrected stack in its operation and the next revision letter."""
    sent = read("kb-wo-2107-corrected-stack")
    order = copy.deepcopy(order)
    for operation in order["operations"]:
        if operation["id"] == sent["operation"]:
            operation["stack"] = sent["stack"]
    order["revision"] = chr(ord(order["revision"]) + 1)
    return order


def may_start(client: httpx.Client, stored: dict[str, Any], order: dict[str, Any]) -> bool:
    """Return whether this order still gets the stored decision; print the expectations that are not met."""
    answer = client.post("/v1/gates", json={**order, "expect": stored})
    report = answer.raise_for_status().json()
    print(f"  may start: {'yes' if report['may_start'] else 'no'}")
    for one in report["unmet"]:
        print(f"    {one['name']}: not as expected")
    return bool(report["may_start"])


def schedule(client: httpx.Client) -> bool:
    """Return whether one order was held, corrected, released and verified as it should be."""
    order = read("kb-wo-2107")
    store: dict[str, Any] | None = None
    for _ in range(3):
        print(f"Gate check of order {order['order']}, revision {order['revision']}")
        report = decide(client, order)
        if report is None:
            print("  no decision: order held")
            return False
        tell(report)
        if report["context"] != order["context"]:
            return False
        if report["decision"] == "stop":
            return False
        if report["may_start"]:
            store = {
                "digest": report["digest"],
                "input_sha256": report["input_sha256"],
                "judgement_sha256": report["provenance"]["judgement_sha256"],
            }
            print("  digest stored with the order")
            break
        print("The toolroom sends the corrected stack")
        order = corrected(order)
    if store is None:
        return False
    print("Before the start, with the digests")
    good = may_start(client, store, order)
    print("Operation 20 is made faster")
    changed = copy.deepcopy(order)
    changed["operations"][1]["spindle_speed_rpm"] = 12000
    return good and not may_start(client, store, changed)


def main() -> int:
    """Start the service, run the scheduler, stop the service."""
    port = free_port()
    command = [sys.executable, "-m", "service", "serve", "--port", str(port)]
    environment = {**os.environ, "STACKGAUGE_LOG_LEVEL": "warning", "STACKGAUGE_SHUTDOWN_GRACE_S": "0"}
    server = subprocess.Popen(command, cwd=HERE.parent, env=environment)
    try:
        with httpx.Client(base_url=f"http://127.0.0.1:{port}", timeout=10) as client:
            wait_until_ready(client, server)
            return 0 if schedule(client) else 1
    finally:
        server.terminate()
        server.wait(timeout=10)


if __name__ == "__main__":
    sys.exit(main())
