import re
from collections import Counter

import pytest
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext, override_settings

from inspections.domain.words import ReelStatus
from inspections.pages.words import STATUS
from reels.models import Move, Reel, ReelType
from reels.services import register
from reels.services.history import Actor, record_act
from reports.pages.board import NEXT
from reports.services import assessments
from tests import builders
from tests.builders import NOW, Cast, later
from tests.page_fixtures import logged_in
from tests.pages_fleet import make_fleet
from tests.reports.fleet import bring_in_fleet
from tests.well_formed import faults_of

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("no_query_in_a_template", "on_the_day")]


def html_of(person, address="/board"):
    answer = logged_in(person).get(address)
    assert answer.status_code == 200
    assert faults_of(answer.content.decode()) == []
    return answer.content.decode()


def serials(person, address="/board"):
    stock = html_of(person, address).partition('aria-label="Reels on the board"')[2]
    return re.findall(r'<th scope="row"><a class="reach" href="/reels/([^"]+)">', stock)


def row_of(html, serial):
    [row] = [row for row in html.split("<tr>") if f'href="/reels/{serial}">{serial}</a></th>' in row]
    return row


def test_every_status_says_what_comes_next():
    assert set(NEXT) == set(ReelStatus)


def test_the_board_shows_each_reel_what_it_needs_and_since_when_the_most_urgent_first():
    fleet = make_fleet()
    html = html_of(fleet.cast.control)
    order = serials(fleet.cast.control)
    assert order[0] == "LW-0009"
    assert order[-1] == "LW-0010"
    held = row_of(html, "LW-0009")
    assert "End the hold or retire the reel" in held
    assert "A flange is bent." in held
    assert '<time datetime="2026-03-02">2 Mar 2026</time>' in held
    for serial, words in {
        "LW-0002": "Decide on the referred count", "LW-0004": "Sign the count", "LW-0003": "Finish the count",
        "LW-0005": "Issue setup values", "LW-0006": "Install the reel in RM-2",
        "LW-0007": "Set, read back and confirm the values",
        "LW-0008": "Remove the reel and count it", "LW-0012": "Count the reel", "LW-0001": "none",
    }.items():  # fmt: skip
        assert f">{words}<" in row_of(html, serial)


def test_the_next_thing_leads_to_where_it_is_done():
    fleet = make_fleet()
    html = html_of(fleet.cast.control)
    assert f'href="/inspections/{fleet.referred.pk}"' in row_of(html, "LW-0002")
    assert re.search(r'href="/setup-values/\d+"', row_of(html, "LW-0007"))


def test_numbers_by_site_and_status_lead_to_the_reels():
    fleet = make_fleet()
    html = html_of(fleet.cast.control)
    assert 'href="?status=held">1<' in html
    assert serials(fleet.cast.control, "/board?site=kettle-point&status=held") == ["LW-0009"]
    missing = {status for status, badge in STATUS.items() if f'<th scope="row">{badge.word}</th>' not in html}
    assert missing == {ReelStatus.IN_TRANSIT}  # in no site's stock


def test_the_sums_by_status_are_those_of_the_sites_with_a_bar_of_that_length_beside_them():
    fleet = make_fleet()
    sums = html_of(fleet.cast.control).partition('<table class="sums">')[2].partition("</table>")[0]
    shown = re.findall(r'href="\?status=([a-z_]+)">(\d+)<.*?<rect width="([\d.]+)"', sums)
    counted = Counter(Reel.objects.filter(site__code="kettle-point").values_list("status_row__status", flat=True))
    del counted[ReelStatus.IN_TRANSIT]
    assert {status: int(number) for status, number, _ in shown} == counted
    most = max(counted.values())
    assert [float(length) for *_, length in shown] == [round(100 * int(n) / most, 1) for _, n, _ in shown]


def test_what_is_in_transit_is_shown_to_both_sites_and_is_late_after_the_usual_days():
    fleet = make_fleet()
    for person in (fleet.cast.control, fleet.cast.stranger):
        html = html_of(person)
        assert "Late</span>" not in row_of(html, "LW-0014")
        assert "Aldermere" in row_of(html, "LW-0014")
    move = Move.objects.get()
    with transaction.atomic(), record_act(move.reel.chain, "x", Actor(fleet.cast.control), NOW) as act:
        act.change(move, late_at=NOW)
    assert "Late</span>" in row_of(html_of(fleet.cast.stranger), "LW-0014")


