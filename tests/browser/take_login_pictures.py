"""The pages of logins at both widths and in both themes. See pictures.py."""

import os
from pathlib import Path

import pytest
from django.utils import timezone
from playwright.sync_api import Browser, Page

from reels.services import people
from reels.services.history import Actor
from tests import builders
from tests.browser.journeys import WIDTHS
from tests.browser.pictures import FOLDER
from tests.browser.threads import in_a_thread
from tests.builders import PASSWORD, make_person

GIVEN = "given-by-somebody"


def make_people() -> None:
    make_person("tess", full_name="Tess Hollin")
    builders.administrator()
    giver = Actor(builders.second_administrator())
    people.add_person(username="nell", full_name="Nell Newly", staff_number="N-1", password=GIVEN, actor=giver,
                      at=timezone.now())  # fmt: skip


def log_in(page: Page, url: str, username: str, password: str = PASSWORD) -> None:
    page.context.clear_cookies()
    page.goto(f"{url}/login")
    page.get_by_label("User name").fill(username)
    page.get_by_label("Password").fill(password)
    page.get_by_role("button", name="Log in").click()


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("width", WIDTHS)
def test_pictures(live_server, browser: Browser, width, theme):
    folder, url = Path(os.environ[FOLDER]), live_server.url
    in_a_thread(make_people)
    page = browser.new_page(viewport={"width": width, "height": 900}, color_scheme=theme)

    def keep(name: str) -> None:
        page.screenshot(path=folder / f"login-{name}-{width}-{theme}.png", full_page=True)

    for _ in range(6):
        log_in(page, url, "vic", "not-the-word")
    keep("locked")
    log_in(page, url, "nell", GIVEN)
    page.wait_for_url(f"{url}/account")
    keep("given")
    page.get_by_role("link", name="Change your password").click()
    page.get_by_role("button", name="Change the password").click()
    keep("password-refused")
    log_in(page, url, "tess")
    page.goto(f"{url}/account/second-factor")
    page.get_by_label("Your password, again").fill(PASSWORD)
    page.get_by_role("button", name="Set it up").click()
    keep("device")
    for _ in range(5):
        log_in(page, url, "nell", "not-the-word")
    log_in(page, url, "ada")
    page.goto(f"{url}/people")
    keep("people")
    page.get_by_role("link", name="Unlock Nell Newly").click()
    keep("unlocking")
    page.goto(f"{url}/people")
    page.get_by_role("link", name="Enrol Nell Newly").click()
    keep("enrolment")
    page.close()
