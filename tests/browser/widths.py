"""How much wider than the screen a page is: with its own font, and with one that is much wider.

A page is shown in the machine's letters until its own have come, or if they never come; those may be a quarter wider.
"""

import base64
from pathlib import Path

from playwright.sync_api import Page

WIDE_FONT = Path(__file__).resolve().parents[2] / "reports" / "pdf" / "fonts" / "DejaVuSans-Bold.ttf"
_WIDE = base64.b64encode(WIDE_FONT.read_bytes()).decode()

# By script and not from an address, for the pages' policy lets no other font in.
_WIDER_BY = """async wide => {
    const root = document.documentElement, by = () => root.scrollWidth - root.clientWidth
    await document.fonts.ready
    const own = by()
    if (!window.wideFont) {
        window.wideFont = new FontFace("wide", Uint8Array.from(atob(wide), each => each.charCodeAt(0)))
        document.fonts.add(await window.wideFont.load())
    }
    root.style.setProperty("--text", "wide")
    const fallback = by()
    root.style.removeProperty("--text")
    return Math.max(own, fallback)
}"""


def wider_than_the_screen(page: Page) -> int:
    """Pixels by which the page is too wide, 0 if it is not; the larger of both fonts'."""
    is_there = page.evaluate("() => 'wideFont' in window")
    return int(page.evaluate(_WIDER_BY, "" if is_there else _WIDE))
