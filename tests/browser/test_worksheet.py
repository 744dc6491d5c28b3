"""The working pages in a real browser: two people count one reel, each with their own phone."""

import re
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.db import connections
from playwright.sync_api import Browser, BrowserContext, Page, ViewportSize, expect

from inspections.models import Inspection, Keying, SignOff
from tests import builders
from tests.browser.journeys import log_in
from tests.builders import PASSWORD, Cast

PHONE: ViewportSize = {"width": 390, "height": 844}
LEAST_TARGET_PX = 44
SMALL = """() => [...document.querySelectorAll("a, button, input:not([type=hidden]), select, summary, textarea")]
    .filter(each => !each.matches(".skip"))
    .map(each => [each.textContent.trim() || each.name, (each.closest("label") || each).getBoundingClientRect()])
    .filter(([, box]) => box.width > 0 && box.height > 0 && box.height < 44)
    .map(([words, box]) => [words, Math.round(box.height)])"""
TOO_WIDE = "() => document.documentElement.scrollWidth - document.documentElement.clientWidth"


def in_the_database(act):
    """Beside Playwright's event loop no query can be asked for in this thread."""
    with ThreadPoolExecutor(1) as thread:
        found = thread.submit(act).result()
        thread.submit(connections.close_all).result()
    return found


def _cast():
    builders.make_reel()
    builders.make_machine()
    return Cast()


@pytest.fixture
def cast(live_server):
    return in_the_database(_cast)


def phone(browser: Browser, **options) -> BrowserContext:
    return browser.new_context(viewport=PHONE, **options)


def faults(page: Page):
    found = Axe().run(page).response["violations"]
    said = [(each["id"], node["target"], node["failureSummary"]) for each in found for node in each["nodes"]]
    return [*said, *page.evaluate(SMALL), *([] if page.evaluate(TOO_WIDE) <= 0 else [page.url])]


def begin(page: Page, live_server) -> str:
    page.goto(f"{live_server.url}/reels/LW-0001")
    page.get_by_role("link", name="Begin a count").click()
    page.get_by_label("I have read the cautions").check()
    for label, text in (("Work order", "WO-7"), ("Publication", "LWS 12-3"), ("Revision", "C"),
                        ("Cable condition", "clean"), ("Winding quality", "even")):  # fmt: skip
        page.get_by_label(label, exact=True).fill(text)
    for label in ("turned as installed", "are found", "wound evenly"):
        page.get_by_label(label).check()
    page.get_by_label("Machine that the wrap gauge").select_option("RM-7")
    page.get_by_role("button", name="Begin the count").click()
    page.wait_for_url("**/worksheet")
    return page.url.removesuffix("/worksheet")


def key_scales(page: Page, left="13", right="12"):
    page.get_by_label("Left scale", exact=True).fill(left)
    page.get_by_label("Right scale", exact=True).fill(right)
    if page.url.endswith("worksheet"):
        page.get_by_role("group", name="Open side").get_by_text("right", exact=True).click()
        page.get_by_text("right to left").click()
    send(page)


def send(page: Page):
    page.get_by_role("button", name="Key this step").click()


def waits(page: Page):
    expect(page.get_by_role("heading", name=re.compile("It waits for the"))).to_be_visible()


def look_again(page: Page, step: int):
    """Without a script by the link; with one, the page looks for itself."""
    if page.get_by_role("link", name="Look again").count():
        page.get_by_role("link", name="Look again").click()
    expect(page.get_by_text(f"Step {step} of 4")).to_be_visible()


def key_wraps(page: Page, label="Wraps counted by hand"):
    page.get_by_label(label).fill("12")
    send(page)


def key_gauge(page: Page):
    page.get_by_text("even", exact=True).click()
    key_wraps(page, "Wraps read on the gauge")


def key_crossover(page: Page):
    page.get_by_label("aft half").check()
    send(page)


STEPS: tuple[Callable[[Page], None], ...] = (key_scales, key_wraps, key_gauge, key_crossover)


@pytest.mark.parametrize("javascript", [True, False])
def test_two_people_count_a_reel_each_on_their_own_phone(browser, live_server, cast, javascript):
    tess = phone(browser, java_script_enabled=javascript).new_page()
    vic = phone(browser, java_script_enabled=javascript).new_page()
    log_in(tess, live_server.url, cast.technician)
    log_in(vic, live_server.url, cast.verifier)
    count = begin(tess, live_server)
    vic.goto(f"{count}/witness")
    for step, key in enumerate(STEPS, 1):
        look_again(tess, step)
        look_again(vic, step)
        key(tess)
        if step < 4:
            waits(tess)
        key(vic)
        if step < 4:
            expect(vic.get_by_text(f"Step {step + 1} of 4")).to_be_visible()
    for page, word in ((tess, "counted"), (vic, "verified")):
        if javascript:
            page.wait_for_url(f"{count}/result")  # it looked for itself
            expect(page.get_by_label("Your password, again").or_(page.get_by_text("It waits for"))).to_be_visible()
        page.goto(f"{count}/result")
        page.get_by_label("Your password, again").fill(PASSWORD)
        page.get_by_role("button", name=f"Sign as “{word}”").click()
        expect(page.get_by_text(re.compile("Sign(ed|atures)")).first).to_be_visible()
    vic.wait_for_url(count)
    expect(vic.locator(".numbers")).to_contain_text("12")
    assert in_the_database(lambda: [each.meaning for each in SignOff.objects.all()]) == ["counted", "verified"]
    tess.context.close()
    vic.context.close()


