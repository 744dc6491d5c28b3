"""The pages of repeatability, recounts and the tour in a real browser."""

import re

import pytest
from playwright.sync_api import Page

from tests.browser.desk import make_desk_fleet
from tests.browser.journeys import WIDTHS, log_in
from tests.browser.reports import address_of_report_pages
from tests.browser.test_pages import LEAST_TARGET_PX, SIZES, noises, violations
from tests.browser.threads import in_a_thread
from tests.browser.widths import wider_than_the_screen
from tests.inspections.services.intake.test_records import COUNTS_HEADER, bring_in
from tests.reports.first_readings import bring_in_many

__all__ = ["noises"]


def make_report_fleet():
    """The desk's fleet, many first readings, and a reel of which the newest count is in doubt."""
    desk = make_desk_fleet()
    bring_in_many(desk.cast, 160)
    bring_in({"counts.csv": COUNTS_HEADER + "LW-0021,2025-01-20T10:00:00Z,12,10,,,\n"})
    return desk


@pytest.fixture
def cast(live_server):
    return in_a_thread(make_report_fleet).cast


def every_page(page: Page, live_server, cast):
    log_in(page, live_server.url, cast.verifier)
    for name, address in address_of_report_pages().items():
        page.goto(live_server.url + address)
        yield name


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_axe_finds_nothing_and_nothing_is_said_on_the_console(page: Page, live_server, cast, theme, noises):
    page.emulate_media(color_scheme=theme)
    assert {name: found for name in every_page(page, live_server, cast) if (found := violations(page))} == {}
    assert [noise for noise in noises if not re.search(r"status of 404", noise)] == []


@pytest.mark.parametrize("width", [320, *WIDTHS])
def test_no_page_is_wider_than_the_screen_and_every_target_is_big_enough(page: Page, live_server, cast, width):
    page.set_viewport_size({"width": width, "height": 800})
    wide, small = {}, {}
    for name in every_page(page, live_server, cast):
        wide[name] = wider_than_the_screen(page)
        small[name] = [each for each in page.evaluate(SIZES) if each[2] < LEAST_TARGET_PX]
    assert {name: by for name, by in wide.items() if by > 0} == {}
    assert {name: targets for name, targets in small.items() if targets} == {}
