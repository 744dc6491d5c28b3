"""Links that are good once: from a service with nobody in it to two administrators, and passwords that nobody gave."""

import io
import re
from datetime import timedelta
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.utils import timezone

from reels.errors import AnotherAdministrator
from reels.models import HistoryEntry, LoginLink, Person
from reels.services import login_links, people
from reels.services.history import Actor
from reports.services.verification import check_records
from tests.builders import administrator, second_administrator
from tests.page_fixtures import PageClient, hidden_in, logged_in

pytestmark = pytest.mark.django_db
OWN = "heron lake at dawn"
ADA = {"username": "ada", "full_name": "Ada Lindqvist", "staff_number": "LWS-1", "new_password": OWN, "again": OWN}
BEA = {**ADA, "username": "bea", "full_name": "Bea Okafor", "staff_number": "LWS-2"}


@pytest.fixture(autouse=True)
def _records_are_whole_afterwards(db):
    yield
    assert check_records().broken is None


def first_run() -> str:
    out = io.StringIO()
    call_command("first_run", "--address", "http://testserver", stdout=out, stderr=io.StringIO())
    return out.getvalue().strip()


def followed(link: str) -> PageClient:
    """The browser of whoever opened a link."""
    browser = PageClient()
    assert browser.get(link).headers["Location"] == "/link"
    return browser


def begun() -> tuple[PageClient, str]:
    """The first administrator's browser, and the link for the second one."""
    browser = followed(first_run())
    page = browser.post("/link", ADA).content.decode()
    return browser, re.search(r"http://testserver/link\?good-once=[\w-]+", page)[0]  # type: ignore[index]


def register_acts() -> list[tuple[str, str]]:
    entries = HistoryEntry.objects.filter(chain__name="register").order_by("seq")
    return [(entry.act, entry.actor.username if entry.actor else "") for entry in entries]


def test_a_service_with_nobody_in_it_says_how_one_begins():
    assert b"Nobody is here yet" in PageClient().get("/login").content
    begun()
    assert b"Nobody is here yet" not in PageClient().get("/login").content


def test_two_administrators_come_in_by_two_links_and_neither_waits_for_the_other():
    first, link = begun()
    assert first.get("/people").status_code == 200
    second = followed(link)
    assert second.post("/link", BEA).headers["Location"] == "/"
    assert second.get("/people").status_code == 200
    people.add_person(username="nell", full_name="Nell", staff_number="N-1", password=None,
                      actor=Actor(Person.objects.get(username="ada")), at=timezone.now())  # fmt: skip
    assert second.post("/people/nell/enrolment", {"checked": "pass seen", "seen": ""}).status_code == 302
    assert register_acts() == [
        ("login_link_issued", ""), ("administrator_added", "ada"), ("administrator_added", "bea"),
        ("person_added", "ada"), ("person_enrolled", "bea"),
    ]  # fmt: skip


def test_the_secret_is_nowhere_but_in_the_link():
    secret = first_run().partition("=")[2]
    rows = [repr(row) for model in (LoginLink, HistoryEntry) for row in model.objects.values_list()]
    assert LoginLink.objects.get().prefix in secret
    assert secret.partition("_")[2] not in " ".join(rows)


def test_a_link_is_good_once():
    link = first_run()
    other = followed(link)
    followed(link).post("/link", ADA)
    assert other.get("/link").status_code == other.post("/link", BEA).status_code == 410
    assert PageClient().get(link).status_code == 410
    assert Person.objects.get().username == "ada"


def test_another_first_run_takes_the_place_of_one_that_nobody_used():
    before, now = first_run(), first_run()
    assert PageClient().get(before).status_code == 410
    assert PageClient().get(now).status_code == 302


def test_there_is_no_first_run_once_there_is_an_administrator():
    unused = first_run()
    administrator()
    with pytest.raises(CommandError, match="There is already a first administrator"):
        first_run()
    assert followed(unused).post("/link", BEA).status_code == 410


