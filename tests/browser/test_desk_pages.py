"""The pages of maintenance control, quality assurance and the analyst in a real browser."""

import re

import pytest
from playwright.sync_api import Page, expect

from tests.browser.desk import ADMINISTRATORS_PAGES, RECEIVERS_PAGES, address_of_desk_pages, make_desk_fleet
from tests.browser.journeys import log_in
from tests.browser.looks import DESK, PHONE, faults, faults_in_forced_colours
from tests.browser.threads import in_a_thread
from tests.builders import second_administrator


@pytest.fixture
def desk(live_server):
    return in_a_thread(make_desk_fleet)


def every_page(page: Page, live_server, desk):
    yield from _pages_of(desk.cast.control, address_of_desk_pages(desk), page, live_server)
    page.goto(f"{live_server.url}/reels/LW-0001/cut")
    page.get_by_label("Date and time, in the site's time zone").fill("2026-03-02T08:30")
    page.get_by_label("Cable removed, in metres").fill("5000")
    page.get_by_role("button", name="Log the cut").click()
    expect(page.get_by_role("alert")).to_be_focused()
    yield "cut refused"
    yield from _pages_of(desk.cast.stranger, RECEIVERS_PAGES, page, live_server)
    yield from _pages_of(in_a_thread(second_administrator), ADMINISTRATORS_PAGES, page, live_server)


def _pages_of(person, addresses, page: Page, live_server):
    log_in(page, live_server.url, person)
    for name, address in addresses.items():
        answer = page.goto(live_server.url + address)
        assert answer is not None, name
        assert answer.ok, name
        yield name


def test_every_page_is_accessible_in_both_themes_quiet_and_as_wide_as_its_screen(page: Page, live_server, desk, noises):
    found = {}
    for name in every_page(page, live_server, desk):
        found[name] = [*faults(page), *faults_in_forced_colours(page), *noises()]
    assert {name: each for name, each in found.items() if each} == {}


TWO_LINES = 76  # pixels: a name that is 44 high for a thumb, and what is said below it
BORDER = "each => { const s = getComputedStyle(each); return [s.borderTopStyle, s.borderTopWidth] }"


@pytest.mark.parametrize("how", [{}, {"forced_colors": "active"}, {"media": "print"}, {"color_scheme": "dark"}])
def test_values_in_force_and_withdrawn_differ_in_shape_and_words_however_they_are_seen(page, live_server, desk, how):
    page.emulate_media(**how)
    log_in(page, live_server.url, desk.cast.control)
    seen = {}
    for name in ("installed", "withdrawn"):
        page.goto(f"{live_server.url}/setup-values/{getattr(desk, name).pk}")
        plate = page.locator(".plate")
        seen[name] = (plate.evaluate(BORDER)[0], plate.locator(".numbers").count(), plate.locator("del").count())
        words = {"installed": "In force", "withdrawn": "Withdrawn"}[name]
        expect(plate.locator(".plate-head .badge")).to_have_text(words)
    assert seen == {"installed": ("solid", 1, 0), "withdrawn": ("dashed", 0, 1)}


def test_a_figure_is_seen_in_forced_colours(page: Page, live_server, desk):
    page.emulate_media(forced_colors="active", color_scheme="dark")
    log_in(page, live_server.url, desk.cast.control)
    page.goto(f"{live_server.url}/reels/LW-0020/drift")
    canvas = page.evaluate("getComputedStyle(document.body).backgroundColor")
    strokes = page.locator("svg.figure .look-part-wrap").evaluate_all("all => all.map(e => getComputedStyle(e).stroke)")
    assert len(strokes) > 12
    assert canvas not in strokes


def test_the_board_on_paper_is_its_rows_and_nothing_to_press(page: Page, live_server, desk):
    log_in(page, live_server.url, desk.cast.control)
    page.goto(f"{live_server.url}/board")
    page.emulate_media(media="print")
    for hidden in ("nav", "form", "button", "input"):
        assert [each for each in page.locator(hidden).all() if each.is_visible()] == []
    expect(page.get_by_text("End the hold or retire the reel").first).to_be_visible()
    assert len(page.locator("thead:visible").all()) == 3  # by site, in transit, and each with what it needs


