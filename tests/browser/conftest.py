"""Chromium for the tests of pages. They are run by themselves: `pytest tests/browser`."""

import os
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest
from django.db import connections
from playwright.sync_api import expect

from tests.pages_fleet import Fleet, make_fleet

# Playwright runs an event loop in the test's thread, where Django would refuse to use the database. It hides real
# mistakes, so it is set for these tests only.
os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "1")

expect.set_options(timeout=20_000)  # a machine at work on other things is slow, and not wrong

QUIET = (
    "--no-sandbox --disable-gpu --disable-dev-shm-usage --disable-quic --no-first-run "
    "--disable-background-networking --disable-component-update --disable-sync"
)


@pytest.fixture(scope="session")
def browser_type_launch_args(browser_type_launch_args: dict[str, Any]) -> dict[str, Any]:
    path = os.environ.get("CHROMIUM", "/usr/bin/chromium")
    return {**browser_type_launch_args, "executable_path": path, "args": QUIET.split()}


@pytest.fixture
def fleet(live_server: Any) -> Fleet:
    """Made in a thread of its own: in this one Playwright's event loop runs, in which no other can be started."""
    with ThreadPoolExecutor(1) as thread:
        made = thread.submit(make_fleet).result()
        thread.submit(connections.close_all).result()
    return made
