import re

import pytest

from inspections.domain.words import ReelStatus
from inspections.models import ReelStatusRow
from inspections.pages.words import STATUS
from inspections.queries import search
from inspections.services import maintenance
from reels.queries import written_place
from reels.services.history import Actor
from tests import builders
from tests.builders import Cast
from tests.page_fixtures import logged_in
from tests.pages_fleet import make_fleet
from tests.well_formed import faults_of

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("no_query_in_a_template", "on_the_day")]


def html_of(person, address="/reels"):
    answer = logged_in(person).get(address)
    assert answer.status_code == 200
    assert faults_of(answer.content.decode()) == []
    return answer.content.decode()


def serials(person, address="/reels"):
    html = html_of(person, address)
    return [serial for serial in (f"LW-{n:04}" for n in range(1, 14)) if f">{serial}</a>" in html]


def test_every_status_has_a_word_and_a_shape_of_its_own():
    assert set(STATUS) == set(ReelStatus)
    assert len({badge.icon for badge in STATUS.values()}) == len({b.word for b in STATUS.values()}) == len(STATUS)


def test_the_list_shows_the_fleet_with_every_status_in_words():
    fleet = make_fleet()
    html = html_of(fleet.cast.control)
    assert {badge.word for badge in STATUS.values() if f">{badge.word}</span>" not in html} - {
        STATUS[ReelStatus.AWAITING_COUNT].word
    } == set()
    assert "12 layers, 10 wraps, even" in html
    assert "RM-7 in Heron 3" in html
    assert "13 reels found." in html


def test_a_colleague_sees_the_same_and_a_stranger_only_the_reels_of_their_own_site():
    fleet = make_fleet()
    assert serials(fleet.cast.colleague) == serials(fleet.cast.control) == [f"LW-{n:04}" for n in range(1, 14)]
    html = html_of(fleet.cast.stranger)
    assert "AM-0001" in html
    assert "LW-0001" not in html


def test_nobody_is_sent_to_log_in(client):
    assert client.get("/reels").url == "/login?next=/reels"
    assert client.get("/").url == "/login?next=/"


def test_filters_stand_in_the_address():
    fleet = make_fleet()
    expected = {
        "status=held": ["LW-0009"],
        "status=referred&site=kettle-point": ["LW-0002"],
        "type=w28&q=0005": ["LW-0005"],
        "q=lw-0007": ["LW-0007"],
        "q=RM-7": ["LW-0001"],
        "q=heron": ["LW-0001", "LW-0007", "LW-0008"],
        "q=nowhere": [],
    }
    assert {asked: serials(fleet.cast.control, f"/reels?{asked}") for asked in expected} == expected


def test_a_reel_is_found_by_the_machine_it_is_in_and_not_by_one_it_was_in():
    cast = Cast.as_needed()
    builders.make_reel()
    builders.make_machine("RM-7")
    builders.make_machine("RM-8")
    for machine in ("RM-7", "RM-8"):
        maintenance.install(serial="LW-0001", machine_serial=machine, actor=Actor(cast.control), at=builders.NOW)
        if machine == "RM-7":
            maintenance.remove(serial="LW-0001", reason="to be counted", actor=Actor(cast.control), at=builders.NOW)
    assert serials(cast.control, "/reels?q=RM-7") == []
    assert html_of(cast.control, "/reels?q=0001").count(">LW-0001</a>") == 1


def test_a_filter_that_makes_no_sense_is_named_and_left_out():
    fleet = make_fleet()
    html = html_of(fleet.cast.control, "/reels?status=lost&q=0005")
    assert "“lost” cannot be chosen here; choose one that is listed." in html
    assert "1 reel found with these filters." in html


def test_the_numbers_by_status_follow_the_other_filters():
    fleet = make_fleet()
    html = html_of(fleet.cast.control, "/reels?q=0005&status=counted")
    assert 'href="?q=0005" aria-current="true"' in html
    assert html.count('class="number"') == 1