@pytest.mark.parametrize(("purpose", "hours"), [("first", 24), ("second", 7 * 24)])
def test_a_link_ends_by_itself(purpose, hours, time_machine):
    _, second = begun() if purpose == "second" else (None, "")
    link = second or first_run()
    time_machine.move_to(timezone.now() + timedelta(hours=hours, minutes=1))
    assert PageClient().get(link).status_code == 410


@pytest.mark.parametrize(
    ("typed", "seen"),
    [
        ({"again": "another"}, "The two passwords differ"),
        ({"new_password": "short", "again": "short"}, "too short"),
        ({"username": "ada lind"}, "letters, digits"),
        ({"full_name": ""}, "Type the name."),
    ],
)
def test_what_cannot_be_is_said_and_what_was_typed_stays(typed, seen):
    page = followed(first_run()).post("/link", {**ADA, **typed})
    assert page.status_code == 422
    assert seen in page.content.decode()
    assert "LWS-1" in page.content.decode()
    assert not Person.objects.exists()


def test_the_page_is_at_an_address_without_the_secret_and_is_not_kept_by_a_browser():
    browser = followed(first_run())
    page = browser.get("/link")
    assert page.headers["Referrer-Policy"] == "same-origin"
    assert "no-store" in page.headers["Cache-Control"]


def test_wrong_links_are_counted_as_wrong_passwords_are(settings):
    settings.RATES = {**settings.RATES, "login": "3/min"}
    answers = [PageClient().get(f"/link?good-once={n:08x}_nothing").status_code for n in range(4)]
    assert answers == [410, 410, 410, 429]


def test_a_lost_second_link_is_made_again_until_there_was_a_second_administrator():
    browser, lost = begun()
    assert b"only administrator" in browser.get("/people").content
    page = browser.post("/second-administrator", hidden_in(browser.get("/second-administrator").content.decode()))
    again = re.search(r"/link\?good-once=[\w-]+", page.content.decode())
    assert again
    assert PageClient().get(lost).status_code == 410
    followed(again[0]).post("/link", BEA)
    assert b"only administrator" not in browser.get("/people").content
    refused = browser.post("/second-administrator", hidden_in(browser.get("/second-administrator").content.decode()))
    assert (refused.status_code, b"already a second administrator" in refused.content) == (422, True)


def test_an_owner_gives_their_login_a_password_that_nobody_else_knew():
    ada, bea = Actor(administrator()), Actor(second_administrator())
    nell = people.add_person(username="nell", full_name="Nell", staff_number="N-1", password=None, actor=ada,
                             at=timezone.now())  # fmt: skip
    secret = login_links.issue_for(nell, actor=ada, at=timezone.now())
    browser = followed(f"/link?good-once={secret}")
    assert b"Nell" in browser.get("/link").content
    assert browser.post("/link", {"new_password": OWN, "again": OWN}).status_code == 302
    nell.refresh_from_db()
    assert nell.check_password(OWN)
    assert not nell.must_change_password
    assert nell.login_given_by == ada.person
    with pytest.raises(AnotherAdministrator):
        people.enrol(nell, checked="I gave it", actor=ada, at=timezone.now())
    people.enrol(nell, checked="pass seen", actor=bea, at=timezone.now())


def test_a_link_for_a_login_in_use_ends_its_sessions_and_its_old_password():
    ada, bea = Actor(administrator()), Actor(second_administrator())
    browser: Any = logged_in(bea.person)
    assert browser.get("/account").status_code == 200
    login_links.issue_for(bea.person, actor=ada, at=timezone.now())
    assert browser.get("/account").status_code == 302
    bea.person.refresh_from_db()
    assert not bea.person.has_usable_password()
    assert not bea.person.is_enrolled


def test_nobody_makes_a_link_for_themselves():
    ada = Actor(administrator())
    with pytest.raises(AnotherAdministrator):
        login_links.issue_for(ada.person, actor=ada, at=timezone.now())
