"""What the browser's tests of a count share: phones and the steps."""

import re
from collections.abc import Callable, Mapping
from contextlib import suppress
from typing import Any

from playwright.sync_api import Browser, BrowserContext, Error, Locator, Page, ViewportSize, expect

from inspections.models import Inspection
from tests import builders, stories
from tests.browser.threads import in_a_thread
from tests.builders import GOOD, PASSWORD, Cast
from tests.worlds import step

PHONE: ViewportSize = {"width": 390, "height": 844}
Seen = Mapping[str, Any]  # what somebody reads on the reel, by field
READ: Seen = {"serial": "LW-0001", **GOOD}


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


def begin(page: Page, live_server, serial="LW-0001", **prepared: str) -> str:
    page.goto(f"{live_server.url}/reels/{serial}")
    offered = page.get_by_role("link", name="Begin a count")
    if not offered.count():  # of a reel whose count still holds, nobody waits for another
        page.locator("summary").filter(has_text=re.compile(r"^(Other acts|Acts)\b")).click()
    offered.click()
    return prepare(page, **prepared)


def prepare(page: Page, work_order="WO-7", not_sound="") -> str:
    """The page that begins a count, filled in; the address of the count."""
    page.get_by_label("I have read the cautions").check()
    name_work_order(page, work_order)
    expect(page.get_by_label("Publication", exact=True)).to_contain_text("LWS 12-3, revision C")
    for label in ("turned as installed", "are found"):
        page.get_by_label(label).check()
    if not_sound:
        page.get_by_text("Something is not sound").click()
        page.get_by_role("group", name="Not sound").get_by_text(not_sound, exact=True).click()
    else:
        page.get_by_label("are all sound").check()
    page.get_by_role("button", name="Begin the count").click()
    page.wait_for_url("**/finding?*" if not_sound else "**/worksheet")
    return page.url.rpartition("/")[0]


def name_work_order(page: Page, work_order="WO-7"):
    """Chosen where it is offered."""
    if (offered := page.get_by_role("radio", name=work_order, exact=True)).count():
        offered.check()
    else:
        write(page.get_by_role("textbox", name=re.compile("^(Another work|Work) order$")), work_order)


def fill_scales(page: Page, seen: Seen = READ):
    """What is chosen first leads a thumb on; of numbers a phone asks one a screen. Keyed again is only what differs."""
    if (unwind := page.get_by_role("group", name="Unwind direction")).count():
        unwind.get_by_text(seen["unwind"].replace("_", " "), exact=True).click()
    for side in ("left", "right"):
        field = page.get_by_label(f"{side.capitalize()} scale", exact=True)
        if not field.count():
            continue
        if not field.is_visible():
            page.get_by_role("button", name="Next").click()
        write(field, str(seen[f"scale_{side}"]))


def go_to_the_scales(page: Page, cast: Cast):
    """What comes before them is keyed by both, beside the browser."""
    in_a_thread(lambda: stories.key_both(cast, Inspection.objects.get(), *stories.BEFORE_THE_SCALES))
    page.reload()


def key_plate(page: Page, seen: Seen = READ):
    write(page.get_by_label("Serial of the reel"), seen["serial"].replace("-", " "))
    page.keyboard.press("Enter")


def key_open_side(page: Page, seen: Seen = READ):
    page.get_by_role("group", name="Open side").get_by_text(seen["open_side"], exact=True).click()
    send(page)


def key_scales(page: Page, seen: Seen = READ):
    fill_scales(page, seen)
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


def look(page: Page):
    """Without a script by the link; with one, the page looks for itself."""
    with suppress(Error):  # it has looked, and gone on, at this very moment
        page.get_by_role("link", name="Look again").evaluate_all("links => links.forEach(link => link.click())")


def look_again(page: Page, step: int):
    """At the step, once it is open. The technician takes the gauge on the way."""
    look(page)
    if step == HAND_COUNT and not page.url.endswith("witness"):
        take_gauge(page)
    at_step(page, step)


def _send_wraps(page: Page, label: str, wraps: int):
    write(page.get_by_label(label), str(wraps))
    page.keyboard.press("Enter")


def key_wraps(page: Page, seen: Seen = READ):
    _send_wraps(page, "Wraps counted by hand", seen["hand_wraps"])


def key_gauge(page: Page, seen: Seen = READ):
    page.get_by_role("group", name="Face of the wrap gauge").get_by_text(seen["gauge_face"], exact=True).click()
    _send_wraps(page, "Wraps read on the gauge", seen["gauge_wraps"])


def key_crossover(page: Page, seen: Seen = READ):
    page.get_by_role("radio", name=f"{seen['crossover_half']} half").check()
    send(page)


STEPS: tuple[Callable[..., None], ...] = (
    key_plate, key_open_side, key_scales, key_wraps, key_gauge, key_crossover,
)  # fmt: skip
LAST = len(STEPS)
SCALES, HAND_COUNT = STEPS.index(key_scales) + 1, STEPS.index(key_wraps) + 1


def find_witness_page(page: Page, live_server, serial="LW-0001"):
    """From the reel's page, which a label leads to."""
    page.goto(f"{live_server.url}/reels/{serial}")
    page.get_by_role("link", name="Witness the count").click()
    at_step(page, 1)


def at_step(page: Page, number: int):
    expect(page.get_by_text(f"Step {number} of {LAST}")).to_be_visible()


def key_step(tess: Page, vic: Page, number: int, seen: Seen = READ, by_vic: Seen | None = None):
    """Both key a step, the technician first; the verifier sees the same unless said."""
    look_again(tess, number)
    look_again(vic, number)
    STEPS[number - 1](tess, seen)
    if number < LAST:
        waits(tess)
    STEPS[number - 1](vic, by_vic or seen)


def key_everything(tess: Page, vic: Page):
    for number in range(1, LAST + 1):
        key_step(tess, vic, number)
        if number < LAST:
            at_step(vic, number + 1)


def key_once_more(tess: Page, vic: Page, number: int, seen: Seen):
    """The step at which the two differ; now both see the same."""
    look(tess)
    for page in (vic, tess):
        expect(page.get_by_role("heading", name="Your readings differ")).to_be_visible()
    for page in (tess, vic):
        STEPS[number - 1](page, seen)


def record_finding(page: Page, kind: str, words: str):
    """What was found not sound, as a watch: then the count goes on."""
    page.get_by_label("What it is").select_option(kind)
    page.get_by_role("group", name="How bad it is").get_by_text("watch", exact=True).click()
    write(page.get_by_label("What you see"), words)
    page.get_by_role("button", name="Record the finding").click()
    page.wait_for_url("**/worksheet")


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
