"""On a phone with a slow connection: tapped twice, gone back to, and open in two windows; stored once."""

import time

import pytest
from playwright.sync_api import Browser, Page, expect

from inspections.models import Keying
from reels.models import CableEvent
from tests import stories
from tests.browser.journeys import log_in
from tests.browser.threads import in_a_thread
from tests.browser.worksheet_steps import fill_scales, make_cast, phone
from tests.builders import Cast

SLOW = {"offline": False, "latency": 1500, "downloadThroughput": 20_000, "uploadThroughput": 10_000}  # ms, bytes/s
CUT_PAGE = "/reels/LW-0001/cut"


@pytest.fixture
def cast(live_server):
    return in_a_thread(make_cast)


def slow(page: Page) -> None:
    page.context.new_cdp_session(page).send("Network.emulateNetworkConditions", SLOW)


def stored(model) -> int:
    return int(in_a_thread(model._base_manager.count))


def tap_until_stored(page: Page, name: str, model) -> None:
    """Tap, and once it is stored, and before the phone has heard of it, tap again."""
    button = page.get_by_role("button", name=name)
    button.scroll_into_view_if_needed()
    box = button.bounding_box()  # for the mouse, which waits for no answer
    assert box, "it is there to be tapped"
    middle = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.click(*middle)
    until = time.monotonic() + 20
    while not stored(model) and time.monotonic() < until:
        time.sleep(0.02)
    page.mouse.click(*middle)


def opened(page: Page, live_server, metres: str) -> None:
    page.goto(f"{live_server.url}{CUT_PAGE}")
    page.get_by_label("Date and time, in the site's time zone").fill("2026-03-02T08:30")
    page.get_by_label("Cable removed, in metres").fill(metres)
    page.get_by_label("Remark").fill("frayed")


@pytest.mark.parametrize("scripts", [True, False])
def test_a_cut_that_is_tapped_twice_is_logged_once_and_its_page_says_so(browser: Browser, live_server, cast, scripts):
    context = phone(browser, java_script_enabled=scripts)
    page = context.new_page()
    log_in(page, live_server.url, cast.control)
    opened(page, live_server, "12.5")
    slow(page)
    tap_until_stored(page, "Log the cut", CableEvent)
    expect(page.get_by_text("The cut of 12.5 m is logged.")).to_be_visible()
    assert stored(CableEvent) == 1
    page.go_back()  # a form that the browser gets anew is empty, so that it is not sent again unawares
    expect(page.get_by_label("Cable removed, in metres")).to_have_value("")
    page.get_by_role("button", name="Log the cut").click()
    assert stored(CableEvent) == 1
    context.close()


def test_a_cut_in_two_windows_is_asked_about_in_the_second_with_what_was_typed(browser: Browser, live_server, cast):
    context = phone(browser)
    first, second = context.new_page(), context.new_page()
    log_in(first, live_server.url, cast.control)
    opened(first, live_server, "12.5")
    opened(second, live_server, "3")
    first.get_by_role("button", name="Log the cut").click()
    first.wait_for_url(f"{live_server.url}/reels/LW-0001")
    second.get_by_role("button", name="Log the cut").click()
    expect(second.get_by_role("alert")).to_contain_text("something else was recorded for reel LW-0001: Cable cut")
    expect(second.get_by_label("Cable removed, in metres")).to_have_value("3")
    expect(second.get_by_label("Remark")).to_have_value("frayed")
    assert stored(CableEvent) == 1
    second.get_by_role("button", name="Log the cut").click()
    second.wait_for_url(f"{live_server.url}/reels/LW-0001")
    assert stored(CableEvent) == 2
    context.close()


def open_worksheet(page: Page, live_server, cast: Cast) -> None:
    inspection = in_a_thread(lambda: stories.at_the_scales(cast))
    log_in(page, live_server.url, cast.technician)
    page.goto(f"{live_server.url}/inspections/{inspection.pk}/worksheet")


@pytest.mark.parametrize("scripts", [True, False])
def test_a_step_that_is_tapped_twice_is_keyed_once(browser: Browser, live_server, cast, scripts):
    context = phone(browser, java_script_enabled=scripts)
    page = context.new_page()
    open_worksheet(page, live_server, cast)
    fill_scales(page)
    before = stored(Keying)
    slow(page)
    tap_until_stored(page, "Key this step", Keying)
    expect(page.get_by_role("heading", name="Waiting for the verifier")).to_be_visible()
    assert stored(Keying) == before + 3
    context.close()
