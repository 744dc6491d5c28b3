"""One whole count, with everything that two people touch counted. See effort.py."""

import os
from pathlib import Path

from playwright.sync_api import Browser

from tests.browser.effort import PRINTED_TO, effort_lines
from tests.browser.test_effort import cast, counted_by_two

__all__ = ["cast"]


def test_effort(browser: Browser, live_server, cast):
    counter = counted_by_two(browser, live_server, cast)
    Path(os.environ[PRINTED_TO]).write_text("".join(f"{line}\n" for line in effort_lines(counter)), encoding="utf-8")
