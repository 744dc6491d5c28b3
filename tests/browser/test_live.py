"""Pages that hear of what others do, in a real browser."""

import pytest
from playwright.sync_api import expect

from inspections.domain.words import Point, Role
from inspections.models import Inspection
from inspections.services import maintenance
from reels.services.history import Actor
from tests import builders, stories
from tests.browser.journeys import log_in
from tests.browser.threads import in_a_thread
from tests.browser.worksheet_steps import begin, go_to_the_scales, make_cast, phone, waits, write
from tests.builders import later

WITHIN_MS = 2000  # of the page's own clock, which the test runs


@pytest.fixture
def cast(live_server):
    return in_a_thread(make_cast)


@pytest.fixture
def tess(browser, live_server, cast):
    """The technician's phone, whose clock stands unless it is moved on, at a count that is begun."""
    page = phone(browser).new_page()
    log_in(page, live_server.url, cast.technician)
    begin(page, live_server)
    page.clock.install(time=0)
    page.clock.pause_at(1000)
    yield page
    page.context.close()


def key(cast, role, point, **seen):
    in_a_thread(lambda: stories.key(cast, Inspection.objects.get(), point, role, **seen))


def issued(cast):
    builders.signed_count(cast)
    builders.issued(cast)


def hears(page):
    """So much time passes on the page; what it asks for is answered in real time."""
    page.clock.run_for(WITHIN_MS)


def loads(page):
    return page.evaluate("performance.timeOrigin")


def test_a_page_that_waits_goes_on_within_two_seconds_without_being_loaded_again(tess, cast):
    tess.reload()
    write(tess.get_by_label("Serial of the reel"), "LW-0001")
    tess.keyboard.press("Enter")
    waits(tess)
    loaded = loads(tess)
    key(cast, Role.VERIFIER, Point.SERIAL)
    hears(tess)
    expect(tess.get_by_text("Step 2 of 6")).to_be_visible()
    expect(tess.get_by_role("status").filter(has_text="Open side")).to_have_count(1)
    assert loads(tess) == loaded


def test_what_is_typed_stays_when_the_other_keys(tess, cast):
    go_to_the_scales(tess, cast)
    tess.get_by_text("right to left").click()
    left = tess.get_by_label("Left scale", exact=True)
    write(left, "1")
    loaded = loads(tess)
    key(cast, Role.VERIFIER, Point.SCALE_LEFT)
    key(cast, Role.VERIFIER, Point.SCALE_RIGHT)
    hears(tess)
    expect(tess.locator("#other")).to_have_text("The verifier has keyed this step.")
    expect(tess.locator("p.unseen")).to_have_text("The verifier has keyed this step.")
    left.press_sequentially("3")
    expect(left).to_have_value("13")
    assert loads(tess) == loaded


def test_a_page_that_nobody_sees_asks_for_nothing_and_one_without_an_answer_asks_less_often(tess):
    tess.reload()
    asked = []

    def refuse(route):
        asked.append(route)
        route.fulfill(status=503)

    tess.route("**/stamp", refuse)
    for wait_ms in (1500, 3000, 6000):
        tess.clock.run_for(wait_ms - 1)
        before = len(asked)
        with tess.expect_response("**/stamp"):
            tess.clock.run_for(1)
        expect(tess.locator("main")).to_have_attribute("data-failed", str(before + 1))
    tess.evaluate("Object.defineProperty(document, 'hidden', { value: true })")
    tess.clock.run_for(300_000)
    assert len(asked) == 3


def test_a_hold_and_a_withdrawal_are_said_on_an_open_page_of_the_reel(browser, live_server, cast):
    in_a_thread(lambda: issued(cast))
    page = phone(browser).new_page()
    page.clock.install()
    log_in(page, live_server.url, cast.setter)
    page.goto(f"{live_server.url}/reels/LW-0001")
    page.locator("summary").first.scroll_into_view_if_needed()
    in_a_thread(
        lambda: maintenance.place_hold(
            serial="LW-0001", reason="a flange is bent", actor=Actor(cast.control), at=later(hours=1)
        )
    )
    page.clock.run_for(7000)
    news = page.locator(".news")
    expect(news).to_contain_text("Held, by Mona Castell. a flange is bent Setup values withdrawn")
    expect(page.get_by_role("heading", name="Held")).to_have_count(1)
    expect(page.locator("#in-force")).to_contain_text("No setup values are in force.")
    page.get_by_role("button", name="I have read it").click()
    expect(news).to_be_hidden()
    page.context.close()
