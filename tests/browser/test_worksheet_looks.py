"""Every page of a count as people meet it: widths, themes, 400 % zoom, forced colours, and by keyboard alone."""

import pytest
from playwright.sync_api import Browser, Locator, Page, expect

from tests.browser import looks
from tests.browser.journeys import WIDTHS, log_in
from tests.browser.threads import in_a_thread
from tests.browser.worksheet_steps import (
    HAND_COUNT,
    LAST,
    READ,
    SCALES,
    STEPS,
    begin,
    key_scales,
    look_again,
    make_cast,
    phone,
    send,
    waits,
)
from tests.builders import PASSWORD, later, open_count, read, signed_count


@pytest.fixture
def cast(live_server):
    return in_a_thread(make_cast)


def _surprising(cast):
    for days in (90, 60, 30):
        signed_count(cast, "LW-0001", at=later(days=-days), scale_left=17, scale_right=16)


def faults(page: Page) -> list[object]:
    """What is wrong with a page as it stands, at every width, in every theme and in forced colours."""
    return [*looks.faults(page, axe_widths=WIDTHS), *looks.without_edge_in_forced_colours(page)]


@pytest.fixture
def people(browser: Browser, live_server, cast):
    """Technician, verifier and releaser, each logged in on their own phone."""
    pages = [phone(browser).new_page() for _ in range(3)]
    for page, person in zip(pages, (cast.technician, cast.verifier, cast.releaser), strict=True):
        log_in(page, live_server.url, person)
    yield pages
    for page in pages:
        page.context.close()


def test_nothing_is_wrong_with_any_page_on_which_a_count_is_keyed(live_server, people):
    tess, vic, rhea = people
    found = {}
    tess.goto(f"{live_server.url}/reels/LW-0001/count")
    found["preparation"] = faults(tess)
    tess.get_by_role("button", name="Begin the count").click()
    expect(tess.get_by_role("alert")).to_be_focused()
    found["preparation refused"] = faults(tess)
    count = begin(tess, live_server)
    vic.goto(f"{count}/witness")
    rhea.goto(f"{count}/witness")
    found["not yours"] = faults(rhea)
    found["witness"] = faults(vic)
    tess.goto(f"{count}/gauge")
    found["wrap gauge"] = faults(tess)
    tess.goto(f"{count}/worksheet")
    for step, key in enumerate(STEPS, 1):
        look_again(tess, step)
        look_again(vic, step)
        for summary in tess.locator(".photos summary").all():
            summary.click()
        found[f"step {step}"] = faults(tess)
        at_a_desk(tess)  # where the whole step is sent at once
        send(tess)
        expect(tess.get_by_role("alert")).to_be_focused()
        found[f"step {step} refused"] = faults(tess)
        key(tess)
        if step == SCALES:
            found |= _waits_and_differs(tess, vic)
        else:
            key(vic)
    tess.wait_for_url(f"{count}/result")
    assert {name: each for name, each in found.items() if each} == {}


def at_a_desk(page: Page):
    page.set_viewport_size({"width": looks.DESK, "height": looks.HEIGHT})


def _waits_and_differs(tess: Page, vic: Page):
    """The scales, once the technician has keyed it: the verifier sees something else, and both look again."""
    waits(tess)
    found = {"waits": faults(tess)}
    key_scales(vic, {**READ, "scale_left": 12, "scale_right": 11})
    expect(vic.get_by_role("heading", name="Your readings differ")).to_be_visible()
    found["differ"] = faults(vic)
    look_again(tess, SCALES)
    for page in (tess, vic):
        at_a_desk(page)
        page.get_by_label("Left scale", exact=True).fill("13")
        page.get_by_label("Right scale", exact=True).fill("12")
        send(page)
    return found


def _worked_out(cast) -> int:
    _surprising(cast)
    return read(cast, open_count(cast)).pk


def test_nothing_is_wrong_with_any_page_after_a_count_is_keyed(live_server, cast, people):
    tess, vic, rhea = people
    count = f"{live_server.url}/inspections/{in_a_thread(lambda: _worked_out(cast))}"
    found = {}
    tess.goto(f"{count}/result")
    found["surprise"] = faults(tess)
    tess.get_by_text("The count is right: accept it with a reason").click()
    tess.locator("#accept_reason").fill("The last counts were of another reel.")
    tess.get_by_role("button", name="Accept the count").click()
    tess.get_by_label("Your password, again").wait_for()
    for part in ("result", "help", "cancel", "gauge/return"):
        tess.goto(f"{count}/{part}")
        found[part] = faults(tess)
    for page, meaning in ((tess, "counted"), (vic, "verified")):
        page.goto(f"{count}/result")
        page.get_by_label("Your password, again").fill(PASSWORD)
        page.get_by_role("button", name=f"Sign as “{meaning}”").click()
        expect(page.get_by_label("Your password, again")).to_have_count(0)
    tess.wait_for_url(count)  # her page waited for the verifier, and goes on by itself
    vic.goto(f"{count}/void")
    found["void"] = faults(vic)
    vic.get_by_label("Reason").fill("The other reel was counted.")
    vic.get_by_role("button", name="Request the void").click()
    vic.wait_for_url(count)
    rhea.goto(f"{count}/void")
    found["void asked"] = faults(rhea)
    rhea.get_by_role("button", name="Confirm").click()
    rhea.wait_for_url(count)
    found |= _referred(tess, rhea, live_server)
    assert {name: each for name, each in found.items() if each} == {}