def test_search_finds_any_part_of_serial_machine_or_host():
    fleet = make_fleet()
    assert serials(fleet.cast.control, "/board?q=0011") == ["LW-0011"]
    assert serials(fleet.cast.control, "/board?q=rm-3") == ["LW-0007"]
    assert set(serials(fleet.cast.control, "/board?q=heron")) == {"LW-0001", "LW-0007", "LW-0008"}
    assert "No reel fits these filters." in html_of(fleet.cast.control, "/board?q=nowhere")


@override_settings(COUNT_DUE_DAYS=30)
def test_a_count_is_due_so_many_days_after_the_last_one():
    cast = Cast.as_needed()
    builders.make_reel("LW-0001")
    builders.make_reel("LW-0002")
    builders.make_reel("LW-0003")
    builders.signed_count(cast, "LW-0001", at=later(days=-30))
    builders.signed_count(cast, "LW-0002", at=later(days=-29))
    assert serials(cast.control, "/board?look=due") == ["LW-0003", "LW-0001"]  # the third was never counted
    assert "3 reels; 2 due for a count" in html_of(cast.control)


@override_settings(COUNT_DUE_DAYS=30)
@pytest.mark.parametrize(("days", "due"), [(10, ["LW-0001", "LW-0002"]), (29, ["LW-0001"]), (90, [])])
def test_a_type_that_says_after_how_many_days_a_count_lapses_has_its_counts_due_then(days, due):
    cast = Cast.as_needed()
    for serial, ago in (("LW-0001", 35), ("LW-0002", 20), ("LW-0003", 5)):
        builders.make_reel(serial)
        builders.signed_count(cast, serial, at=later(days=-ago))
    other = builders.make_reel("LW-0004", type=builders.make_type("w31"))
    builders.signed_count(cast, other.serial, at=later(days=-31))
    register.change(ReelType.objects.get(code="w28"), count_days=days, **builders.by_administrator())
    assert sorted(serials(cast.control, "/board?look=due")) == [*due, "LW-0004"]
    html = html_of(cast.control)
    assert f"4 reels; {len(due) + 1} due for a count" in html
    row = row_of(html, "LW-0001")
    assert ("Count lapsed</span>" in row) is ("Count the reel: its count has lapsed" in row) is bool(due)
    assert (f"count lapsed: it was counted more than {days} days ago" in row) is bool(due)


def test_a_count_of_older_records_is_a_count_too():
    cast = Cast.as_needed()
    bring_in_fleet()
    with override_settings(COUNT_DUE_DAYS=9999):
        assert serials(cast.control, "/board?look=due") == []
    assert serials(cast.control, "/board?look=due") == ["LW-0001", "LW-0002", "LW-0003"]
    assert "2 Nov 2024" in row_of(html_of(cast.control), "LW-0001")


def test_drift_that_is_flagged_or_looked_into_is_marked():
    cast = Cast.as_needed()
    bring_in_fleet()
    assert "Drift flagged</span>" not in html_of(cast.control)
    assessments.bring_up_to_date(at=NOW)
    assert serials(cast.control, "/board?look=flagged") == ["LW-0001"]
    assert "Drift flagged</span>" in row_of(html_of(cast.control), "LW-0001")


def test_a_colleague_sees_the_same_a_stranger_their_own_site_and_nobody_logs_in(client):
    fleet = make_fleet()
    assert serials(fleet.cast.colleague) == serials(fleet.cast.control)
    assert serials(fleet.cast.stranger) == ["AM-0001"]
    assert client.get("/board").url == "/login?next=/board"


def test_filters_that_make_no_sense_are_said_and_left_out():
    cast = Cast.as_needed()
    builders.make_reel()
    html = html_of(cast.control, "/board?status=purple&page=nine")
    assert "“purple” cannot be chosen here; choose one that is listed." in html
    assert ">LW-0001</a>" in html


def test_as_many_queries_for_many_reels_as_for_few_and_the_page_stays_light():
    cast = Cast.as_needed()
    client = logged_in(cast.control)
    numbers, sizes = [], []
    for first, last in ((1, 3), (3, 80)):
        for number in range(first, last):
            builders.make_reel(f"LW-{number:04}")
        client.get("/board")  # where the new ones stand is worked out once
        with CaptureQueriesContext(connection) as queries:
            sizes.append(len(client.get("/board").content))
        numbers.append(len(queries))
    assert numbers[0] == numbers[1] <= 12
    assert max(sizes) < 100_000