def test_the_history_of_a_reel_is_filtered_by_keyboard(page: Page, live_server, desk):
    log_in(page, live_server.url, desk.cast.control)
    page.goto(f"{live_server.url}/reels/LW-0001")
    page.get_by_role("link", name="History: every act").focus()
    page.keyboard.press("Enter")
    form = page.get_by_role("form", name="Entries of the history")
    form.get_by_label("What").focus()
    page.keyboard.type("cable")
    form.get_by_role("button", name="Show").focus()
    page.keyboard.press("Enter")
    page.wait_for_url(re.compile(r"/history\?what=cable"))
    expect(page.locator(".timeline h3")).to_have_text(["Cable cut"])


def test_a_reels_evidence_is_asked_for_as_of_a_day(page: Page, live_server, desk):
    log_in(page, live_server.url, desk.cast.control)
    page.goto(f"{live_server.url}/reels/LW-0020/drift")
    page.locator("summary", has_text="As of a day").click()
    page.get_by_label("As of the end of").fill("2024-08-01")
    page.get_by_role("button", name="Show", exact=True).click()
    assert "as_of=2024-08-01" in page.url
    expect(page.locator("main").get_by_role("status")).to_have_text(
        "As of the end of 1 Aug 2024: only what was recorded by then."
    )
    page.get_by_role("link", name="Today").click()
    expect(page.get_by_text("only what was recorded by then")).to_have_count(0)
    assert "as_of" not in page.url


def test_a_cut_is_logged_by_keyboard_alone(page: Page, live_server, desk):
    log_in(page, live_server.url, desk.cast.control)
    page.goto(f"{live_server.url}/reels/LW-0001/cut")
    page.get_by_label("Date and time, in the site's time zone").focus()
    keys = page.keyboard
    keys.type("03022026")  # nothing fills it in: month, day and year as this browser asks for them, then the time
    keys.press("Tab")
    keys.type("0830AM")
    expect(page.get_by_label("Date and time, in the site's time zone")).to_have_value("2026-03-02T08:30")
    for _ in range(7):  # through the parts that are left, and the picker
        if page.evaluate("document.activeElement.name") == "length_removed_m":
            break
        keys.press("Tab")
    keys.type("12.5")
    keys.press("Enter")
    expect(page.locator("main").get_by_role("status")).to_have_text(
        "The cut of 12.5 m is logged. The reel has to be counted before it is used."
    )
    expect(page.get_by_role("heading", level=1)).to_have_text("Reel LW-0001")


def test_a_refusal_leads_to_its_field_and_keeps_what_was_typed(page: Page, live_server, desk):
    log_in(page, live_server.url, desk.cast.control)
    page.goto(f"{live_server.url}/reels/LW-0001/cut")
    page.get_by_label("Date and time, in the site's time zone").fill("2026-03-02T08:30")
    page.get_by_label("Cable removed, in metres").fill("5000")
    page.get_by_label("Remark").fill("frayed at the end")
    page.get_by_role("button", name="Log the cut").click()
    expect(page.get_by_role("alert")).to_be_focused()
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    expect(page.get_by_label("Cable removed, in metres")).to_be_focused()
    expect(page.get_by_label("Cable removed, in metres")).to_have_value("5000")
    expect(page.get_by_label("Remark")).to_have_value("frayed at the end")


def test_values_are_read_back_and_confirmed_by_two_people_on_one_phone_without_javascript(browser, live_server, desk):
    page = browser.new_page(viewport={"width": 390, "height": 800}, java_script_enabled=False)
    for person, link, message in (
        (desk.cast.setter, "Return the wrap gauge", "The return of the wrap gauge is recorded."),
        (desk.cast.setter, "Set the numbers and read them back", "The machine shows what was issued."),
        (desk.cast.confirmer, "Confirm what the machine shows", "Confirmed: two people"),
    ):
        log_in(page, live_server.url, person)
        page.goto(f"{live_server.url}/setup-values/{desk.installed.pk}")
        page.get_by_role("link", name=link).click()
        if page.get_by_role("checkbox").count():
            page.get_by_role("checkbox").check()
        else:
            page.get_by_label("Layers shown by the machine").fill(str(desk.installed.layers))
            page.get_by_label("Wraps shown by the machine").fill(str(desk.installed.wraps))
        page.locator("main button").click()
        expect(page.locator("main").get_by_role("status")).to_contain_text(message)
        page.get_by_role("button", name="Log out").click()
    page.close()


