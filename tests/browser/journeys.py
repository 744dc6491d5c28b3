"""What the tests of pages share: how to log in, and where the pages are."""

from django.conf import settings
from django.test import Client
from playwright.sync_api import Page

from reels.models import Person
from tests.browser.looks import DESK, PHONE
from tests.browser.threads import in_a_thread
from tests.pages_fleet import Fleet

WIDTHS = (PHONE, DESK)


def log_in(page: Page, address: str, person: Person) -> None:
    """From here on the page is asked for as this person; logging in itself has tests of its own."""
    name = settings.SESSION_COOKIE_NAME
    page.context.add_cookies([{"name": name, "value": in_a_thread(lambda: session_key(person)), "url": address}])


def session_key(person: Person) -> str:
    client = Client()
    client.force_login(person)
    return client.cookies[settings.SESSION_COOKIE_NAME].value


def address_of_pages(fleet: Fleet) -> dict[str, str]:
    """Every page that is looked at after logging in, by a short name."""
    return {
        "reels": "/reels",
        "reels-filtered": "/reels?q=LW&site=kettle-point&status=counted",
        "reels-none": "/reels?q=nowhere",
        "reel": f"/reels/{fleet.busiest.serial}",
        "reel-held": "/reels/LW-0009",
        "reel-without-values": "/reels/LW-0008",
        "reel-new": "/reels/LW-0012",
        "inspection-signed": f"/inspections/{fleet.signed.pk}",
        "inspection-referred": f"/inspections/{fleet.referred.pk}",
        "inspection-blind": f"/inspections/{fleet.blind.pk}",
        "inspection-voided": f"/inspections/{fleet.voided.pk}",
        "not-found": "/reels/LW-9999",
    }
