"""Each page at the width of a phone and of a desk screen, in the light and in the dark theme. See pictures.py."""

import os
from pathlib import Path

import pytest
from playwright.sync_api import Browser

from tests.browser.desk import ADMINISTRATORS_PAGES, address_of_desk_pages, make_desk_fleet
from tests.browser.journeys import WIDTHS, address_of_pages, log_in
from tests.browser.pictures import FOLDER
from tests.browser.reports import address_of_report_pages
from tests.browser.test_report_pages import make_report_fleet
from tests.browser.threads import in_a_thread
from tests.builders import second_administrator
from tests.pages_fleet import make_fleet


def of_records():
    fleet = make_fleet()
    return [(fleet.cast.control, {"login": "/login", **address_of_pages(fleet)})]


def of_a_desk():
    desk = make_desk_fleet()
    return [(desk.cast.control, address_of_desk_pages(desk)), (second_administrator(), ADMINISTRATORS_PAGES)]


def of_reports():
    return [(make_report_fleet().cast.verifier, address_of_report_pages())]


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("pages", [of_records, of_a_desk, of_reports])
def test_pictures(live_server, browser: Browser, pages, width, theme):
    folder = Path(os.environ[FOLDER])
    page = browser.new_page(viewport={"width": width, "height": 900}, color_scheme=theme)
    for person, addresses in in_a_thread(pages):
        log_in(page, live_server.url, person)
        for name, address in addresses.items():
            page.goto(live_server.url + address)
            page.screenshot(path=folder / f"{name}-{width}-{theme}.png", full_page=True)
    page.close()
