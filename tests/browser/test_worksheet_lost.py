"""Nothing typed is lost: without a connection, over a reload, with the phone locked, the login gone, records busy."""

import pytest
from playwright.sync_api import Browser, Page, Route, expect

from inspections.domain.words import Act
from inspections.models import Inspection, Keying, Photo
from inspections.services import photos
from tests import builders
from tests.browser.journeys import log_in
from tests.browser.threads import in_a_thread
from tests.browser.worksheet_steps import (
    READ,
    SCALES,
    STEPS,
    begin,
    fill_scales,
    go_to_the_scales,
    key_scales,
    look_again,
    make_cast,
    phone,
    send,
    waits,
)
from tests.builders import PASSWORD
from tests.inspections.domain.photo_files import JPEG_BYTES
from tests.stories import FROM_THE_SCALES


@pytest.fixture
def cast(live_server):
    return in_a_thread(make_cast)


@pytest.fixture
def tess(browser: Browser, live_server, cast):
    """The technician's phone, at the scales of a count."""
    context = phone(browser)
    page = context.new_page()
    log_in(page, live_server.url, cast.technician)
    begin(page, live_server)
    go_to_the_scales(page, cast)
    yield page
    context.close()


def left_scale(page: Page):
    return page.get_by_label("Left scale", exact=True)


def log_in_again(page: Page, person):
    page.get_by_label("User name").fill(person.username)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Log in").click()


def keyed():
    return in_a_thread(lambda: Keying.objects.filter(point__in=FROM_THE_SCALES).count())


def test_what_is_sent_without_a_connection_is_sent_again_by_itself_and_stored_once(tess):
    tess.context.set_offline(True)
    key_scales(tess)
    expect(tess.get_by_text("No connection.")).to_be_visible()
    assert keyed() == 0
    tess.context.set_offline(False)
    waits(tess)
    assert keyed() == 3


def test_what_was_stored_and_not_answered_is_sent_again_and_stored_once(tess):
    posts = []

    def lose_the_first_answer(route: Route):
        if route.request.method == "POST":
            posts.append(route.request)
            if len(posts) == 1:
                route.fetch()
                return route.abort("connectionreset")
        return route.continue_()

    tess.route("**/worksheet", lose_the_first_answer)
    key_scales(tess)
    waits(tess)
    assert (len(posts), keyed()) == (2, 3)


@pytest.mark.parametrize("status", [429, 502, 503, 504])
def test_what_finds_the_records_busy_is_kept_and_sent_again(tess, status):
    answers = [status, status]

    def busy_twice(route: Route):
        if route.request.method == "POST" and answers:
            return route.fulfill(status=answers.pop(), body="<h1>Not now</h1>")
        return route.continue_()

    tess.route("**/worksheet", busy_twice)
    key_scales(tess)
    expect(tess.get_by_text("The service is busy")).to_be_visible()
    expect(left_scale(tess)).to_have_value("13")
    waits(tess)
    assert (answers, keyed()) == ([], 3)


def test_what_goes_wrong_at_the_service_is_said_and_the_step_can_be_sent_again(tess):
    tess.route("**/worksheet", lambda route: route.fulfill(status=500, body="<h1>Wrong</h1>"))
    key_scales(tess)
    expect(tess.get_by_text("Something went wrong at the service")).to_be_visible()
    tess.unroute("**/worksheet")
    send(tess)
    waits(tess)
    assert keyed() == 3


def test_what_is_typed_without_a_connection_is_there_after_a_reload(tess):
    tess.context.set_offline(True)
    fill_scales(tess)
    tess.context.set_offline(False)
    tess.reload()
    expect(left_scale(tess)).to_have_value("13")
    expect(tess.get_by_label("right to left")).to_be_checked()


def test_what_is_typed_is_there_when_a_locked_phone_has_put_the_page_away(tess):
    fill_scales(tess)
    context, address = tess.context, tess.url
    tess.close()
    again = context.new_page()
    again.goto(address)
    expect(left_scale(again)).to_have_value("13")
    expect(again.get_by_label("right to left")).to_be_checked()


