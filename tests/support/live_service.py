"""The service in a separate process, with its log read while it runs."""

from __future__ import annotations

import json
import os
import re
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path
from types import TracebackType
from typing import Any, TypeVar

import httpx
import psutil

from tests.support.served import NO_TLS

ROOT = Path(__file__).resolve().parents[2]

PATIENCE_S = 120
"""Prevents a failing test from hanging."""

Found = TypeVar("Found")


def until(find: Callable[[], Found | None]) -> Found:
    """Return the first true result, polling until then, ever less often."""
    end = time.monotonic() + PATIENCE_S
    pause_s = 0.01
    while not (found := find()):
        assert time.monotonic() < end, "waited in vain"
        time.sleep(pause_s)
        pause_s = min(1.2 * pause_s, 0.1)
    return found


class LiveService:
    """``python -m service serve`` on a free port; killed at the end of the block if it is still running."""

    def __init__(self, *arguments: str, tmpdir: str | None = None, **settings: str) -> None:
        environment = {name: value for name, value in os.environ.items() if not name.startswith("STACKGAUGE_")}
        environment |= {f"STACKGAUGE_{name.upper()}": value for name, value in settings.items()}
        if tmpdir is not None:
            environment["TMPDIR"] = tmpdir
        self.process = subprocess.Popen(
            [sys.executable, "-m", "service", "serve", "--port", "0", *arguments],
            cwd=ROOT,
            env=environment,
            stdin=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            start_new_session=True,
        )
        self.text: list[str] = []
        """Lines of standard error so far."""
        self._parsed: list[dict[str, Any]] = []
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()

    def __enter__(self) -> LiveService:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        # The workers too, which share the session of the process.
        if self.process.poll() is None:
            os.killpg(self.process.pid, signal.SIGKILL)
        self.ended()

    def _read(self) -> None:
        assert self.process.stderr is not None
        for line in self.process.stderr:
            self.text.append(line.decode())

    @property
    def log(self) -> list[dict[str, Any]]:
        """The log so far."""
        while len(self._parsed) < len(self.text):
            self._parsed.append(json.loads(self.text[len(self._parsed)]))
        return list(self._parsed)

    def said(self, message: str) -> bool:
        """Return whether the log has a line with this message."""
        return any(message in line["message"] for line in self.log)

    @property
    def url(self) -> str:
        """Return its address; waits until it is ready."""

        def find() -> str | None:
            assert self.process.poll() is None, self.text
            for line in self.log:
                if found := re.search(r"running on (http://\S+)", line["message"]):
                    try:
                        ready = httpx.get(f"{found[1]}/readyz", timeout=PATIENCE_S, verify=NO_TLS).status_code == 200
                    except httpx.TransportError:
                        return None
                    return found[1] if ready else None
            return None

        return until(find)

    def terminate(self) -> None:
        """Send it the signal to stop."""
        self.process.send_signal(signal.SIGTERM)

    def reload(self) -> None:
        """Send it the signal to read its rulebooks and catalogue anew."""
        self.process.send_signal(signal.SIGHUP)

    def ended(self) -> int:
        """Wait for the end and return the exit code."""
        code = self.process.wait(PATIENCE_S)
        self._reader.join(PATIENCE_S)
        assert self.process.stderr is not None
        self.process.stderr.close()
        return code

    def workers(self) -> set[int]:
        """Return the ids of the processes that have begun to serve and still run."""
        started = {line["pid"] for line in self.log if line["message"].startswith("Started server process")}
        return started & {one.pid for one in psutil.Process(self.process.pid).children()}
