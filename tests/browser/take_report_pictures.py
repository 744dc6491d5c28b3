"""Repeatability, recounts and the tour at both widths and in both themes. See pictures.py."""

import os
from pathlib import Path

import pytest
from playwright.sync_api import Browser

from tests.browser.journeys import WIDTHS, log_in
from tests.browser.pictures import FOLDER
from tests.browser.reports import address_of_report_pages
from tests.browser.test_report_pages import make_report_fleet
from tests.browser.threads import in_a_thread


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("width", WIDTHS)
def test_pictures(live_server, browser: Browser, width, theme):
    folder = Path(os.environ[FOLDER])
    desk = in_a_thread(make_report_fleet)
    page = browser.new_page(viewport={"width": width, "height": 900}, color_scheme=theme)
    log_in(page, live_server.url, desk.cast.verifier)
    for name, address in address_of_report_pages().items():
        page.goto(live_server.url + address)
        page.screenshot(path=folder / f"{name}-{width}-{theme}.png", full_page=True)
    page.close()
