"""An empty service: each page that lists something says what belongs there, and who puts it there."""

import re

import pytest
from django.urls import get_resolver, reverse

from inspections.domain.words import Act
from tests import builders
from tests.deploy.test_urls import patterns
from tests.page_fixtures import logged_in
from tests.well_formed import faults_of
from tests.worker import work_off

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("no_query_in_a_template", "on_the_day")]

LISTS = {
    "home", "reels", "board", "people", "sites", "reel-types", "machines", "gauges", "publications", "findings",
    "drift", "recounts", "repeatability", "practice", "audit", "tasks", "tokens", "moves", "safety-notices",
    "documents-page", "checkpoints", "authorisations", "monthly", "finding-kinds", "mappings",
    "readiness-rules",
}  # fmt: skip
NO_LISTS = {
    # forms
    "login", "login-link", "change-password", "second-factor", "token-issue", "people-add", "notices",
    "second-administrator", "site-add", "publication-add", "witness-add", "type-add", "machine-add", "gauge-register",
    "reel-register", "import", "sheet", "safety-notice-issue", "check-document", "export", "evidence",
    "verification", "set-up-put-away", "set-up-take-back", "finding-kind-add",
    "readiness-rule-add", "receipt", "logout", "length-unit", "end-sessions",
    # of whom one instructs, which takes a site
    "practice-people",
    # always full, or no page
    "account", "set-up", "tour", "reference", "type-drum", "audit-csv", "monthly-csv", "monthly-document",
    "repeatability-csv", "repeatability-pairs", "repeatability-pdf", "recounts-csv", "documents", "labels",
    "drift-document",
}  # fmt: skip
EMPTY = re.compile(r'<div class="empty sheet"><p>(.+?)</p>(.*?)</div>', re.DOTALL)
# What belongs there, and by whom it comes.
SAYS = re.compile(r"^[A-Z].{10,}?\.( |$)")
ADDED_BY_ADMINISTRATORS = {"reel-types": "type-add", "machines": "machine-add", "gauges": "gauge-register",
                           "publications": "publication-add", "finding-kinds": "finding-kind-add",
                           "readiness-rules": "readiness-rule-add"}  # fmt: skip


def pages_without_arguments():
    return {each.name for path, each in patterns(get_resolver())
            if each.name and "<" not in path and not path.startswith(("admin/", "api/"))}  # fmt: skip


def page_of(person, name):
    client = logged_in(person)
    answer = client.get(reverse(name))
    if answer.status_code == 202:  # a worker makes it
        work_off()
        answer = client.get(reverse(name))
    assert answer.status_code == 200, name
    html = answer.content.decode()
    assert faults_of(html) == [], name
    return html


def test_every_page_is_known_as_a_list_or_as_none():
    assert pages_without_arguments() == LISTS | NO_LISTS


@pytest.mark.parametrize("name", sorted(LISTS - {"people", "practice"}))
def test_a_list_of_nothing_says_what_belongs_there(name):
    html = page_of(builders.administrator(), name)
    said = EMPTY.findall(html)
    assert said
    assert all(SAYS.match(words) for words, _ in said)
    assert "<tbody></tbody>" not in re.sub(r"\s", "", html)


@pytest.mark.parametrize("name", sorted(LISTS - {"people", "practice"}))
def test_what_fills_an_empty_list_is_offered_once(name):
    html = page_of(builders.administrator(), name)
    offered = [each for _, acts in EMPTY.findall(html) for each in re.findall(r'href="(.+?)"', acts)]
    content = re.sub(r'<nav class="crumbs".*?</nav>', "", html.partition("<main")[2], flags=re.DOTALL)  # the way back
    assert {each: content.count(f'href="{each}"') for each in offered} == dict.fromkeys(offered, 1)


def test_the_first_administrator_sees_their_own_login_and_that_nobody_was_locked():
    html = page_of(builders.administrator(), "people")
    assert "ada" in html
    assert "No login was locked." in html


@pytest.mark.parametrize(("name", "form"), ADDED_BY_ADMINISTRATORS.items())
def test_an_administrator_is_led_to_the_form_and_others_are_told_who_adds_it(name, form):
    added = f'href="{reverse(form)}"'
    [(_, acts)] = EMPTY.findall(page_of(builders.administrator(), name))
    assert added in acts
    html = page_of(builders.make_person("tess"), name)
    [(words, acts)] = EMPTY.findall(html)
    assert "administrator" in words
    assert acts == ""
    assert added not in html


def test_a_reel_is_registered_by_who_maintains_and_a_list_brought_in_by_an_administrator():
    maintains = builders.make_person("mona", Act.MAINTAIN)
    [(_, acts)] = EMPTY.findall(page_of(maintains, "reels"))
    assert f'href="{reverse("reel-register")}"' in acts
    [(_, acts)] = EMPTY.findall(page_of(builders.administrator(), "reels"))
    assert f'href="{reverse("sheet")}"' in acts
    [(words, acts)] = EMPTY.findall(page_of(builders.make_person("tess"), "reels"))
    assert "authorised to maintain" in words
    assert acts == ""


def test_practice_without_a_type_says_so():
    assert "there is none yet" in page_of(builders.make_person("tess"), "practice")


def test_filters_that_leave_nothing_can_be_cleared():
    html = logged_in(builders.administrator()).get("/moves?state=late").content.decode()
    assert [acts for _, acts in EMPTY.findall(html) if 'href="?"' in acts]