def test_the_board_is_filtered_and_leads_to_what_is_done_next(page: Page, live_server, desk):
    log_in(page, live_server.url, desk.cast.control)
    page.goto(f"{live_server.url}/board")
    page.get_by_label("Status", exact=True).select_option("Installed, not confirmed")
    page.get_by_role("button", name="Show", exact=True).click()
    assert "status=installed" in page.url
    page.get_by_role("link", name="Set, read back and confirm the values").first.click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Setup values for LW-0007 in RM-3")


def test_lengths_are_turned_to_feet_and_back_where_one_is(page: Page, live_server, desk):
    log_in(page, live_server.url, desk.cast.control)
    page.goto(f"{live_server.url}/reels/LW-0001?page=1")
    page.get_by_role("button", name="Show feet").click()
    assert page.url.endswith("/reels/LW-0001?page=1")
    page.locator("summary", has_text="Cable events").click()
    expect(page.get_by_text("41.01 ft").first).to_be_visible()  # 12.5 m
    page.get_by_role("button", name="Show metres").click()
    page.locator("summary", has_text="Cable events").click()
    expect(page.get_by_text("12.5 m").first).to_be_visible()


def test_a_point_of_the_figure_leads_by_keyboard_to_its_count_on_a_small_phone(page: Page, live_server, desk):
    page.set_viewport_size({"width": 320, "height": 800})
    log_in(page, live_server.url, desk.cast.control)
    page.goto(f"{live_server.url}/reels/LW-0020/drift")
    figure = page.locator(".narrow-figure svg")
    assert figure.evaluate("each => each.getBoundingClientRect().right <= innerWidth")
    first = figure.get_by_role("link").first
    expect(first).to_have_accessible_name(re.compile(r"^Count of \d+ \w+ \d{4}: [\d.]+ m"))
    first.focus()
    page.keyboard.press("Enter")
    expect(page.locator("#count-1")).to_be_in_viewport()


def test_a_withdrawn_card_shows_no_numbers_to_set_on_paper(page: Page, live_server, desk):
    log_in(page, live_server.url, desk.cast.control)
    page.goto(f"{live_server.url}/setup-values/{desk.withdrawn.pk}")
    page.emulate_media(media="print")
    expect(page.get_by_text("Do not set these values")).to_be_visible()
    expect(page.locator(".numbers")).to_have_count(0)
    page.goto(f"{live_server.url}/setup-values/{desk.installed.pk}")
    expect(page.locator(".numbers")).to_be_visible()
    expect(page.get_by_role("link", name="Card as a PDF, to print")).to_be_hidden()


@pytest.mark.parametrize("address", ["/people", "/machines", "/gauges"])
def test_a_row_of_a_list_is_one_or_two_lines_on_a_phone_and_unfolds(page: Page, live_server, desk, address):
    log_in(page, live_server.url, in_a_thread(second_administrator))
    page.set_viewport_size({"width": PHONE, "height": 844})
    page.goto(live_server.url + address)
    rows = page.locator(".slim tbody tr")
    assert max(rows.evaluate_all("rows => rows.map(each => each.offsetHeight)")) <= TWO_LINES
    hidden = rows.first.locator("td[data-label]:not(.none)").last
    expect(hidden).to_be_hidden()
    rows.first.locator("summary").click()
    expect(hidden).to_be_visible()


def test_the_kinds_of_findings_are_a_line_for_each_type_on_a_phone(page: Page, live_server, desk):
    log_in(page, live_server.url, in_a_thread(second_administrator))
    page.set_viewport_size({"width": PHONE, "height": 844})
    page.goto(f"{live_server.url}/findings/kinds")
    kind = page.get_by_role("link", name="kink").first
    expect(kind).to_be_hidden()
    page.locator("summary", has_text=re.compile("kinds?$")).first.click()
    expect(kind).to_be_visible()
    page.set_viewport_size({"width": DESK, "height": 844})
    page.reload()
    expect(kind).to_be_visible()
