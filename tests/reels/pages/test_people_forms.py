"""Sites and people, added and changed in our own pages: each person chooses a password that nobody else ever knew."""

import re
from typing import Any

import pytest

from reels.models import HistoryEntry, Person, Site
from tests import builders
from tests.builders import administrator, make_site, second_administrator
from tests.page_fixtures import PageClient, hidden_in, logged_in

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("no_query_in_a_template")]
OWN = "heron lake at dawn"
LIST = "Orla Finch; N-1; orla\nWeir, Jonas; N-2; jonas\n\nMina Vale\tN-3\tmina\n"


@pytest.fixture
def ada() -> PageClient:
    make_site()
    return logged_in(administrator())


def post(client: PageClient, address: str, **typed: Any) -> Any:
    """What the form at an address answers, when it is sent as it was opened."""
    return client.post(address, {**hidden_in(client.get(address).content.decode()), **typed})


def links_in(answer: Any) -> list[str]:
    return re.findall(r"/link\?good-once=[\w-]+", answer.content.decode())


def test_a_list_of_people_is_added_posted_and_given_links_at_once(ada):
    answer = post(ada, "/people/add", people=LIST, site="kettle-point")
    assert answer.status_code == 200
    assert len(links_in(answer)) == 3
    people = Person.objects.filter(username__in=("orla", "jonas", "mina"))
    assert {(each.username, each.full_name, str(each.postings.get().site)) for each in people} == {
        ("orla", "Orla Finch", "Kettle Point"), ("jonas", "Weir, Jonas", "Kettle Point"),
        ("mina", "Mina Vale", "Kettle Point"),
    }  # fmt: skip
    acts = HistoryEntry.objects.filter(chain__name="register").order_by("-seq").values_list("act", flat=True)[:9]
    assert list(acts) == ["login_link_issued", "person_posted", "person_added"] * 3


def test_whoever_gets_a_link_logs_in_by_it_and_is_enrolled_by_another_administrator(ada):
    (link,) = links_in(post(ada, "/people/add", people="Orla Finch; N-1; orla"))
    orla = PageClient()
    orla.get(link)
    assert orla.post("/link", {"new_password": OWN, "again": OWN}).status_code == 302
    assert orla.get("/account").status_code == 200
    assert post(ada, "/people/orla/enrolment", checked="I gave it").status_code == 422
    assert post(logged_in(second_administrator()), "/people/orla/enrolment", checked="seen").status_code == 302


def test_the_links_are_shown_once(ada):
    sent = {**hidden_in(ada.get("/people/add").content.decode()), "people": "Orla Finch; N-1; orla"}
    assert len(links_in(ada.post("/people/add", sent))) == 1
    again = ada.post("/people/add", sent, follow=True)
    assert links_in(again) == []
    assert "shown with the first answer" in again.content.decode()
    assert Person.objects.filter(username="orla").count() == 1


@pytest.mark.parametrize(
    ("people", "seen"),
    [
        ("Orla Finch; N-1", "Line 1 was “Orla Finch; N-1”"),
        ("Orla Finch; N-1; orla\nJonas Weir; N-1; jonas", "There is already a person"),
        ("Orla Finch; N-1; or la", "letters, digits"),
    ],
)
def test_a_list_with_a_line_that_cannot_be_adds_nobody(ada, people, seen):
    answer = post(ada, "/people/add", people=people)
    assert answer.status_code == 422
    assert seen in answer.content.decode()
    assert not Person.objects.filter(username="orla").exists()


def test_a_new_link_ends_what_was_there(ada):
    noel = builders.make_person("noel")
    (link,) = links_in(post(ada, "/people/noel/link"))
    noel.refresh_from_db()
    assert not noel.has_usable_password()
    assert PageClient().get(link).status_code == 302


def test_a_link_from_a_second_window_does_not_end_the_one_that_was_just_made(ada):
    builders.make_person("noel")
    second_window = hidden_in(ada.get("/people/noel/link").content.decode())
    (link,) = links_in(post(ada, "/people/noel/link"))
    assert ada.post("/people/noel/link", second_window).status_code == 422
    assert PageClient().get(link).status_code == 302


def test_a_site_is_added_and_changed(ada):
    typed = {"code": "stane", "name": "Stane Field", "time_zone": "Europe/London", "transit_days": "3"}
    assert post(ada, "/sites/add", **typed).status_code == 302
    assert "Stane Field" in ada.get("/sites").content.decode()
    del typed["code"]
    assert post(ada, "/sites/stane/change", **{**typed, "name": "Stane"}).status_code == 302
    assert Site.objects.get(code="stane").name == "Stane"


def test_a_posting_is_added_and_ended(ada):
    noel = builders.make_person("noel")
    assert post(ada, "/people/noel/posting", site="*").status_code == 302
    posting = noel.postings.get(site=None)
    assert post(ada, f"/postings/{posting.pk}/end").status_code == 302
    posting.refresh_from_db()
    assert posting.valid_until is not None
