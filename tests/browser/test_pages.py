"""Every page in a real browser: accessible in both themes, quiet, no wider than the screen, usable by keyboard."""

from playwright.sync_api import Page, expect

from tests.browser.journeys import address_of_pages, log_in
from tests.browser.looks import DESK, faults
from tests.browser.threads import in_a_thread
from tests.builders import PASSWORD, administrator


def every_page(page: Page, live_server, fleet):
    """Each page in turn, opened: the one to log in first."""
    page.goto(f"{live_server.url}/login")
    yield "login"
    page.get_by_role("button", name="Log in").click(no_wait_after=True)
    page.goto(f"{live_server.url}/login")
    page.get_by_label("User name").fill("nobody")
    page.get_by_label("Password").fill("wrong")
    page.get_by_role("button", name="Log in").click()
    expect(page.get_by_role("alert")).to_be_visible()
    yield "login refused"
    log_in(page, live_server.url, fleet.cast.control)
    for name, address in address_of_pages(fleet).items():
        page.goto(live_server.url + address)
        for summary in page.locator("main summary:visible").all()[:2]:
            summary.click()
        yield name


def test_every_page_is_accessible_in_both_themes_quiet_and_as_wide_as_its_screen(
    page: Page, live_server, fleet, noises
):
    assert {name: bad for name in every_page(page, live_server, fleet) if (bad := [*faults(page), *noises()])} == {}


def test_icons_are_drawn(page: Page, live_server, fleet):
    log_in(page, live_server.url, fleet.cast.control)
    page.goto(f"{live_server.url}/reels")
    sizes = page.evaluate("() => [...document.querySelectorAll('.icon use')].map(use => use.getBBox().width)")
    assert len(sizes) > 20
    assert min(sizes) > 5


def test_somebody_logs_in_looks_at_a_reel_and_logs_out_by_keyboard_alone(page: Page, live_server, fleet):
    page.goto(f"{live_server.url}/reels/LW-0001")
    keys = page.keyboard
    keys.press("Tab")
    expect(page.get_by_role("link", name="Skip to the content")).to_be_focused()
    keys.press("Enter")
    keys.press("Tab")
    expect(page.get_by_label("User name")).to_be_focused()
    keys.type("mona")
    keys.press("Tab")
    keys.type(PASSWORD)
    keys.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_have_text("Reel LW-0001")
    page.wait_for_load_state()
    keys.press("Shift+Tab")  # the address still says #content, so the way back leads to what comes before it
    expect(page.get_by_role("button", name="Log out")).to_be_focused()
    keys.press("Enter")
    expect(page.locator("main").get_by_role("status")).to_have_text("You are logged out.")


def test_a_refused_login_is_read_out_and_leads_to_the_field(page: Page, live_server, fleet):
    page.goto(f"{live_server.url}/login")
    page.get_by_label("User name").fill("mona")
    page.get_by_label("Password").fill("wrong")
    page.keyboard.press("Enter")
    alert = page.get_by_role("alert")
    expect(alert).to_be_focused()
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    expect(page.get_by_label("User name")).to_be_focused()
    expect(page.get_by_label("User name")).to_have_value("mona")


def test_filters_work_without_javascript(browser, live_server, fleet):
    page = browser.new_page(java_script_enabled=False)
    log_in(page, live_server.url, fleet.cast.control)
    page.goto(f"{live_server.url}/reels")
    page.get_by_label("Status", exact=True).select_option("Held")
    page.get_by_role("button", name="Show", exact=True).click()
    assert page.url.endswith("status=held")
    expect(page.locator("main").get_by_role("status")).to_have_text("1 reel found with these filters.")
    page.get_by_role("link", name="LW-0009").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Reel LW-0009")
    page.close()


def test_paper_shows_the_digests_and_no_controls(page: Page, live_server, fleet):
    log_in(page, live_server.url, fleet.cast.control)
    page.goto(f"{live_server.url}/reels/LW-0009/history")
    page.emulate_media(media="print")
    expect(page.get_by_role("button", name="Log out")).to_be_hidden()
    expect(page.locator(".digests").first).to_be_visible()


def test_the_whole_menu_of_an_administrator_is_on_one_line_of_a_desk_screen(page: Page, live_server):
    log_in(page, live_server.url, in_a_thread(administrator))
    page.set_viewport_size({"width": DESK, "height": 844})
    page.goto(f"{live_server.url}/reels")
    tops = page.locator(".top-row a, .top-row button").evaluate_all(
        "all => all.filter(each => each.offsetParent).map(each => Math.round(each.getBoundingClientRect().top))"
    )
    assert len(tops) >= 12
    assert max(tops) - min(tops) < 22  # one line of 44 pixels


def test_the_admin_works_under_the_content_security_policy(page: Page, live_server, fleet, noises):
    log_in(page, live_server.url, in_a_thread(administrator))
    page.goto(f"{live_server.url}/admin/")
    expect(page.get_by_role("heading", level=1)).to_have_text("People and reference data")
    page.goto(f"{live_server.url}/admin/reels/person/")
    page.get_by_role("link", name="noel").click()
    expect(page.get_by_text("Noel Grant", exact=True).first).to_be_visible()
    expect(page.get_by_role("button", name="Save", exact=True)).to_have_count(0)
    assert noises() == []