def test_axe_finds_nothing_and_targets_are_big_at_every_step(browser, live_server, cast):
    """At each step: as it opens, as it is refused, and as it waits; and the pages around it."""
    tess = phone(browser).new_page()
    vic = phone(browser).new_page()
    log_in(tess, live_server.url, cast.technician)
    log_in(vic, live_server.url, cast.verifier)
    found = {}
    tess.goto(f"{live_server.url}/reels/LW-0001/count")
    tess.get_by_role("button", name="Begin the count").click()
    expect(tess.get_by_role("alert")).to_be_focused()
    found["preparation refused"] = faults(tess)
    count = begin(tess, live_server)
    vic.goto(f"{count}/witness")
    for step, key in enumerate(STEPS, 1):
        look_again(tess, step)
        look_again(vic, step)
        found[f"step {step}"] = faults(tess)
        send(tess)
        expect(tess.get_by_role("alert")).to_be_focused()
        found[f"step {step} refused"] = faults(tess)
        key(tess)
        if step == 1:
            waits(tess)
            found["waits"] = faults(tess)
        key(vic)
    tess.wait_for_url(f"{count}/result")
    for part in ("result", "help", "cancel"):
        tess.goto(f"{count}/{part}")
        found[part] = faults(tess)
    assert {name: each for name, each in found.items() if each} == {}
    tess.context.close()
    vic.context.close()


def test_wraps_are_tallied_with_a_thumb_and_the_drawing_follows(browser, live_server, cast):
    tess = phone(browser).new_page()
    vic = phone(browser).new_page()
    log_in(tess, live_server.url, cast.technician)
    log_in(vic, live_server.url, cast.verifier)
    count = begin(tess, live_server)
    vic.goto(f"{count}/witness")
    key_scales(tess)
    waits(tess)
    key_scales(vic)
    look_again(tess, 2)
    for _ in range(4):
        tess.get_by_role("button", name="Count a wrap").click()
    tess.get_by_role("button", name="Undo one").click()
    expect(tess.get_by_label("Wraps counted by hand")).to_have_value("3")
    expect(tess.locator(".look-part-wrap")).to_have_count(3)
    tess.context.close()
    vic.context.close()


def test_a_step_is_keyed_by_keyboard_alone(page: Page, live_server, cast):
    log_in(page, live_server.url, cast.technician)
    begin(page, live_server)
    page.get_by_label("Left scale", exact=True).focus()
    keys = page.keyboard
    keys.type("13")
    keys.press("Tab")
    keys.press("Tab")
    keys.type("12")
    keys.press("Tab")
    keys.press("Tab")
    keys.press("ArrowRight")  # from the first choice, left, to the second
    keys.press("Tab")
    keys.press("ArrowRight")
    keys.press("Enter")
    waits(page)


def test_what_is_typed_without_a_connection_is_there_after_a_reload_and_sent_once(browser, live_server, cast):
    context = phone(browser)
    page = context.new_page()
    log_in(page, live_server.url, cast.technician)
    begin(page, live_server)
    context.set_offline(True)
    key_scales(page)
    expect(page.get_by_text("No connection.")).to_be_visible()
    assert in_the_database(Keying.objects.count) == 0
    context.set_offline(False)
    waits(page)  # it was sent again by itself
    assert in_the_database(Keying.objects.count) == 4
    context.close()


def test_a_draft_survives_a_reload_and_goes_with_the_login(browser, live_server, cast):
    context = phone(browser)
    page = context.new_page()
    log_in(page, live_server.url, cast.technician)
    count = begin(page, live_server)
    context.set_offline(True)
    page.get_by_label("Left scale", exact=True).fill("13")
    context.set_offline(False)
    page.reload()
    expect(page.get_by_label("Left scale", exact=True)).to_have_value("13")
    page.get_by_role("button", name="Log out").click()
    expect(page.get_by_text("You are logged out.")).to_be_visible()
    assert page.evaluate("Object.keys(localStorage)") == []
    assert count.startswith(live_server.url)
    context.close()


def test_a_login_that_ran_out_loses_nothing(browser, live_server, cast):
    context = phone(browser, java_script_enabled=False)
    page = context.new_page()
    log_in(page, live_server.url, cast.technician)
    begin(page, live_server)
    context.clear_cookies(name="sessionid")
    key_scales(page)
    page.get_by_label("User name").fill(cast.technician.username)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Log in").click()
    expect(page.get_by_label("Left scale", exact=True)).to_have_value("13")
    send(page)
    waits(page)
    assert in_the_database(Inspection.objects.count) == 1
    context.close()
