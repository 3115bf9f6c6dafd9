"""The service on a loopback port, and a browser that records errors in its pages."""

from __future__ import annotations

import asyncio
import os
import shutil
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
import uvicorn
from playwright.sync_api import Browser, ConsoleMessage, Page, Request, expect, sync_playwright

from service.http.app import create_app
from service.operations.settings import Settings

CHROMIUM = next(filter(None, map(shutil.which, ("chromium-headless-shell", "chromium", "chromium-browser"))), None)
"""The headless shell is the same browser without a window, and takes a sixth less of the processor."""

OpenPage = Callable[..., Page]

SLOW = os.environ.get("SLOW_PAGES") == "true"
"""With --slow-pages each answer comes late and scripts run slowly, so that what does not wait is found."""

LATE_S = 0.4

TIMES_SLOWER = 4

PATIENCE_MS = 90_000 if SLOW else 30_000
"""A wait ends when what is waited for is there; this long only where it never comes."""

expect.set_options(timeout=PATIENCE_MS)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    if CHROMIUM:
        return
    skip = pytest.mark.skip(reason="there is no chromium on this machine: apt-get install chromium")
    for item in items:
        if Path(__file__).parent in item.path.parents:
            item.add_marker(skip)


@pytest.fixture(scope="session")
def address() -> Iterator[str]:
    """Where the service listens."""
    # a busy machine reaches limits that are no subject of the pages
    app = create_app(Settings(max_request_seconds=300, max_heavy_requests=64))

    async def late(scope: Any, receive: Any, send: Any) -> None:
        if scope["type"] == "http":
            await asyncio.sleep(LATE_S)
        await app(scope, receive, send)

    server = uvicorn.Server(uvicorn.Config(late if SLOW else app, host="127.0.0.1", port=0, log_level="critical"))
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    while not server.started:
        assert thread.is_alive()
        time.sleep(0.01)
    yield f"http://127.0.0.1:{server.servers[0].sockets[0].getsockname()[1]}"
    server.should_exit = True
    thread.join(timeout=10)


@pytest.fixture(scope="package")
def browser() -> Iterator[Browser]:
    """One browser for this folder: its event loop must not be there when other tests start their own."""
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield browser
        browser.close()


@pytest.fixture
def open_page(browser: Browser, address: str) -> Iterator[OpenPage]:
    """Opens a path in a window of a width; at the end no page may have erred, nor asked anyone else."""
    context = browser.new_context(base_url=address, accept_downloads=True)
    context.set_default_timeout(PATIENCE_MS)
    faults: list[str] = []

    def note(message: ConsoleMessage) -> None:
        # a refused request is an answer, and the page's tests look at it
        # and a test that takes the network away looks for what the page says of it
        if message.type == "error" and not _is_answer(message) and "net::ERR_INTERNET_DISCONNECTED" not in message.text:
            faults.append(f"console: {message.text} ({message.location['url']})")

    def watch(request: Request) -> None:
        if not request.url.startswith((address, "blob:", "data:", "about:")):
            faults.append(f"asked elsewhere: {request.url}")

    def listen(page: Page) -> None:
        page.on("console", note)
        page.on("pageerror", lambda error: faults.append(f"script: {error}"))

    context.on("page", listen)
    context.on("request", watch)

    def open_path(path: str = "/", width: int = 1280, **options: Any) -> Page:
        page = context.new_page()
        page.set_viewport_size({"width": width, "height": 900})
        if SLOW:
            context.new_cdp_session(page).send("Emulation.setCPUThrottlingRate", {"rate": TIMES_SLOWER})
        page.goto(path, **options)
        return page

    yield open_path
    context.close()
    assert not faults


def _is_answer(message: ConsoleMessage) -> bool:
    answered = any(f"status of {status} " in message.text for status in (400, 401, 406, 422))
    return answered and "/v1/" in message.location["url"]
