"""Each page at the width of a phone and of a desk screen, in the light and in the dark theme. See pictures.py."""

import os
from pathlib import Path

import pytest
from playwright.sync_api import Browser

from tests.browser.journeys import WIDTHS, address_of_pages, log_in
from tests.browser.pictures import FOLDER


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("width", WIDTHS)
def test_pictures(live_server, fleet, browser: Browser, width, theme):
    folder = Path(os.environ[FOLDER])
    page = browser.new_page(viewport={"width": width, "height": 900}, color_scheme=theme)
    page.goto(f"{live_server.url}/login")
    page.screenshot(path=folder / f"login-{width}-{theme}.png", full_page=True)
    log_in(page, live_server.url, fleet.cast.control)
    for name, address in address_of_pages(fleet).items():
        page.goto(live_server.url + address)
        page.screenshot(path=folder / f"{name}-{width}-{theme}.png", full_page=True)
    page.close()
