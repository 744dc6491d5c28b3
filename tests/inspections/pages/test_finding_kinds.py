"""Kinds of findings and readiness rules: seen by everybody, written by administrators, told in the register."""

import json

import pytest

from inspections.domain.findings import ReelPart
from inspections.domain.practice import ReadinessRule
from inspections.domain.words import Act
from inspections.models import FindingKind, ReadinessAsked
from inspections.services import authorisations
from reels.models import HistoryEntry
from tests import builders
from tests.builders import by_administrator
from tests.page_fixtures import hidden_in, logged_in
from tests.well_formed import faults_of

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("no_query_in_a_template", "on_the_day")]
KIND = {"reel_type": "w28", "part": "end_fitting", "code": "crack", "words": "crack", "least_severity": "stop"}
RULE = {"site": "kettle-point", "act": "count", "in_a_row": "10", "within_days": "30", "least": "usual"}


@pytest.fixture
def ada():
    return logged_in(builders.administrator())


def send(client, address, typed):
    """The form of the page as it is shown, with what is typed; the tick boxes as they were sent."""
    html = client.get(address).content.decode()
    assert faults_of(html) == []
    return client.post(address, hidden_in(html) | typed)


def told():
    entry = HistoryEntry.objects.latest("pk")
    [change] = json.loads(bytes(entry.content))["changes"]
    return entry.act, change["before"], change["after"]


def test_a_kind_is_added_and_offered_where_reels_of_the_type_are_looked_over(ada):
    builders.make_type()
    answer = send(ada, "/findings/kinds/add", KIND)
    assert (answer.status_code, answer.headers["Location"]) == (302, "/findings/kinds")
    row = FindingKind.objects.get()
    assert (row.reel_type.code, row.part, row.least_severity) == ("w28", ReelPart.END_FITTING, "stop")
    assert told()[0] == "finding_kind_added"
    html = logged_in(builders.make_person("tess")).get("/findings/kinds").content.decode()
    assert "end fitting" in html
    assert "/change" not in html


def test_a_kind_is_changed_and_keeps_type_part_and_code(ada):
    kind = builders.make_finding_kind()
    typed = {"words": "kinked", "least_severity": "watch", "code": "other-code"}  # the tick is taken away
    assert send(ada, f"/findings/kinds/{kind.pk}/change", typed).status_code == 302
    kind.refresh_from_db()
    assert (kind.code, kind.words, kind.is_offered) == ("kink", "kinked", False)
    assert told() == (
        "finding_kind_changed",
        {"words": "kink", "is_offered": True},
        {"words": "kinked", "is_offered": False},
    )
    assert "no longer" in ada.get("/findings/kinds").content.decode()


@pytest.mark.parametrize(("typed", "words"), [({"code": "other"}, "other"), ({"part": ""}, "Choose the part.")])
def test_a_kind_that_cannot_be_is_refused_with_what_was_typed_kept(ada, typed, words):
    builders.make_type()
    answer = send(ada, "/findings/kinds/add", {**KIND, **typed})
    assert answer.status_code == 422
    html = answer.content.decode()
    assert words in html
    assert 'name="words" value="crack"' in html
    assert not FindingKind.objects.exists()


def test_the_same_kind_twice_is_refused(ada):
    builders.make_finding_kind("crack", ReelPart.END_FITTING)
    answer = send(ada, "/findings/kinds/add", KIND)
    assert answer.status_code == 422
    assert "There is already a" in answer.content.decode()


def test_a_readiness_rule_keeps_out_who_has_not_practised_until_it_is_lifted(ada):
    builders.make_site()
    tess = builders.make_person("tess")
    assert send(ada, "/practice/rules/add", RULE).status_code == 302
    assert told()[0] == "readiness_rule_added"
    granted = {"granted": [f"{tess.username} count"]}
    refused = send(ada, "/authorisations", granted)
    assert refused.status_code == 422
    assert "is not there yet" in refused.content.decode()
    row = ReadinessAsked.objects.get()
    lifted = {name: RULE[name] for name in ("in_a_row", "within_days", "least")}
    assert send(ada, f"/practice/rules/{row.pk}/change", lifted).status_code == 302
    row.refresh_from_db()
    assert (row.act, row.is_asked) == ("count", False)
    assert told() == ("readiness_rule_changed", {"is_asked": True}, {"is_asked": False})
    assert send(ada, "/authorisations", granted).status_code == 302


def test_a_rule_for_a_site_and_an_act_is_there_once(ada):
    authorisations.ask_readiness(site=builders.make_site(), act=Act.COUNT, rule=ReadinessRule(), **by_administrator())
    answer = send(ada, "/practice/rules/add", RULE)
    assert answer.status_code == 422
    assert "There is already a" in answer.content.decode()


@pytest.mark.parametrize("number", ["0", "-1", "x", ""])
def test_a_rule_asks_for_one_reel_and_one_day_at_least(ada, number):
    builders.make_site()
    assert send(ada, "/practice/rules/add", {**RULE, "in_a_row": number}).status_code == 422
    assert not ReadinessAsked.objects.exists()


def test_only_administrators_write_them():
    kind = builders.make_finding_kind()
    rule = authorisations.ask_readiness(
        site=builders.make_site(), act=Act.COUNT, rule=ReadinessRule(), **by_administrator()
    )
    tess = logged_in(builders.make_person("tess"))
    assert "10 in a row without a miss" in tess.get("/practice/rules").content.decode()
    for address in ("/findings/kinds/add", f"/findings/kinds/{kind.pk}/change", "/practice/rules/add",
                    f"/practice/rules/{rule.pk}/change"):  # fmt: skip
        assert tess.get(address).status_code == 403
