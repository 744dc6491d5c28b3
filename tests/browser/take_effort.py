"""Twenty whole counts, with everything that two people touch counted. See effort.py."""

import os
from pathlib import Path

from playwright.sync_api import Browser

from tests.browser.counting_by_two import worked
from tests.browser.drawn_counts import drawn_counts
from tests.browser.effort import PRINTED_TO, effort_lines, table_lines
from tests.browser.test_worksheet import cast

__all__ = ["cast"]


def test_effort(browser: Browser, live_server, cast):
    efforts = list(worked(browser, live_server, cast, drawn_counts()))
    lines = [*effort_lines(efforts[0].counter), "", *table_lines(efforts)]
    Path(os.environ[PRINTED_TO]).write_text("".join(f"{line}\n" for line in lines), encoding="utf-8")
