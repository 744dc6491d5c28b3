"""Chromium for the tests of pages. They are run by themselves: `pytest tests/browser`."""

import os
from typing import Any

import pytest

# Playwright runs an event loop in the test's thread, where Django would refuse to use the database. It hides real
# mistakes, so it is set for these tests only.
os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "1")

QUIET = (
    "--no-sandbox --disable-gpu --disable-dev-shm-usage --disable-quic --no-first-run "
    "--disable-background-networking --disable-component-update --disable-sync"
)


@pytest.fixture(scope="session")
def browser_type_launch_args(browser_type_launch_args: dict[str, Any]) -> dict[str, Any]:
    path = os.environ.get("CHROMIUM", "/usr/bin/chromium")
    return {**browser_type_launch_args, "executable_path": path, "args": QUIET.split()}
