"""The working pages in a real browser: two people count one reel, each with their own phone."""

import pytest
from playwright.sync_api import Page, expect

from inspections.domain.keying import earlier_points
from inspections.domain.words import Point
from inspections.models import Inspection, SignOff
from tests import builders, stories
from tests.browser.journeys import log_in
from tests.browser.threads import in_a_thread
from tests.browser.worksheet_steps import (
    SCALES,
    begin,
    go_to_the_scales,
    key_everything,
    key_scales,
    look_again,
    make_cast,
    phone,
    sign,
    waits,
)


@pytest.fixture
def cast(live_server):
    return in_a_thread(make_cast)


@pytest.mark.parametrize("javascript", [True, False])
def test_two_people_count_a_reel_each_on_their_own_phone(browser, live_server, cast, javascript):
    tess = phone(browser, java_script_enabled=javascript).new_page()
    vic = phone(browser, java_script_enabled=javascript).new_page()
    log_in(tess, live_server.url, cast.technician)
    log_in(vic, live_server.url, cast.verifier)
    count = begin(tess, live_server)
    vic.goto(f"{count}/witness")
    key_everything(tess, vic)
    for page, word in ((tess, "counted"), (vic, "verified")):
        if javascript:
            page.wait_for_url(f"{count}/result")  # it looked for itself, and does until there is something to sign
            expect(page.get_by_label("Your password, again")).to_be_visible()
        else:
            page.goto(f"{count}/result")
        sign(page, word)
    vic.wait_for_url(count)
    expect(vic.locator(".numbers")).to_contain_text("12")
    assert in_a_thread(lambda: [each.meaning for each in SignOff.objects.all()]) == ["counted", "verified"]
    tess.context.close()
    vic.context.close()


def test_wraps_are_tallied_with_a_thumb_and_the_drawing_follows(browser, live_server, cast):
    tess = phone(browser).new_page()
    vic = phone(browser).new_page()
    log_in(tess, live_server.url, cast.technician)
    log_in(vic, live_server.url, cast.verifier)
    count = begin(tess, live_server)
    go_to_the_scales(tess, cast)
    vic.goto(f"{count}/witness")
    key_scales(tess)
    waits(tess)
    key_scales(vic)
    look_again(tess, SCALES + 1)
    for _ in range(4):
        tess.get_by_role("button", name="Count a wrap").click()
    tess.keyboard.press("+")
    for key in ("AudioVolumeUp", "AudioVolumeDown"):  # as a phone passes them on
        tess.evaluate("key => document.dispatchEvent(new KeyboardEvent('keydown', { key }))", key)
    tess.get_by_role("button", name="Undo one").click()
    tess.get_by_role("button", name="Undo one").click()
    expect(tess.get_by_label("Wraps counted by hand")).to_have_value("")  # until it is said
    tess.get_by_role("button", name="Use 3 as the count").click()
    expect(tess.get_by_label("Wraps counted by hand")).to_have_value("3")
    expect(tess.locator("[data-drawn] .look-part-wrap")).to_have_count(3)
    tess.context.close()
    vic.context.close()


def test_a_thumb_is_led_from_field_to_field(page: Page, live_server, cast):
    log_in(page, live_server.url, cast.technician)
    begin(page, live_server)
    go_to_the_scales(page, cast)
    left = page.get_by_label("Left scale", exact=True)
    page.get_by_text("right to left").click()
    expect(left).to_be_focused()
    page.get_by_label("The right scale cannot be read").check()
    left.press("Enter")  # nothing else is to be written, so it is sent, and the left scale is missing
    expect(page.get_by_role("alert")).to_be_focused()
    page.get_by_label("The right scale cannot be read").uncheck()
    page.get_by_label("Left scale", exact=True).press("Enter")
    expect(page.get_by_label("Right scale", exact=True)).to_be_focused()


IS_ON_TOP = """each => {
    const { left, right, top, bottom } = each.getBoundingClientRect(), middle = (left + right) / 2
    return [top + 2, bottom - 2].every(y => each.contains(document.elementFromPoint(middle, y)))
}"""


def go_to(point: Point, cast):
    inspection = Inspection.objects.get()
    builders.take_gauge(cast, inspection)
    stories.key_both(cast, inspection, *(each for each in Point if each in earlier_points(point)))


def test_a_step_is_keyed_by_keyboard_alone(page: Page, live_server, cast):
    log_in(page, live_server.url, cast.technician)
    begin(page, live_server)
    go_to_the_scales(page, cast)
    page.get_by_role("radio", name="left to right").focus()
    keys = page.keyboard
    keys.press("ArrowRight")  # from the first choice to the second
    keys.press("Tab")
    keys.type("13")
    keys.press("Tab")
    keys.press("Tab")
    keys.type("12")
    keys.press("Enter")
    waits(page)


@pytest.mark.parametrize(("width", "height"), [(390, 844), (360, 640)])
def test_the_button_that_tells_off_is_whole_in_sight_and_covered_by_nothing(browser, live_server, cast, width, height):
    tess = browser.new_context(viewport={"width": width, "height": height}, has_touch=True).new_page()
    log_in(tess, live_server.url, cast.technician)
    begin(tess, live_server)
    in_a_thread(lambda: go_to(Point.HAND_COUNT, cast))
    tess.reload()
    told = tess.get_by_role("button", name="Count a wrap")
    expect(told).to_be_in_viewport(ratio=1)
    assert told.evaluate(IS_ON_TOP)
    box = told.bounding_box()
    assert box is not None
    assert box["y"] + box["height"] / 2 > height / 2  # where a thumb is
    tess.context.close()


def test_a_phone_asks_one_question_a_screen_and_leads_back(browser, live_server, cast):
    tess = phone(browser).new_page()
    log_in(tess, live_server.url, cast.technician)
    begin(tess, live_server)
    go_to_the_scales(tess, cast)
    left, right = (tess.get_by_label(f"{side} scale", exact=True) for side in ("Left", "Right"))
    following = tess.get_by_role("button", name="Next")
    expect(left).to_be_hidden()
    following.click()
    expect(tess.get_by_text("Answer this first.")).to_be_visible()
    tess.get_by_text("right to left").click()
    expect(left).to_be_focused()
    left.fill("13")
    left.press("Enter")
    expect(right).to_be_focused()
    tess.get_by_role("button", name="Left scale: 13").click()
    expect(left).to_be_focused()
    for seen in (following, tess.get_by_role("link", name="Ask for help")):
        expect(seen).to_be_in_viewport(ratio=1)
    tess.set_viewport_size({"width": 1280, "height": 800})
    expect(right).to_be_visible()  # there is room for all of it
    tess.context.close()


def test_the_half_is_tapped_on_the_drawing_and_nothing_is_preset(browser, live_server, cast):
    tess = phone(browser).new_page()
    log_in(tess, live_server.url, cast.technician)
    begin(tess, live_server)
    in_a_thread(lambda: go_to(Point.CROSSOVER, cast))
    tess.reload()
    first, second = (tess.get_by_role("radio", name=f"{each} half") for each in ("first", "second"))
    assert not any(each.is_checked() for each in tess.get_by_role("radio").all())
    box = tess.locator(".tapped").bounding_box()
    assert box is not None
    tess.mouse.click(box["x"] + box["width"] * 0.75, box["y"] + box["height"] * 0.4)  # aft, with the line at the bottom
    expect(first).to_be_checked()
    tess.mouse.click(box["x"] + box["width"] * 0.25, box["y"] + box["height"] * 0.4)
    expect(second).to_be_checked()
    tess.get_by_text("can't be told").click()
    expect(second).not_to_be_checked()
    tess.context.close()
