"""Practice at both widths and in both themes, step by step. See pictures.py."""

import os
from functools import partial
from pathlib import Path

import pytest
from playwright.sync_api import Browser

from inspections.domain.practice import Difficulty
from inspections.services import practice
from tests.browser.journeys import WIDTHS, log_in
from tests.browser.pictures import FOLDER
from tests.browser.practice import make_practised, under_way
from tests.browser.threads import in_a_thread
from tests.practised import enter_right


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("width", WIDTHS)
def test_pictures(live_server, browser: Browser, width, theme):
    folder = Path(os.environ[FOLDER])
    made = in_a_thread(make_practised)
    page = browser.new_page(viewport={"width": width, "height": 844}, color_scheme=theme)

    def picture(name, address=""):
        if address:
            page.goto(live_server.url + address)
        page.screenshot(path=folder / f"practice-{name}-{width}-{theme}.png", full_page=True)

    log_in(page, live_server.url, made.trainee)
    picture("start", "/practice")
    picture("answers-right", f"/practice/reels/{made.right.pk}/answers")
    picture("answers-missed", f"/practice/reels/{made.missed.pk}/answers")
    exercise = in_a_thread(partial(under_way, made.trainee, Difficulty.TREACHEROUS, 7))
    picture("start-open", "/practice")
    for step in range(1, practice.RESULT_STEP + 1):
        picture(f"step-{step}", f"/practice/reels/{exercise.pk}")
        if step == practice.RESULT_STEP:
            page.get_by_role("button", name="See the answers").click()
            page.get_by_role("alert").wait_for()
            picture("refused")
            break
        in_a_thread(partial(enter_right, exercise, step))
    page.get_by_role("button", name="Log out").click()
    log_in(page, live_server.url, made.cast.instructor)
    picture("people", "/practice/people")
    picture("person", f"/practice/people/{made.trainee.pk}")
    page.close()
