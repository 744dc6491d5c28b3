"""Chromium for the tests of pages. They are run by themselves: `pytest tests/browser`."""

import os
import re
import shutil
from collections.abc import Callable
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from tests.browser.threads import in_a_thread
from tests.pages_fleet import Fleet, make_fleet

# Playwright runs an event loop in the test's thread, where Django would refuse to use the database. It hides real
# mistakes, so it is set for these tests only.
os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "1")

expect.set_options(timeout=20_000)  # a machine at work on other things is slow, and not wrong

QUIET = (
    "--no-sandbox --disable-gpu --disable-dev-shm-usage --disable-quic --no-first-run "
    "--disable-background-networking --disable-component-update --disable-sync"
)


def chromium() -> str:
    """CHROMIUM if it is set; else the headless shell, which does the same with less processor time, or Chromium."""
    programs = [os.environ["CHROMIUM"]] if os.environ.get("CHROMIUM") else ["chromium-headless-shell", "chromium"]
    path = next(filter(None, map(shutil.which, programs)), None)
    assert path, f"there is no {' or '.join(programs)} to run: install it, or name a program in CHROMIUM"
    return path


@pytest.fixture(scope="session")
def browser_type_launch_args(browser_type_launch_args: dict[str, Any]) -> dict[str, Any]:
    return {**browser_type_launch_args, "executable_path": chromium(), "args": QUIET.split()}


@pytest.fixture
def fleet(live_server: Any) -> Fleet:
    return in_a_thread(make_fleet)


@pytest.fixture
def noises(page: Page) -> Callable[[], list[str]]:
    """What the console has complained of since last asked, but for refusals; and requests to other hosts."""
    heard: list[str] = []
    page.on("console", lambda message: heard.append(message.text) if message.type in {"error", "warning"} else None)
    page.on("pageerror", lambda error: heard.append(str(error)))
    page.on("request", lambda request: heard.append(request.url) if "localhost" not in request.url else None)

    def since_last_asked() -> list[str]:
        new = [noise for noise in heard if not re.search(r"status of (404|422)", noise)]
        heard.clear()
        return new

    return since_last_asked
