"""A real browser on the counter page: the service over the seed data, started for the tests.

`apt-get install chromium` gives the browser; without one the tests are skipped, or fail where NEED_BROWSER is set.
"""

import os
import shutil
import socket
import time
from collections.abc import Iterator
from contextlib import contextmanager
from threading import Thread
from typing import Any

import pytest
import uvicorn
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect

from api_client import seed_app

_BROWSERS = ("chromium", "chromium-browser", "google-chrome")
# WCAG 2.0 to 2.2 at levels A and AA, by axe-core's own names
_WCAG = {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]}
_COLOURS = {"type": "rule", "values": ["color-contrast", "link-in-text-block"]}


def browser_path() -> str | None:
    """Where a browser is installed, None without one."""
    return next(filter(None, map(shutil.which, _BROWSERS)), None)


@contextmanager
def serving() -> Iterator[str]:
    """Where the service over the seed data answers, as long as it is wanted."""
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        port = taken.getsockname()[1]
    server = uvicorn.Server(uvicorn.Config(seed_app(), port=port, log_level="error"))
    thread = Thread(target=server.run, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.02)
    yield f"http://127.0.0.1:{port}"
    server.should_exit = True
    thread.join()


@pytest.fixture(scope="session")
def browser_type_launch_args(browser_type_launch_args: dict[str, Any]) -> dict[str, Any]:
    found = browser_path()
    if found is None:
        missing = "no browser is installed; apt-get install --no-install-recommends chromium fonts-liberation"
        if os.environ.get("NEED_BROWSER"):
            pytest.fail(missing)
        pytest.skip(missing)
    return {**browser_type_launch_args, "executable_path": found, "args": ["--no-sandbox", "--disable-dev-shm-usage"]}


@pytest.fixture(scope="session")
def base_url(browser_type_launch_args: dict[str, Any]) -> Iterator[str]:
    """Where the service is; started once a worker, only where there is a browser."""
    assert browser_type_launch_args
    with serving() as base:
        yield base


@pytest.fixture(scope="session", autouse=True)
def _patience() -> None:
    """An answer takes a second, a contradiction several, and longer where many tests run at once."""
    expect.set_options(timeout=60_000)


@pytest.fixture
def complaints(page: Page) -> list[str]:
    """What the browser complains of, such as something that the policy forbids."""
    found: list[str] = []
    page.on("console", lambda message: found.append(message.text) if message.type in ("error", "warning") else None)
    page.on("pageerror", lambda error: found.append(str(error)))
    return found


def violations(page: Page, only_colours: bool = False) -> list[str]:
    """What axe-core finds against WCAG 2.2 AA: the rule, and the first place; on request only what is wrong with
    colours."""
    # what passes is of no use here, and telling it takes most of the time
    options = {"runOnly": _COLOURS if only_colours else _WCAG, "resultTypes": ["violations"]}
    results = Axe().run(page, options=options)
    return [f"{v['id']}: {v['help']}: {v['nodes'][0]['html'][:160]}" for v in results.response["violations"]]
