"""The admin: administrators change reference data through the services, and nothing is ever deleted."""

import json

import pytest
from django.contrib import admin
from django.contrib.admin.models import LogEntry

from inspections.models import Authorisation, FindingKind, Keying, ReadinessAsked
from reels.models import HistoryEntry, Machine, Person, Posting, Publication, ReelType, Site, WrapGauge
from tests import builders
from tests.builders import PASSWORD
from tests.page_fixtures import logged_in

pytestmark = pytest.mark.django_db

LOOKED_AT = {Publication, WrapGauge}  # which have pages of their own
MODELS = {Site, ReelType, Machine, Person, Posting, Authorisation, FindingKind, ReadinessAsked} | LOOKED_AT
DAY = {"valid_from_0": "2026-03-02", "valid_from_1": "09:00:00", "valid_until_0": "", "valid_until_1": ""}


@pytest.fixture
def ada():
    return logged_in(builders.administrator())


def last_entry():
    entry = HistoryEntry.objects.filter(chain__name="register").latest("seq")
    return entry, json.loads(bytes(entry.content))


def errors(answer):
    assert answer.status_code == 200, "refused: the form is shown again"
    return answer.context["adminform"].form.errors


def test_only_reference_data_is_there():
    assert set(admin.site._registry) == MODELS
    assert not {Keying, HistoryEntry} & set(admin.site._registry)


def test_an_administrator_sees_every_list_and_form(ada):
    rows = [builders.make_machine(), builders.make_type(), Posting.objects.first() or builders.make_person("tess")]
    assert rows
    for model in MODELS:
        name = model._meta.label_lower.replace(".", "/")
        assert ada.get(f"/admin/{name}/").status_code == 200
        assert ada.get(f"/admin/{name}/add/").status_code == (403 if model in LOOKED_AT else 200)


def test_others_are_kept_out(client):
    tess = logged_in(builders.make_person("tess"))
    assert tess.get("/admin/").headers["Location"] == "/admin/login/?next=/admin/"
    assert tess.post("/admin/reels/site/add/", {"code": "x"}).status_code == 302
    assert client.get("/admin/reels/site/").status_code == 302
    assert not Site.objects.filter(code="x").exists()


def test_an_added_site_is_told_in_the_register(ada):
    answer = ada.post(
        "/admin/reels/site/add/",
        {"code": "stane", "name": "Stane Field", "time_zone": "Europe/London", "transit_days": 3},
    )
    assert answer.status_code == 302
    site = Site.objects.get(code="stane")
    entry, said = last_entry()
    assert (entry.act, said["actor"]["username"], said["actor"]["via"]) == ("site_added", "ada", "session")
    assert said["changes"][0]["id"] == site.pk
    assert LogEntry.objects.count() == 0


def test_a_changed_machine_is_told_with_what_it_was(ada):
    machine = builders.make_machine()
    answer = ada.post(
        f"/admin/reels/machine/{machine.pk}/change/",
        {"serial": "RM-7", "host": "Heron 4", "site": machine.site_id, "types": ["w28"]},
    )
    assert answer.status_code == 302
    machine.refresh_from_db()
    assert machine.host == "Heron 4"
    entry, said = last_entry()
    assert (entry.act, said["changes"][0]["before"], said["changes"][0]["after"]) == (
        "reeling_machine_changed" if "reeling" in entry.act else "machine_changed",
        {"host": "Heron 3"},
        {"host": "Heron 4"},
    )


def test_saving_without_a_change_tells_nothing(ada):
    machine = builders.make_machine()
    before = last_entry()[0].pk
    ada.post(
        f"/admin/reels/machine/{machine.pk}/change/",
        {"serial": "RM-7", "host": "Heron 3", "site": machine.site_id, "types": ["w28"]},
    )
    assert last_entry()[0].pk == before


@pytest.mark.parametrize("zone", ["Atlantis/Capital", ""])
def test_a_site_has_a_time_zone_that_there_is(ada, zone):
    answer = ada.post(
        "/admin/reels/site/add/", {"code": "stane", "name": "Stane Field", "time_zone": zone, "transit_days": 3}
    )
    assert "time_zone" in errors(answer)


def test_a_new_person_can_log_in_with_the_password_that_was_given(ada, client):
    ada.post(
        "/admin/reels/person/add/",
        {"username": "tess", "full_name": "Tess Hollin", "staff_number": "S-7", "is_active": "on",
         "new_password": PASSWORD},
    )  # fmt: skip
    assert client.login(username="tess", password=PASSWORD)
    entry, said = last_entry()
    assert entry.act == "person_added"
    assert "password" not in said["changes"][0]["after"]


