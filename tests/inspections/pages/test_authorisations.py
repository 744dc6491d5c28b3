"""Authorisations on a page: a table of people and acts, many granted in one form, each told by itself."""

from typing import Any

import pytest

from inspections.domain.words import Act
from inspections.models import Authorisation
from reels.models import HistoryEntry
from reels.services import register
from tests.builders import administrator, authorise, by_administrator, make_person, make_site, make_type
from tests.page_fixtures import PageClient, hidden_in, logged_in

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("no_query_in_a_template")]


@pytest.fixture
def ada() -> PageClient:
    make_site()
    make_type()
    for name in ("nell", "noel"):
        make_person(name)
    return logged_in(administrator())


def grant(client: PageClient, address: str, *granted: str, **typed: Any) -> Any:
    opened = hidden_in(client.get(address).content.decode())
    return client.post(address, {**opened, "granted": list(granted), **typed})


def test_many_are_granted_at_once_and_each_is_told_by_itself(ada):
    before = Authorisation.objects.count()
    answer = grant(ada, "/authorisations?site=kettle-point&type=w28", "nell count", "nell set", "noel verify")
    assert answer.status_code == 302
    rows = list(Authorisation.objects.order_by("pk"))[before:]
    assert {(row.person.username, row.act, str(row.site), str(row.reel_type)) for row in rows} == {
        ("nell", "count", "Kettle Point", "w28"), ("nell", "set", "Kettle Point", "w28"),
        ("noel", "verify", "Kettle Point", "w28"),
    }  # fmt: skip
    acts = HistoryEntry.objects.order_by("-pk").values_list("act", flat=True)[:3]
    assert list(acts) == ["authorisation_granted"] * 3


def test_the_table_shows_what_is_in_force_just_there_and_leads_to_its_end(ada):
    grant(ada, "/authorisations?site=kettle-point", "nell count")
    there = ada.get("/authorisations?site=kettle-point").content.decode()
    row = Authorisation.objects.latest("pk")
    assert f'href="/authorisations/{row.pk}/end"' in there
    assert 'value="nell count"' not in there
    assert 'value="nell count"' in ada.get("/authorisations").content.decode()


def test_an_authorisation_is_ended_once_with_a_reason(ada):
    grant(ada, "/authorisations", "nell count")
    address = f"/authorisations/{Authorisation.objects.latest('pk').pk}/end"
    opened = hidden_in(ada.get(address).content.decode())
    assert ada.post(address, {**opened, "reason": "moved on"}).status_code == 302
    assert Authorisation.objects.latest("pk").end_reason == "moved on"
    assert ada.get(address).status_code == 302
    assert ada.post(address, {**opened, "reason": "again"}).status_code == 422


def test_nobody_is_offered_their_own_row(ada):
    assert f'value="{administrator().username} ' not in ada.get("/authorisations").content.decode()
    assert grant(ada, "/authorisations", f"{administrator().username} count").status_code == 422


def test_what_was_ticked_stays_when_it_is_refused(ada):
    answer = grant(ada, "/authorisations", "nell count", valid_until="2001-01-01T10:00")
    assert answer.status_code == 422
    assert 'value="nell count" checked' in answer.content.decode()
    assert not Authorisation.objects.filter(person__username="nell").exists()


def test_what_begins_later_is_granted_for_its_time_by_the_clocks_of_the_site(ada):
    register.add_site(code="aldermere", name="Aldermere", time_zone="America/New_York", **by_administrator())
    address = "/authorisations?site=aldermere"
    times = {"valid_from": "2199-03-01T20:00", "valid_until": "2199-04-01T20:00"}
    grant(ada, address, "nell count", **times)
    row = Authorisation.objects.latest("pk")
    assert (f"{row.valid_from:%F %R}", f"{row.valid_until:%F %R}") == ("2199-03-02 01:00", "2199-04-02 00:00")
    html = ada.get(address).content.decode()
    assert ": count, to come; end it" in html
    assert "1 Mar 2199" in html
    assert "1 Apr 2199" in html


def test_a_time_that_ends_before_it_begins_is_refused_in_sight(ada):
    typed = {"valid_from": "2199-03-01T20:00", "valid_until": "2199-02-01T20:00"}
    answer = grant(ada, "/authorisations", "nell count", **typed)
    assert answer.status_code == 422
    assert '<details class="fold" open>' in answer.content.decode()
    assert not Authorisation.objects.filter(person__username="nell").exists()


def test_what_somebody_may_do_elsewhere_is_said(ada):
    grant(ada, "/authorisations?site=kettle-point", "nell count")
    assert "elsewhere: count" in ada.get("/authorisations").content.decode()
    assert "elsewhere" not in ada.get("/authorisations?site=kettle-point").content.decode().partition("<table")[2]


def test_the_table_costs_the_same_for_many_people(ada, count_queries):
    few = count_queries(lambda: ada.get("/authorisations"))
    for n in range(5):
        authorise(make_person(f"more{n}"), Act.COUNT, site=make_site())
    assert count_queries(lambda: ada.get("/authorisations")) == few


def test_only_administrators_see_it():
    make_site()
    assert logged_in(make_person("nell")).get("/authorisations").status_code == 403
