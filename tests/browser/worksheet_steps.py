"""What the browser's tests of a count share: phones and the steps."""

import re
from collections.abc import Callable
from contextlib import suppress

from playwright.sync_api import Browser, BrowserContext, Error, Locator, Page, ViewportSize, expect

from inspections.models import Inspection
from tests import builders, stories
from tests.browser.threads import in_a_thread
from tests.builders import PASSWORD, Cast
from tests.worlds import step

PHONE: ViewportSize = {"width": 390, "height": 844}


@step
def make_cast() -> Cast:
    builders.make_reel()
    builders.make_gauge()
    return Cast()


def phone(browser: Browser, **options) -> BrowserContext:
    return browser.new_context(viewport=PHONE, **options)


def write(field: Locator, text: str):
    """As a person does: a tap, unless the field waits for it already, and then key by key."""
    if not field.evaluate("each => each === document.activeElement"):
        field.click()
    if field.input_value():
        field.clear()
    field.press_sequentially(text)


def begin(page: Page, live_server) -> str:
    page.goto(f"{live_server.url}/reels/LW-0001")
    offered = page.get_by_role("link", name="Begin a count")
    if not offered.count():  # of a reel whose count still holds, nobody waits for another
        page.locator("summary").filter(has_text=re.compile(r"^(Other acts|Acts)\b")).click()
    offered.click()
    return prepare(page)


def prepare(page: Page) -> str:
    """The page that begins a count, filled in; the address of the count."""
    page.get_by_label("I have read the cautions").check()
    name_work_order(page)
    expect(page.get_by_label("Publication", exact=True)).to_contain_text("LWS 12-3, revision C")
    for label in ("turned as installed", "are found", "are all sound"):
        page.get_by_label(label).check()
    page.get_by_role("button", name="Begin the count").click()
    page.wait_for_url("**/worksheet")
    return page.url.removesuffix("/worksheet")


def name_work_order(page: Page):
    """Chosen where it is offered."""
    if (offered := page.get_by_role("radio", name="WO-7")).count():
        offered.check()
    else:
        write(page.get_by_label("Work order", exact=True), "WO-7")


def fill_scales(page: Page, left="13", right="12"):
    """What is chosen first leads a thumb on; of numbers a phone asks one a screen."""
    if page.url.endswith("worksheet"):
        page.get_by_text("right to left").click()
    write(page.get_by_label("Left scale", exact=True), left)
    if not page.get_by_label("Right scale", exact=True).is_visible():
        page.get_by_role("button", name="Next").click()
    write(page.get_by_label("Right scale", exact=True), right)


def go_to_the_scales(page: Page, cast: Cast):
    """What comes before them is keyed by both, beside the browser."""
    in_a_thread(lambda: stories.key_both(cast, Inspection.objects.get(), *stories.BEFORE_THE_SCALES))
    page.reload()


def key_plate(page: Page):
    write(page.get_by_label("Serial of the reel"), "LW 0001")
    page.keyboard.press("Enter")


def key_open_side(page: Page):
    page.get_by_role("group", name="Open side").get_by_text("right", exact=True).click()
    send(page)


def key_scales(page: Page, left="13", right="12"):
    fill_scales(page, left, right)
    if page.url.endswith("witness"):
        page.keyboard.press("Enter")
    else:
        send(page)


def send(page: Page):
    page.get_by_role("button", name="Key this step").click()


def waits(page: Page):
    expect(page.get_by_role("heading", name=re.compile("Waiting for the"))).to_be_visible()


def take_gauge(page: Page):
    write(page.get_by_label("Serial of the wrap gauge"), "WG-RM-7")
    page.get_by_label("Its end marks match").check()
    page.get_by_role("button", name="Key the wrap gauge").click()


def look_again(page: Page, step: int):
    """Without a script by the link; with one, the page looks for itself. The technician takes the gauge on the way."""
    with suppress(Error):  # it has looked, and gone on, at this very moment
        page.get_by_role("link", name="Look again").evaluate_all("links => links.forEach(link => link.click())")
    if step == HAND_COUNT and not page.url.endswith("witness"):
        take_gauge(page)
    at_step(page, step)


def key_wraps(page: Page, label="Wraps counted by hand"):
    write(page.get_by_label(label), "12")
    page.keyboard.press("Enter")


def key_gauge(page: Page):
    page.get_by_text("even", exact=True).click()
    key_wraps(page, "Wraps read on the gauge")


def key_crossover(page: Page):
    page.get_by_role("radio", name="first half").check()
    send(page)


STEPS: tuple[Callable[[Page], None], ...] = (
    key_plate, key_open_side, key_scales, key_wraps, key_gauge, key_crossover,
)  # fmt: skip
LAST = len(STEPS)
SCALES, HAND_COUNT = STEPS.index(key_scales) + 1, STEPS.index(key_wraps) + 1


def find_witness_page(page: Page, live_server):
    """From the reel's page, which a label leads to."""
    page.goto(f"{live_server.url}/reels/LW-0001")
    page.get_by_role("link", name="Witness the count").click()
    at_step(page, 1)


def at_step(page: Page, number: int):
    expect(page.get_by_text(f"Step {number} of {LAST}")).to_be_visible()


def key_everything(tess: Page, vic: Page):
    """Both key every step, the technician first."""
    for number, key in enumerate(STEPS, 1):
        look_again(tess, number)
        look_again(vic, number)
        key(tess)
        if number < LAST:
            waits(tess)
        key(vic)
        if number < LAST:
            at_step(vic, number + 1)


def sign(page: Page, word: str):
    expect(page.get_by_role("button", name=f"Sign as “{word}”")).to_be_visible()
    write(page.get_by_label("Your password, again"), PASSWORD)
    page.keyboard.press("Enter")
    expect(page.get_by_text(re.compile("Sign(ed|atures)")).first).to_be_visible()


def return_gauge(page: Page):
    page.get_by_role("link", name="It is back in its place").click()
    write(page.get_by_label("Serial of the wrap gauge"), "WG-RM-7")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="Result")).to_be_visible()
    # Said once, though the page's script had followed the redirect before the browser did.
    expect(page.get_by_role("status").first).to_contain_text("Wrap gauge WG-RM-7 is back in machine RM-7.")
