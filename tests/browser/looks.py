"""What is wrong with a page as it stands: in one visit it is looked at in every theme and at every width."""

from collections.abc import Iterable
from typing import Literal

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page

from tests.browser.widths import wider_than_the_screen

ZOOMED, PHONE, DESK = 320, 390, 1280  # CSS pixels; the first is a screen of 1280 at 400 %
THEMES: tuple[Literal["light", "dark"], ...] = ("light", "dark")
HEIGHT = 844
LEAST_TARGET_PX = 44

# Points of a figure lie where they lie; each leads to a row of the table of its numbers.
SMALL = """least => [...document.querySelectorAll("a, button, input:not([type=hidden]), select, summary, textarea")]
    .filter(each => !each.matches(".skip, svg *"))
    .map(each => [each.textContent.trim() || each.name, (each.closest("label") || each).getBoundingClientRect()])
    .filter(([, box]) => box.width > 0 && box.height > 0 && Math.round(box.height) < least)
    .map(([words, box]) => [words, Math.round(box.height)])"""
# Buttons and fields that forced colours leave without an edge.
WITHOUT_EDGE = """() => [...document.querySelectorAll("main :is(button, .button, input:not([type=hidden]), select)")]
    .filter(each => each.getBoundingClientRect().height > 0)
    .filter(each => !["radio", "checkbox"].includes(each.type))
    .filter(each => parseFloat(getComputedStyle(each).borderTopWidth) < 1)
    .map(each => each.textContent.trim() || each.name)"""
# Parts of a drawing that no style sheet knows, so that they come out as black as ink.
UNDRAWN = """() => [...document.querySelectorAll("svg [class*=look-]:not(text)")]
    .filter(each => { const s = getComputedStyle(each); return s.fill === "rgb(0, 0, 0)" && s.stroke === "none" })
    .map(each => each.getAttribute("class"))"""
RUN_AXE = """() => axe.run({resultTypes: ["violations"]}).then(({violations}) =>
    violations.flatMap(each => each.nodes.map(node => [each.id, node.target, node.failureSummary])))"""


def violations(page: Page) -> list[list[object]]:
    """What axe has against the page: rule, place and why."""
    if not page.evaluate("() => 'axe' in window"):
        page.evaluate(Axe().axe_script)
    broken_rules: list[list[object]] = page.evaluate(RUN_AXE)
    return broken_rules


def faults(page: Page, axe_widths: Iterable[int] = (DESK,)) -> list[object]:
    """Broken rules of axe in each theme, targets that are too small, and pixels by which the page is too wide."""
    found: list[object] = []
    for width in axe_widths:
        page.set_viewport_size({"width": width, "height": HEIGHT})
        for theme in THEMES:
            page.emulate_media(color_scheme=theme)
            found += [(width, theme, *each) for each in violations(page)]
    found += [("not drawn", each) for each in set(page.evaluate(UNDRAWN))]
    for width in (ZOOMED, PHONE, DESK):
        page.set_viewport_size({"width": width, "height": HEIGHT})
        found += [(width, "too small", *each) for each in page.evaluate(SMALL, LEAST_TARGET_PX)]
        if (by := wider_than_the_screen(page)) > 0:
            found.append((width, "too wide by", by))
    page.emulate_media(color_scheme="light")
    return found


def faults_in_forced_colours(page: Page) -> list[object]:
    """Broken rules of axe where the browser chooses the colours, of which axe would know only the style sheet's."""
    page.emulate_media(forced_colors="active", reduced_motion="reduce")
    found: list[object] = [each for each in violations(page) if each[0] != "color-contrast"]
    page.emulate_media(forced_colors="none", reduced_motion="no-preference")
    return found


def without_edge_in_forced_colours(page: Page) -> list[object]:
    """Buttons and fields that nobody would see there."""
    page.set_viewport_size({"width": PHONE, "height": HEIGHT})
    page.emulate_media(color_scheme="light", forced_colors="active")
    found: list[object] = [("forced colours", words) for words in page.evaluate(WITHOUT_EDGE)]
    page.emulate_media(forced_colors="none")
    return found
