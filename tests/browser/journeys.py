"""What the tests of pages share: how to log in, and where the pages are."""

from playwright.sync_api import Page

from reels.models import Person
from tests.builders import PASSWORD
from tests.pages_fleet import Fleet

WIDTHS = (390, 1280)  # a phone, a desk screen


def log_in(page: Page, address: str, person: Person) -> None:
    page.goto(f"{address}/login")
    page.get_by_label("User name").fill(person.username)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Log in").click()
    page.wait_for_url(f"{address}/reels")


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
