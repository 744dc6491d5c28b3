"""The pages of a desk at both widths and in both themes. See pictures.py."""

import os
from pathlib import Path

import pytest
from playwright.sync_api import Browser

from tests.browser.desk import ADMINISTRATORS_PAGES, address_of_desk_pages, make_desk_fleet
from tests.browser.journeys import WIDTHS, log_in
from tests.browser.pictures import FOLDER
from tests.browser.threads import in_a_thread
from tests.builders import second_administrator


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("width", WIDTHS)
def test_pictures(live_server, browser: Browser, width, theme):
    folder = Path(os.environ[FOLDER])
    desk = in_a_thread(make_desk_fleet)
    page = browser.new_page(viewport={"width": width, "height": 900}, color_scheme=theme)
    log_in(page, live_server.url, desk.cast.control)
    for name, address in address_of_desk_pages(desk).items():
        page.goto(live_server.url + address)
        page.screenshot(path=folder / f"{name}-{width}-{theme}.png", full_page=True)
    log_in(page, live_server.url, in_a_thread(second_administrator))
    for name, address in ADMINISTRATORS_PAGES.items():
        page.goto(live_server.url + address)
        page.screenshot(path=folder / f"{name}-{width}-{theme}.png", full_page=True)
    page.close()
