"""The memory of a server does not grow after warm-up."""

from __future__ import annotations

import asyncio
from pathlib import Path

import pytest

from tests.support.load_client import post_all
from tests.support.processes import resident_mib
from tests.support.served import Served
from tests.support.various_stacks import various_bodies

CHECKS = "/v1/checks"
CONNECTIONS = 8
PORTION = 500

WARM_UP = 8192
"""Checks after which the allocator has its arenas and the small caches of texts are full."""

BRIEF_WARM_UP = 600
"""The same for few checks, after which a server grows by some tenths of a MiB."""

GROWTH_MIB = 2.5
"""Room for the allocator.

A report that is never let go would be some 7 KiB a check, 3 MiB in the short form.
"""

pytestmark = pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="reads the memory of Linux processes")


def _answer(server: Served, first: int, count: int) -> None:
    """Let the server check so many stacks that it never saw, and every tenth time refuse one."""
    for start in range(first, first + count, PORTION):
        number = min(PORTION, first + count - start)
        load = asyncio.run(post_all(server.port, CHECKS, list(various_bodies(number, start)), CONNECTIONS))
        assert (load.errors, len(load.latencies_ms)) == (0, number)
        refused = asyncio.run(post_all(server.port, CHECKS, [b'{"stack": 1}'] * (number // 10), CONNECTIONS))
        assert refused.errors == number // 10


def _soak(server: Served, warm_up: int, count: int) -> None:
    _answer(server, 0, warm_up)
    before = resident_mib(server.process.pid)
    _answer(server, warm_up, count)
    grown = resident_mib(server.process.pid) - before
    print(f"{count} checks after {warm_up}: {before:.1f} MiB, {grown:+.1f} MiB")
    assert grown < GROWTH_MIB


def test_a_thousand_checks_leave_nothing_behind(server: Served) -> None:
    """Short form, after a short warm-up."""
    _soak(server, warm_up=BRIEF_WARM_UP, count=450)


@pytest.mark.long
def test_a_hundred_thousand_checks_leave_nothing_behind(server: Served) -> None:
    """Full size, after a long warm-up; one small object a check (28 bytes or more) would exceed the room."""
    _soak(server, warm_up=WARM_UP, count=100_000)
