"""The set-up list: what a new service needs, as long as it is not done or put away."""

import json
import re

import pytest
from django.utils import timezone

from inspections.domain.words import Act
from reels.models import HistoryEntry, SetUpList
from reels.services import people, register
from reels.services.history import Actor
from reports.pages.set_up import set_up_lines
from tests import builders, stories
from tests.builders import NOW, Cast, by_administrator
from tests.page_fixtures import hidden_in, logged_in
from tests.pages_fleet import make_fleet

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("no_query_in_a_template", "on_the_day")]
LINE = re.compile(r'<a class="(?:button|button plain|reach)" href="([^"]+)" aria-label="([^"]+), for ([^"]+)"')
TITLE = "Set up the service"


def lines(person):
    """Of each line, whether it is done, its number, and where its button leads."""
    return {each.title: (each.is_done, each.number, each.address) for each in set_up_lines(person, timezone.now())}


def send(person, address):
    """The form of the page, as it is shown."""
    client = logged_in(person)
    answer = client.post(address, hidden_in(client.get(address).content.decode()))
    assert (answer.status_code, answer.headers.get("Location")) == (302, "/")


def home(person):
    return logged_in(person).get("/").content.decode()


def test_an_empty_service_needs_everything_and_each_line_leads_where_it_is_done():
    ada = builders.administrator()
    assert lines(ada) == {
        "Two administrators": (False, "1 administrator", "/second-administrator?from=home"),
        "Sites": (False, "0 sites", "/sites/add?from=home"),
        "Reel types": (False, "0 types", "/types/add?from=home"),
        "Publications": (False, "0 in force", "/publications/add?from=home"),
        "Rules of the types": (False, "0 of 0 confirmed", "/types"),
        "Reeling machines": (False, "0 machines", "/machines/add?from=home"),
        "Wrap gauges": (False, "0 gauges", "/gauges?from=home"),
        "People": (False, "1 login, 0 enrolled and posted", "/people/add?from=home"),
        "Authorisations": (False, "0 may count, 0 may verify", "/authorisations?from=home"),
        "Reels": (False, "0 reels", "/imports/sheet?from=home"),
        "Older records": (False, "none brought in", "/imports/sheet?from=home"),
    }
    html = home(ada)
    assert TITLE in html
    assert "Done:" not in html
    assert len(LINE.findall(html)) == 11
    assert re.findall(r'<a class="button" href="([^"]+)"', html) == [
        "/second-administrator?from=home"
    ]  # the next one alone
    for address, _, _ in LINE.findall(html):
        assert logged_in(ada).get(address).status_code == 200, address


def test_a_form_leads_back_to_the_list_for_who_came_from_there():
    client = logged_in(builders.administrator())
    html = client.get("/sites/add?from=home").content.decode()
    assert '<a class="button plain" href="/">Back</a>' in html
    typed = {"code": "stane", "name": "Stane Field", "time_zone": "UTC", "transit_days": "7"}
    assert client.post("/sites/add?from=home", typed | hidden_in(html)).headers["Location"] == "/"
    other = {**typed, "code": "other"}
    assert client.post("/sites/add", other).headers["Location"] == "/sites"


def test_only_administrators_see_it():
    tess = builders.make_person("tess")
    assert TITLE not in home(tess)
    for address in ("/set-up", "/set-up/put-away", "/set-up/take-back"):
        assert logged_in(tess).get(address).status_code == 403


def test_the_rules_lead_to_the_next_step_of_whoever_looks():
    ada, bea = builders.administrator(), builders.second_administrator()
    row = builders.make_type(is_confirmed=False)
    assert lines(ada)["Rules of the types"][2] == "/types"  # no publication yet
    builders.make_publication()
    assert lines(ada)["Rules of the types"] == (False, "0 of 1 confirmed", "/types/w28/sources?from=home")
    row = builders.source_rules(row)
    assert lines(ada)["Rules of the types"][2] == "/types/w28"
    assert lines(bea)["Rules of the types"][2] == "/types/w28/confirmation?from=home"
    register.confirm_rules(row, actor=Actor(bea), at=NOW)
    assert lines(ada)["Rules of the types"] == (True, "1 of 1 confirmed", "/types")


def test_a_second_administrator_who_was_made_is_not_made_again():
    ada = builders.administrator()
    bea = builders.second_administrator()
    assert lines(ada)["Two administrators"] == (True, "2 administrators", "/people")
    people.change_person(bea, is_active=False, **by_administrator())
    assert lines(ada)["Two administrators"][:2] == (False, "1 administrator")


def test_one_person_alone_is_not_authorised_enough():
    ada = builders.administrator()
    builders.make_person("tess", Act.COUNT, Act.VERIFY)
    assert lines(ada)["Authorisations"][:2] == (False, "1 may count, 1 may verify")
    builders.make_person("vera", Act.VERIFY)
    assert lines(ada)["Authorisations"][:2] == (True, "1 may count, 2 may verify")


def test_it_is_gone_when_all_is_done():
    make_fleet()
    bea = builders.second_administrator()
    assert [title for title, (is_done, _, _) in lines(bea).items() if not is_done] == ["Older records"]
    assert "Done: 10 of 11" in home(bea)
    stories.import_count(builders.make_reel("LW-0040"))
    assert TITLE not in home(bea)
    assert "Done: 11 of 11" in logged_in(bea).get("/set-up").content.decode()


def test_put_away_it_is_gone_for_every_administrator_and_comes_back_when_it_is_taken_back():
    ada, bea = builders.administrator(), builders.second_administrator()
    send(ada, "/set-up/put-away")
    assert TITLE not in home(ada)
    assert TITLE not in home(bea)
    row, entry = SetUpList.objects.get(), HistoryEntry.objects.latest("pk")
    assert (row.put_away_by, row.put_away_at, entry.act) == (ada, NOW, "set_up_list_put_away")
    assert 'href="/set-up/take-back"' in logged_in(bea).get("/set-up").content.decode()
    send(bea, "/set-up/take-back")
    assert TITLE in home(ada)
    row.refresh_from_db()
    assert (row.put_away_by, row.put_away_at) == (None, None)
    told = HistoryEntry.objects.latest("pk")
    assert told.act == "set_up_list_taken_back"
    assert json.loads(bytes(told.content))["changes"][0]["after"] == {"put_away_at": None, "put_away_by_id": None}


def test_what_is_as_it_shall_be_is_told_once():
    ada = builders.administrator()
    for _ in range(2):
        register.put_set_up_list_away(is_away=True, actor=Actor(ada), at=NOW)
    assert HistoryEntry.objects.filter(act="set_up_list_put_away").count() == 1


def test_it_takes_as_many_queries_for_a_fleet_as_for_nothing(count_queries):
    ada = builders.administrator()
    Cast()
    few = count_queries(lambda: set_up_lines(ada, timezone.now()))
    make_fleet()
    for number in range(8):
        builders.make_person(f"p{number}", Act.COUNT, Act.VERIFY)
    assert count_queries(lambda: set_up_lines(ada, timezone.now())) == few
    assert few <= 15