def test_a_weak_password_is_refused_with_what_was_typed_kept(ada):
    answer = ada.post(
        "/admin/reels/person/add/",
        {"username": "tess", "full_name": "Tess Hollin", "staff_number": "S-7", "is_active": "on",
         "new_password": "short"},
    )  # fmt: skip
    assert "too short" in str(errors(answer)["__all__"])
    assert 'value="Tess Hollin"' in answer.content.decode()
    assert not Person.objects.filter(username="tess").exists()


def test_a_person_gets_a_new_password_and_keeps_the_user_name(ada, client):
    tess = builders.make_person("tess")
    ada.post(
        f"/admin/reels/person/{tess.pk}/change/",
        {"username": "other", "full_name": "Tess Hollin", "staff_number": tess.staff_number, "is_active": "on",
         "new_password": "another-long-word"},
    )  # fmt: skip
    assert client.login(username="tess", password="another-long-word")
    entry, said = last_entry()
    assert entry.act == "person_changed"
    assert said["changes"][0]["after"] == {"full_name": "Tess Hollin"}


def test_a_person_is_deactivated_and_not_deleted(ada):
    tess = builders.make_person("tess")
    ada.post(f"/admin/reels/person/{tess.pk}/change/", {"full_name": tess.full_name, "staff_number": tess.staff_number})
    tess.refresh_from_db()
    assert not tess.is_active
    assert tess.check_password(PASSWORD)


def test_a_posting_is_made_and_ended(ada):
    tess = builders.make_person("tess")
    ada.post("/admin/reels/posting/add/", {"person": tess.pk, "site": "", **DAY})
    posting = Posting.objects.get(person=tess, site=None)
    assert last_entry()[0].act == "person_posted"
    ends = {**DAY, "valid_until_0": "2026-04-02", "valid_until_1": "09:00:00"}
    ada.post(f"/admin/reels/posting/{posting.pk}/change/", {"person": tess.pk, "site": "", **ends})
    posting.refresh_from_db()
    assert posting.valid_until is not None
    assert last_entry()[0].act == "posting_changed"


def grant(ada, person, act="count"):
    given = {"person": person.pk, "act": act, "reel_type": "", "site": "", **DAY}
    return ada.post("/admin/inspections/authorisation/add/", given)


def test_an_authorisation_is_granted_and_ended_with_a_reason(ada):
    tess = builders.make_person("tess")
    assert grant(ada, tess).status_code == 302
    authorisation = Authorisation.objects.get(person=tess)
    assert (authorisation.act, authorisation.granted_by.username) == ("count", "ada")
    address = f"/admin/inspections/authorisation/{authorisation.pk}/change/"
    assert "end_reason" in errors(ada.post(address, {"end_reason": ""}))
    assert ada.post(address, {"end_reason": "Left the shop.", "act": "verify"}).status_code == 302
    authorisation.refresh_from_db()
    assert (authorisation.act, authorisation.end_reason) == ("count", "Left the shop.")
    assert authorisation.ended_at is not None
    assert ada.post(address, {"end_reason": "Once more."}).status_code == 403


def test_nobody_authorises_themselves(ada):
    assert "__all__" in errors(grant(ada, builders.administrator()))
    assert not Authorisation.objects.exists()


def test_a_readiness_rule_is_set_keeps_people_out_and_is_lifted(ada):
    site, tess = builders.make_site(), builders.make_person("tess")
    rule = {"site": site.pk, "act": "count", "in_a_row": "10", "within_days": "30", "least": "usual"}
    assert "__all__" in errors(ada.post("/admin/inspections/readinessasked/add/", {**rule, "in_a_row": "0"}))
    assert ada.post("/admin/inspections/readinessasked/add/", rule).status_code == 302
    assert last_entry()[0].act == "readiness_rule_added"
    assert "is not there yet" in str(errors(grant(ada, tess)))
    address = f"/admin/inspections/readinessasked/{ReadinessAsked.objects.get().pk}/change/"
    assert ada.post(address, {**rule, "act": "verify"}).status_code == 302  # the tick taken from "asked for"
    assert ReadinessAsked.objects.values_list("act", "is_asked").get() == ("count", False)
    assert grant(ada, tess).status_code == 302


@pytest.mark.parametrize("what", ["delete/", "history/"])
def test_nothing_is_deleted(ada, what):
    site = builders.make_site()
    answer = ada.post(f"/admin/reels/site/{site.pk}/{what}", {"post": "yes"})
    assert answer.status_code == (403 if what == "delete/" else 200)
    answer = ada.post("/admin/reels/site/", {"action": "delete_selected", "_selected_action": [site.pk], "post": "yes"})
    assert Site.objects.filter(pk=site.pk).exists()


def test_no_password_is_set_past_the_services(ada):
    assert ada.get("/admin/password_change/").status_code == 404
    person = builders.make_person("tess")
    assert ada.get(f"/admin/reels/person/{person.pk}/password/").status_code in {302, 404}