def rows_on(html):
    return re.findall(r'<th scope="row"><a class="reach" href="/reels/([^"]+)">', html)


def test_pages_follow_one_another_there_and_back_and_keep_the_filters():
    cast = Cast.as_needed()
    serials_made = [f"LW-{number:04}" for number in range(120)]
    for serial in serials_made:
        builders.make_reel(serial)
    html = html_of(cast.control, "/reels?q=LW")
    assert "120 reels found with these filters, 50 of them shown here." in html
    assert 'rel="prev"' not in html
    seen, way = [rows_on(html)], []
    for rel in ("next", "next", "prev", "prev"):
        [address] = re.findall(rf'rel="{rel}" href="\?q=LW&amp;([^"]+)"', html)
        html = html_of(cast.control, f"/reels?q=LW&{address}")
        seen.append(rows_on(html))
        way.append(address.split("=")[0])
    first, second, third = serials_made[:50], serials_made[50:100], serials_made[100:]
    assert seen == [first, second, third, second, first]
    assert way == ["after", "after", "before", "before"]
    assert 'rel="prev"' not in html


def test_a_page_that_is_not_there_is_the_first():
    cast = Cast.as_needed()
    builders.make_reel("LW-0001")
    beyond_all = written_place(ReelStatusRow(serial="ZZ-9999"), ("serial",))
    for asked in (
        "after=nonsense",
        "before=nonsense",
        "page=99",
        "after=WzFd",
        f"after={beyond_all}",
        "before=WyIwIl0",
    ):
        assert rows_on(html_of(cast.control, f"/reels?{asked}")) == ["LW-0001"]


def test_the_list_costs_the_same_for_one_reel_as_for_thirty(count_queries):
    cast = Cast.as_needed()
    client = logged_in(cast.control)
    builders.make_reel()
    one = count_queries(lambda: client.get("/reels"))
    for number in range(2, 31):
        builders.make_reel(f"LW-{number:04}")
    builders.signed_count(cast)
    many = count_queries(lambda: client.get("/reels"))
    # session, user, postings (3), sites, types, numbers by status, those in transit, page of rows, third readings (2),
    # authorisation to register
    assert one == many == 13


def test_a_serial_number_with_a_stroke_has_a_page():
    cast = Cast.as_needed()
    builders.make_reel("12/34")
    assert 'href="/reels/12/34"' in html_of(cast.control)
    assert "<title>12/34, reel · Wrapledger</title>" in html_of(cast.control, "/reels/12/34")


def test_what_is_typed_is_shown_as_text():
    cast = Cast.as_needed()
    html = html_of(cast.control, "/reels?q=%3Cscript%3Ealert(1)%3C/script%3E")
    assert "<script>" not in html  # the page's own has an address
    assert "&lt;script&gt;" in html


def test_what_more_reels_have_in_common_than_are_counted_is_listed_without_numbers(monkeypatch):
    monkeypatch.setattr(search, "FEW", 2)
    cast = Cast.as_needed()
    for number in range(1, 4):
        builders.make_reel(f"LW-{number:04}")
    assert serials(cast.control, "/reels?q=lw-") == ["LW-0001", "LW-0002", "LW-0003"]
    html = html_of(cast.control, "/reels?q=lw-")
    assert "More reels found than are counted with these filters." in html
    assert '<span class="number">' not in html
    assert "1 reel found with these filters." in html_of(cast.control, "/reels?q=0002")
    assert "More reels than are counted with these filters." in html_of(cast.control, "/board?q=lw-")


def test_reels_on_their_way_are_found_by_their_type():
    fleet = make_fleet()
    sent = "/reels?status=in_transit&type="
    assert ">LW-0014</a>" in html_of(fleet.cast.control, sent + builders.make_type().code)
    builders.make_reel("LW-0040", type=builders.make_type("w40"))
    assert ">LW-0014</a>" not in html_of(fleet.cast.control, sent + "w40")
