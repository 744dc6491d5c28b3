"""The framework's administration: administrators look at reference data, and nobody writes anything there."""

from typing import Any

import pytest
from django.contrib import admin
from django.contrib.admin.models import LogEntry
from django.test import RequestFactory

from inspections.domain.practice import ReadinessRule
from inspections.domain.words import Act
from inspections.models import Authorisation, FindingKind, Keying, ReadinessAsked
from inspections.services import authorisations
from reels.models import HistoryEntry, Machine, Person, Posting, Publication, ReelType, Site, WrapGauge
from tests import builders
from tests.builders import by_administrator
from tests.page_fixtures import logged_in

pytestmark = pytest.mark.django_db

MODELS: set[Any] = {
    Site,
    ReelType,
    Machine,
    Person,
    Posting,
    Authorisation,
    FindingKind,
    ReadinessAsked,
    Publication,
    WrapGauge,
}


@pytest.fixture
def ada():
    """An administrator to whom the framework itself would let everything."""
    ada = builders.administrator()
    assert ada.is_superuser
    return logged_in(ada)


@pytest.fixture
def one_of_each(db):
    builders.make_gauge()
    builders.make_person("tess", Act.COUNT)
    builders.make_finding_kind()
    authorisations.ask_readiness(site=builders.make_site(), act=Act.VERIFY, rule=ReadinessRule(), **by_administrator())


def address(model, rest=""):
    return f"/admin/{model._meta.label_lower.replace('.', '/')}/{rest}"


def test_only_reference_data_is_there():
    assert set(admin.site._registry) == MODELS
    assert not {Keying, HistoryEntry} & set(admin.site._registry)


def test_an_administrator_sees_every_list_and_row(ada, one_of_each):
    for model in MODELS:
        row = model.objects.latest("pk")
        assert ada.get(address(model)).status_code == 200, model
        html = ada.get(address(model, f"{row.pk}/change/")).content.decode()
        assert 'name="_save"' not in html, model
        assert "<h2>" in html or "<h1>" in html


def test_nothing_is_added_changed_or_deleted(ada, one_of_each):
    before = HistoryEntry.objects.count()
    for model in MODELS:
        row = model.objects.latest("pk")
        columns = model.objects.filter(pk=row.pk).values().get()
        for way in (ada.get, ada.post):
            assert way(address(model, "add/")).status_code == 403, model
            assert way(address(model, f"{row.pk}/delete/")).status_code == 403, model
        typed = dict.fromkeys(columns, "x")
        assert ada.post(address(model, f"{row.pk}/change/"), typed).status_code == 403, model
        action = {"action": "delete_selected", "_selected_action": [row.pk], "post": "yes"}
        ada.post(address(model), action)
        assert model.objects.filter(pk=row.pk).values().get() == columns, model
    assert (HistoryEntry.objects.count(), LogEntry.objects.count()) == (before, 0)


def test_no_model_gives_a_right_to_write_whoever_asks():
    request = RequestFactory().get("/admin/")
    request.user = builders.administrator()
    for model, shown in admin.site._registry.items():
        rights = {name for name, has in shown.get_model_perms(request).items() if has}
        assert rights == {"view"}, model
        assert shown.get_actions(request) == {}, model


def test_others_are_kept_out(client):
    tess = logged_in(builders.make_person("tess"))
    assert tess.get("/admin/").headers["Location"] == "/admin/login/?next=/admin/"
    assert client.get("/admin/reels/site/").status_code == 302


def test_no_password_is_set_past_the_services(ada):
    assert ada.get("/admin/password_change/").status_code == 404
    person = builders.make_person("tess")
    assert ada.get(f"/admin/reels/person/{person.pk}/password/").status_code in {302, 404}
