"""Practice in a real browser: on a phone, without JavaScript, by keyboard, and for axe."""

from functools import partial

import pytest
from playwright.sync_api import Page, expect

from inspections.domain.practice import Difficulty
from inspections.queries.practice import reel_of
from inspections.services.practice import RESULT_STEP
from tests.browser.journeys import log_in
from tests.browser.looks import faults
from tests.browser.practice import count, draw, make_practised, under_way
from tests.browser.threads import in_a_thread
from tests.practised import enter_right


@pytest.fixture
def made(live_server):
    return in_a_thread(make_practised)


def every_page(page: Page, live_server, made):
    log_in(page, live_server.url, made.trainee)
    for name, address in {
        "start": "/practice",
        "right": f"/practice/reels/{made.right.pk}/answers",
        "missed": f"/practice/reels/{made.missed.pk}/answers",
    }.items():
        page.goto(live_server.url + address)
        yield name
    one = in_a_thread(lambda: under_way(made.trainee, Difficulty.TREACHEROUS, 7))
    for step in range(1, RESULT_STEP + 1):
        page.goto(f"{live_server.url}/practice/reels/{one.pk}")
        yield f"step {step}"
        if step == 1:
            page.get_by_role("button", name="Enter this step").click()
            expect(page.get_by_role("alert")).to_be_focused()
            yield "step refused"
        if step < RESULT_STEP:
            in_a_thread(partial(enter_right, one, step))
    page.get_by_role("button", name="Log out").click()
    log_in(page, live_server.url, made.cast.instructor)
    for name, address in {"people": "/practice/people", "person": f"/practice/people/{made.trainee.pk}"}.items():
        page.goto(live_server.url + address)
        yield name


def test_every_page_says_that_it_is_practice_is_accessible_and_quiet_and_as_wide_as_its_screen(
    page: Page, live_server, made, noises
):
    found = {}
    for name in every_page(page, live_server, made):
        expect(page.get_by_text("PRACTICE – not a record")).to_be_visible()
        found[name] = [*faults(page), *noises()]
    assert {name: each for name, each in found.items() if each} == {}


def test_a_reel_is_counted_on_a_phone_without_javascript(browser, live_server, made):
    page = browser.new_page(viewport={"width": 390, "height": 800}, java_script_enabled=False)
    log_in(page, live_server.url, made.trainee)
    page.goto(f"{live_server.url}/practice")
    draw(page, 3)
    reel = reel_of(under_way_of(made))
    count(page, reel)
    page.get_by_label("Layers to set").fill(str(reel.answer.layers))
    page.get_by_label("Wraps to set").fill(str((reel.answer.wraps or 0) + 1))
    page.get_by_label("set the machine to these numbers").check()
    page.get_by_role("button", name="See the answers").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Missed, and why it matters")
    expect(page.get_by_text("a correction forgotten or made twice")).to_be_visible()
    page.close()


def test_the_thumb_counts_on_the_practice_sheet_too(page: Page, live_server, made):
    one = in_a_thread(lambda: under_way(made.trainee, Difficulty.PLAIN, 3))
    for step in (1, 2, 3):
        in_a_thread(partial(enter_right, one, step))
    log_in(page, live_server.url, made.trainee)
    page.goto(f"{live_server.url}/practice/reels/{one.pk}")
    for _ in range(3):
        page.get_by_role("button", name="Count a wrap").click()
    page.get_by_role("button", name="Use 3 as the count").click()
    expect(page.get_by_label("Wraps counted by hand")).to_have_value("3")


def under_way_of(made):
    return in_a_thread(lambda: made.trainee.exercises.select_related("person").get(ended_at=None))
