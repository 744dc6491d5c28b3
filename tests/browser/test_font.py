"""The font that pages bring: it is there, its figures line up, and a page fits without it."""

import pytest
from playwright.sync_api import Page, expect

from tests.browser.journeys import log_in
from tests.browser.threads import in_a_thread
from tests.browser.widths import wider_than_the_screen
from tests.builders import Cast, administrator, make_reel

LOADED = "() => document.fonts.ready.then(all => [...all].map(each => [each.family, each.status]))"
WIDTHS_OF_FIGURES = """weight => {
    const figure = document.body.appendChild(document.createElement("span"))
    figure.style.fontWeight = weight
    return [..."0123456789"].map(each => {
        figure.textContent = each
        return figure.getBoundingClientRect().width
    })
}"""


@pytest.fixture
def cast(live_server):
    return in_a_thread(lambda: (make_reel(), Cast())[1])


@pytest.mark.parametrize("address", ["/login", "/nowhere"])
def test_a_page_brings_its_font(page: Page, live_server, address):
    page.goto(live_server.url + address)
    assert page.evaluate(LOADED) == [["Inter", "loaded"]]


def test_the_administrators_pages_bring_it_too(page: Page, live_server):
    log_in(page, live_server.url, in_a_thread(administrator))
    page.goto(f"{live_server.url}/admin/")
    assert page.evaluate(LOADED) == [["Inter", "loaded"]]


@pytest.mark.parametrize("weight", [400, 600, 700])
def test_all_figures_are_as_wide_as_each_other(page: Page, live_server, weight):
    page.goto(f"{live_server.url}/login")
    page.evaluate(LOADED)
    assert len(set(page.evaluate(WIDTHS_OF_FIGURES, weight))) == 1


def test_a_page_whose_font_does_not_come_is_read_all_the_same_and_fits(page: Page, live_server, cast):
    page.route("**/*.woff2", lambda route: route.abort())
    page.set_viewport_size({"width": 320, "height": 800})
    log_in(page, live_server.url, cast.control)
    for address in ("/reels/LW-0001", "/reels/LW-0001/cut"):
        page.goto(live_server.url + address)
        assert ["Inter", "error"] in page.evaluate(LOADED)
        expect(page.get_by_role("heading", level=1)).to_be_visible()
        assert wider_than_the_screen(page) == 0
