"""The pages of repeatability, recounts and the tour in a real browser."""

import pytest
from playwright.sync_api import Page

from tests.browser.desk import make_desk_fleet
from tests.browser.journeys import log_in
from tests.browser.looks import faults
from tests.browser.reports import address_of_report_pages
from tests.browser.threads import in_a_thread
from tests.inspections.services.intake.test_records import COUNTS_HEADER, bring_in
from tests.reports.first_readings import bring_in_many
from tests.worlds import step


@step
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


def test_every_page_is_accessible_in_both_themes_quiet_and_as_wide_as_its_screen(page: Page, live_server, cast, noises):
    assert {name: bad for name in every_page(page, live_server, cast) if (bad := [*faults(page), *noises()])} == {}