def test_what_is_typed_on_one_phone_goes_on_at_another(browser, live_server, cast, tess):
    with tess.expect_response("**/draft"):
        fill_scales(tess)
    context = phone(browser)
    other = context.new_page()
    log_in(other, live_server.url, cast.technician)
    other.goto(tess.url)
    expect(left_scale(other)).to_have_value("13")
    context.close()


@pytest.mark.parametrize("javascript", [True, False])
def test_a_login_that_ran_out_loses_nothing(browser, live_server, cast, javascript):
    context = phone(browser, java_script_enabled=javascript)
    page = context.new_page()
    log_in(page, live_server.url, cast.technician)
    begin(page, live_server)
    go_to_the_scales(page, cast)
    context.clear_cookies(name="sessionid")
    key_scales(page)
    log_in_again(page, cast.technician)
    expect(left_scale(page)).to_have_value("13")
    send(page)
    waits(page)
    assert in_a_thread(Inspection.objects.count) == 1
    context.close()


def test_the_next_login_on_the_same_phone_is_shown_nothing_of_it(live_server, cast, tess):
    theo = in_a_thread(lambda: builders.make_person("theo", Act.COUNT))
    fill_scales(tess, {**READ, "scale_left": 771})
    address = tess.url
    tess.context.clear_cookies(name="sessionid")
    send(tess)
    log_in_again(tess, theo)
    tess.goto(address)
    expect(left_scale(tess)).to_have_value("")
    assert tess.evaluate("Object.values(localStorage).join()") == ""


def test_logging_out_takes_what_was_typed_off_the_phone(tess):
    fill_scales(tess)
    tess.get_by_role("button", name="Log out").click()
    expect(tess.get_by_text("You are logged out.")).to_be_visible()
    assert tess.evaluate("Object.keys(localStorage)") == []


def test_a_shift_hands_an_open_count_over(browser, live_server, cast, tess):
    theo = in_a_thread(lambda: builders.make_person("theo", Act.COUNT))
    contexts = [phone(browser), phone(browser)]
    vic, next_shift = (context.new_page() for context in contexts)
    log_in(vic, live_server.url, cast.verifier)
    key_scales(tess)
    vic.goto(tess.url.replace("worksheet", "witness"))
    key_scales(vic)
    log_in(next_shift, live_server.url, theo)
    next_shift.goto(tess.url)
    for step, key in enumerate(STEPS[SCALES:], SCALES + 1):
        look_again(next_shift, step)
        look_again(vic, step)
        key(next_shift)
        key(vic)
    next_shift.wait_for_url("**/result")
    expect(next_shift.get_by_role("heading", name="Sign as “counted”")).to_be_visible()
    for context in contexts:
        context.close()


def test_a_reason_is_kept_as_a_step_is(live_server, tess):
    tess.get_by_role("link", name="Ask for help").click()
    tess.get_by_label("What is unclear?").fill("The left mark is worn off.")
    tess.reload()
    expect(tess.get_by_label("What is unclear?")).to_have_value("The left mark is worn off.")


def test_photos_go_with_the_step_and_a_file_that_is_none_is_refused_beside_what_was_typed(tess, tmp_path):
    page = tmp_path / "scale.jpg"
    page.write_bytes(b"<html><script>alert(1)</script>")
    good = tmp_path / "right.jpg"
    good.write_bytes(JPEG_BYTES)
    fill_scales(tess)
    tess.get_by_text("Add a photo, if wanted").click()
    tess.get_by_label("Photo of the left scale").set_input_files(page)
    tess.get_by_label("Photo of the right scale").set_input_files(good)
    send(tess)
    expect(tess.get_by_role("alert")).to_be_focused()
    expect(tess.get_by_role("alert")).to_contain_text("The photo is no JPEG or PNG file")
    expect(left_scale(tess)).to_have_value("13")
    tess.get_by_label("Photo of the left scale").set_input_files(good)
    send(tess)
    waits(tess)
    tess.goto(tess.url.replace("/worksheet", ""))
    expect(tess.get_by_role("link", name="Photo")).to_have_count(2)
    with tess.expect_download() as download:
        tess.get_by_role("link", name="Photo").first.click()
    kept = in_a_thread(lambda: Photo.objects.all()[0])
    assert download.value.path().read_bytes() == photos.shown(kept)
