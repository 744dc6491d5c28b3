"""Each step of a count at both widths and in both themes, as it opens, waits and is refused. See pictures.py."""

import os
from pathlib import Path

import pytest
from playwright.sync_api import Browser

from tests import stories
from tests.browser.journeys import WIDTHS, log_in
from tests.browser.pictures import FOLDER
from tests.browser.test_worksheet import cast
from tests.browser.threads import in_a_thread
from tests.browser.worksheet_steps import STEPS, begin, look_again, send, waits
from tests.builders import later, signed_count

__all__ = ["cast"]


def _surprising(people):
    for days in (90, 60, 30):
        signed_count(people, "LW-0001", at=later(days=-days), scale_left=17, scale_right=16)


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("width", WIDTHS)
def test_pictures(live_server, cast, browser: Browser, width, theme):  # the fixture of that name
    folder = Path(os.environ[FOLDER])
    options = {"viewport": {"width": width, "height": 844}, "color_scheme": theme}
    tess, vic, rhea = (browser.new_context(**options).new_page() for _ in range(3))
    in_a_thread(lambda: _surprising(cast))
    for page, person in ((tess, cast.technician), (vic, cast.verifier), (rhea, cast.releaser)):
        log_in(page, live_server.url, person)

    def picture(page, name):
        page.screenshot(path=folder / f"count-{name}-{width}-{theme}.png", full_page=True)

    tess.goto(f"{live_server.url}/reels/LW-0001/count")
    picture(tess, "preparation")
    count = begin(tess, live_server)
    vic.goto(f"{count}/witness")
    for step, key in enumerate(STEPS, 1):
        look_again(tess, step)
        look_again(vic, step)
        picture(tess, f"step-{step}")
        if step == 1:
            send(tess)
            tess.get_by_role("alert").wait_for()
            picture(tess, "step-1-refused")
            picture(vic, "witness-1")
        key(tess)
        if step == 1:
            waits(tess)
            picture(tess, "waits")
        key(vic)
    tess.wait_for_url(f"{count}/result")
    picture(tess, "surprise")
    tess.get_by_text("The count is right: accept it with a reason").click()
    tess.locator("#accept_reason").fill("The last counts were of another reel.")
    tess.get_by_role("button", name="Accept the count").click()
    tess.get_by_label("Your password, again").wait_for()
    picture(tess, "sign")
    tess.get_by_role("link", name="Ask for help").click()
    tess.get_by_label("What is unclear?").fill("The left mark is worn off.")
    picture(tess, "help")
    tess.get_by_role("button", name="Ask for help").click()
    tess.wait_for_url(f"{count}/referral")
    rhea.goto(f"{count}/referral")
    picture(rhea, "referral")
    for page in (tess, vic, rhea):
        page.context.close()


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("width", WIDTHS)
def test_pictures_of_a_third_reading(live_server, cast, browser: Browser, width, theme):
    folder = Path(os.environ[FOLDER])
    options = {"viewport": {"width": width, "height": 844}, "color_scheme": theme}
    tess, seth = (browser.new_context(**options).new_page() for _ in range(2))
    inspection = in_a_thread(lambda: stories.differ(cast, stories.at_the_scales(cast)))
    third = in_a_thread(lambda: stories.third_person(cast))
    for page, person in ((tess, cast.technician), (seth, third)):
        log_in(page, live_server.url, person)

    def picture(page, name, part=""):
        if part:
            page.goto(f"{live_server.url}/inspections/{inspection.pk}/{part}")
        page.screenshot(path=folder / f"third-{name}-{width}-{theme}.png", full_page=True)

    picture(tess, "differs", "worksheet")
    picture(tess, "request", "third-readings/scale_left/request")
    tess.get_by_role("button", name="Ask for a third reading").click()
    tess.wait_for_url("**/worksheet")
    picture(tess, "awaited")
    seth.goto(f"{live_server.url}/reels")
    picture(seth, "asked")
    seth.get_by_role("link", name="Read the left scale").click()
    picture(seth, "key")
    seth.get_by_label("Left scale", exact=True).fill("13")
    seth.get_by_role("button", name="Key the third reading").click()
    seth.wait_for_url(f"**/inspections/{inspection.pk}")
    picture(seth, "keyed")
    picture(tess, "told", "worksheet")
    for page in (tess, seth):
        page.context.close()