def _referred(tess: Page, rhea: Page, live_server):
    count = begin(tess, live_server)
    tess.get_by_role("link", name="Ask for help").click()
    tess.get_by_label("What is unclear?").fill("The left mark is worn off.")
    tess.get_by_role("button", name="Ask for help").click()
    tess.wait_for_url(f"{count}/referral")
    rhea.goto(f"{count}/referral")
    return {"referred": faults(tess), "release": faults(rhea)}


def test_the_drawing_and_help_stay_in_sight_on_a_phone_and_cover_nothing_that_is_keyed(browser, live_server, cast):
    tess = phone(browser).new_page()
    log_in(tess, live_server.url, cast.technician)
    begin(tess, live_server)
    last = tess.get_by_role("button", name="Key this step")
    last.scroll_into_view_if_needed()
    last.focus()
    view = tess.locator(".at-hand svg").first
    for seen in (view, tess.get_by_role("link", name="Ask for help"), last):
        expect(seen).to_be_in_viewport(ratio=0.9)
    assert not overlap(last, tess.locator(".others"))
    assert not overlap(last, view)
    tess.context.close()


def overlap(one: Locator, other: Locator) -> bool:
    a, b = one.bounding_box(), other.bounding_box()
    assert a is not None
    assert b is not None
    return a["y"] < b["y"] + b["height"] and b["y"] < a["y"] + a["height"]


# By keyboard alone --------------------------------------------------------------------------------------------------


def tab_to(page: Page, place: Locator):
    """On to a control as somebody without a mouse gets there."""
    for _ in range(80):
        if place.evaluate("each => each === document.activeElement"):
            return
        page.keyboard.press("Tab")
    raise AssertionError(f"the Tab key never reaches {place}")


def type_into(page: Page, label: str, words: str):
    tab_to(page, page.get_by_label(label, exact=True).and_(page.locator("input")))
    page.keyboard.type(words)


def press(page: Page, place: Locator, key: str = "Enter"):
    tab_to(page, place)
    page.keyboard.press(key)


def choose(page: Page, group: str, place: int):
    """The choice at a place in its group, from 0: Tab leads to the first, arrows on."""
    tab_to(page, page.get_by_role("group", name=group).get_by_role("radio").first)
    page.keyboard.press("Space")
    for _ in range(place):
        page.keyboard.press("ArrowDown")


def begin_by_keyboard(page: Page, live_server) -> str:
    page.goto(f"{live_server.url}/reels/LW-0001/count")
    press(page, page.get_by_label("I have read the cautions"), "Space")
    type_into(page, "Work order", "WO-7")
    for label in ("turned as installed", "are found", "are all sound"):
        press(page, page.get_by_label(label), "Space")
    press(page, page.get_by_role("button", name="Begin the count"))
    page.wait_for_url("**/worksheet")
    return page.url.removesuffix("/worksheet")


def key_by_keyboard(page: Page, step: int):
    """One step, from the field that the page begins with to its button."""
    if step < SCALES:
        type_into(page, "Serial of the reel", "LW-0001") if step == 1 else choose(page, "Open side", 1)
    elif step == SCALES:
        if page.url.endswith("worksheet"):
            choose(page, "Unwind direction", 1)
            page.keyboard.press("Enter")
        type_into(page, "Left scale", "13")
        page.keyboard.press("Enter")
        type_into(page, "Right scale", "12")
    elif step == SCALES + 1:
        for _ in range(13):
            press(page, page.get_by_role("button", name="Count a wrap"))
        press(page, page.get_by_role("button", name="Undo one"), "Space")
        expect(page.get_by_role("status").filter(has_text="12 counted")).to_be_visible()
        press(page, page.get_by_role("button", name="Use 12 as the count"))
    elif step == SCALES + 2:
        choose(page, "Face of the wrap gauge", 1)
        page.keyboard.press("Enter")
        type_into(page, "Wraps read on the gauge", "12")
    else:
        choose(page, "Where the crossover is", 0)
    press(page, page.get_by_role("button", name="Key this step"))


def test_two_people_count_and_sign_by_keyboard_alone(browser, live_server, cast):
    tess, vic = (phone(browser).new_page() for _ in range(2))
    log_in(tess, live_server.url, cast.technician)
    log_in(vic, live_server.url, cast.verifier)
    count = begin_by_keyboard(tess, live_server)
    vic.goto(f"{count}/witness")
    for step in range(1, LAST + 1):
        if step == HAND_COUNT:
            type_into(tess, "Serial of the wrap gauge", "WG-RM-7")
            press(tess, tess.get_by_label("Its end marks match"), "Space")
            press(tess, tess.get_by_role("button", name="Key the wrap gauge"))
        expect(tess.get_by_text(f"Step {step} of {LAST}")).to_be_visible()
        expect(vic.get_by_text(f"Step {step} of {LAST}")).to_be_visible()
        key_by_keyboard(tess, step)
        waits(tess) if step < LAST else tess.wait_for_load_state()
        key_by_keyboard(vic, step)
    for page, word in ((tess, "counted"), (vic, "verified")):
        page.wait_for_url(f"{count}/result", wait_until="networkidle")  # a reload would break off what still goes on
        page.reload()
        type_into(page, "Your password, again", PASSWORD)
        page.keyboard.press("Enter")
        expect(page.get_by_label("Your password, again")).to_have_count(0)
        assert word in ("counted", "verified")
    vic.wait_for_url(count)
    for page in (tess, vic):
        page.context.close()
