import re
from dataclasses import asdict
from datetime import timedelta
from html import unescape

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inspections.domain.drift import DEFAULT_PARAMETERS
from inspections.models import DriftFlag, LearnedRates
from reels.access import readable_reels
from reels.domain.words import LengthUnit
from reels.services import register
from reels.services.history import Actor
from reports.models import AssessedInterval
from reports.pages import drift
from tests import builders
from tests.builders import NOW, Cast
from tests.page_fixtures import logged_in
from tests.reports.fleet import assessed_fleet
from tests.well_formed import faults_of
from tests.worker import when_there

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("no_query_in_a_template", "on_the_day")]


@pytest.fixture
def cast():
    cast = Cast()
    assessed_fleet("LW-0002,2024-07-10T09:00:00Z,cut,1.5,,\n")
    return cast


def html_of(person, address="/drift"):
    answer = when_there(lambda: logged_in(person).get(address))
    assert answer.status_code == 200
    assert faults_of(answer.content.decode()) == []
    return answer.content.decode()


def send(person, address, **typed):
    [seen] = re.findall(r'name="seen" value="(\d+)"', html_of(person, address))
    return logged_in(person).post(address, {"seen": seen, **typed})


def first_to_assign(person):
    return re.findall(r'href="(/reels/[^"]+/drift/flag\?[^"]+)"', html_of(person))[0].replace("&amp;", "&")


def test_the_ranking_shows_what_is_flagged_first_with_its_explanation(cast):
    html = html_of(cast.control)
    assert "Flagged</span>" in html
    assert html.count('href="/reels/LW-0001/drift">') == 1
    assert 'href="/reels/LW-0002/drift">' not in html
    assert "over 99\u00a0%" in html
    assert "33 intervals with these filters" in html_of(cast.control, "/drift?show=all")


def test_each_interval_has_a_small_figure_in_words_for_as_many_queries_however_many_there_are(cast):
    client = logged_in(cast.control)
    numbers = []
    for show in ("", "all"):
        html = html_of(cast.control, f"/drift?show={show}")
        titles = re.findall(r"<title id=\"course-\d+-title\">(LW-\d+), counts around [^<]+</title>", html)
        assert titles == re.findall(r'href="/reels/([^"]+)/drift">', html)
        with CaptureQueriesContext(connection) as queries:
            client.get(f"/drift?show={show}")
        numbers.append((len(titles), len(queries)))
    (few, least), (many, most) = numbers
    assert (few < many, least) == (True, most)
    assert "A loss, if there was one: " in html


def test_a_fleet_as_of_a_day_has_the_same_figures(cast):
    html = html_of(cast.control, "/drift?show=all&as_of=2025-06-01")
    assert html.count("counts around") == html.count('/drift">') > 0


def test_what_all_counts_show_together_is_told_once_and_of_people_only_at_sites_that_one_sees(cast):
    assert "What all counts show together" not in html_of(cast.control)
    values = asdict(DEFAULT_PARAMETERS) | {
        "rule_changed_at": "2024-09-01T00:00:00+00:00", "rule_changed_wraps": -1,
        "habits": ("ab", "cd"), "habit_sites": ("kettle-point", "elsewhere"), "habit_wraps": (1.0, 1.0),
        "habit_sd_wraps": (0.1, 0.1),
    }  # fmt: skip
    LearnedRates.objects.create(values=values, learned_at=NOW, rows_known=60)
    html = html_of(cast.control)
    assert "From 2024-09-01 on, counts of the whole fleet are one wrap lower than before" in html
    assert "Counts by one of the people at Kettle Point lie about one wrap above" in html
    assert "elsewhere" not in html


def test_nobody_is_offered_to_assign_who_may_not(cast):
    assert first_to_assign(cast.control)
    assert "/drift/flag?" not in html_of(cast.colleague)


def test_filters_stand_in_the_address_and_so_does_the_export(cast):
    html = html_of(cast.control, "/drift?site=kettle-point&show=all&page=1")
    assert 'href="/api/v1/reports/drift?site=kettle-point&amp;format=csv"' in html


def test_the_report_as_of_a_day_shows_what_was_known_then(cast):
    html = html_of(cast.control, "/drift?as_of=2024-06-30&show=all")
    assert "6 intervals with these filters, as of 30 Jun 2024" in html


def test_a_fleet_too_large_for_a_page_as_of_a_day_is_for_the_command(cast, monkeypatch):
    monkeypatch.setattr("reports.services.assessments.ROWS_FOR_A_REQUEST", 10)
    assert "drift_report --as-of" in html_of(cast.control, "/drift?as_of=2024-06-30")


def test_a_reels_evidence_is_a_sentence_a_figure_and_the_same_as_a_table(cast):
    html = html_of(cast.colleague, "/reels/LW-0001/drift")
    assert "an unlogged loss is probable" in html
    assert html.count('<circle class="look-part-wrap"') + html.count('<circle class="look-taken-off"') == 2 * (
        12 + 2
    )  # wide and narrow
    assert "loss flagged</text>" in html
    assert html.count('data-label="Length inferred"') == 12
    assert html.count('data-label="When counted"') == 11


def test_a_reel_without_a_loss_says_so(cast):
    html = html_of(cast.colleague, "/reels/LW-0003/drift")
    assert "Between 12 counts nothing is flagged" in html


def test_a_reel_without_counts_has_a_page_too(cast):
    builders.make_reel("LW-0009")
    assert "There is no count on record yet." in html_of(cast.colleague, "/reels/LW-0009/drift")


def test_a_reels_evidence_as_of_a_day_is_what_was_recorded_by_then():
    cast = Cast()
    assessed_fleet("LW-0001,2024-08-15T09:00:00Z,cut,9.8,2024-11-10T09:00:00Z,\n")
    before, today = (html_of(cast.colleague, f"/reels/LW-0001/drift{asked}") for asked in ("?as_of=2024-08-31", ""))
    assert "As of the end of 31 Aug 2024: only what was recorded by then." in before
    assert (before.count('data-label="Length inferred"'), today.count('data-label="Length inferred"')) == (7, 12)
    assert ("No cut is logged." in before, "No cut is logged." in today) == (True, False)
    assert "nothing is flagged" in before


def test_a_flag_shows_as_it_stood_on_the_day_that_is_asked_for(cast):
    flag = send(cast.control, first_to_assign(cast.control), assigned_to="noel").url
    send(cast.control, f"{flag}/ending", ending="confirmed_loss", reason="It was cut.")
    assert "It was cut." in html_of(cast.control, "/reels/LW-0001/drift")
    assert "/drift/flags/" not in html_of(
        cast.control, f"/reels/LW-0001/drift?as_of={NOW - timedelta(days=1):%Y-%m-%d}"
    )


def test_nobody_is_asked_to_look_into_the_past(cast):
    assert "Assign<" in html_of(cast.control, "/reels/LW-0001/drift")
    assert "Assign<" not in html_of(cast.control, f"/reels/LW-0001/drift?as_of={NOW:%Y-%m-%d}")


def test_a_day_that_is_none_is_said_and_today_is_shown(cast):
    html = html_of(cast.colleague, "/reels/LW-0001/drift?as_of=soon")
    assert "a day is needed, such as 2026-03-02." in html
    assert html.count('data-label="Length inferred"') == 12


def test_a_fleet_too_large_for_a_page_says_so_of_a_reel_too(cast, monkeypatch):
    monkeypatch.setattr("reports.services.assessments.ROWS_FOR_A_REQUEST", 10)
    assert "drift_report --as-of" in html_of(cast.colleague, "/reels/LW-0001/drift?as_of=2024-06-30")
    answer = logged_in(cast.colleague).get("/documents/drift/LW-0001.pdf?as_of=2024-06-30")
    assert (answer.status_code, b"drift_report --as-of" in answer.content) == (409, True)


def test_explanations_are_in_feet_to_whoever_prefers_them(cast):
    metres = [html_of(cast.control, address) for address in ("/drift", "/reels/LW-0001/drift")]
    register.prefer_length_unit(unit=LengthUnit.FEET, actor=Actor(cast.control), at=NOW)
    feet = [html_of(cast.control, address) for address in ("/drift", "/reels/LW-0001/drift")]
    [missing] = set(re.findall(r"about ([\d.]+) m are missing", "".join(metres)))
    [in_feet] = set(re.findall(r"about ([\d.]+) ft are missing", "".join(feet)))
    assert float(in_feet) == pytest.approx(float(missing) / 0.3048, abs=0.25)  # each to a tenth of its own unit
    assert not any(" m are missing" in html for html in feet)


def test_lengths_are_shown_in_feet_to_whoever_prefers_them(cast):
    assert "1.5 m</td>" in html_of(cast.control, "/reels/LW-0002/drift")
    register.prefer_length_unit(unit=LengthUnit.FEET, actor=Actor(cast.control), at=NOW)
    assert "4.92 ft</td>" in html_of(cast.control, "/reels/LW-0002/drift")  # 1.5 m / 0.3048 m = 4.921 ft


def test_a_flag_is_assigned_looked_into_handed_on_and_closed(cast):
    answer = send(cast.control, first_to_assign(cast.control), assigned_to="noel")
    flag = DriftFlag.objects.get()
    assert answer.url == f"/drift/flags/{flag.pk}"
    assert send(cast.colleague, f"{answer.url}/finding", finding="A cut in August is not in the log.").url == answer.url
    assert send(cast.control, f"{answer.url}/assignment", assigned_to="tess").url == answer.url
    refused = send(cast.control, f"{answer.url}/ending", ending="", reason="It was cut.")
    assert (refused.status_code, "It was cut." in refused.content.decode()) == (422, True)
    assert send(cast.control, f"{answer.url}/ending", ending="confirmed_loss", reason="It was cut.").url == answer.url
    html = html_of(cast.colleague, answer.url)
    assert "confirmed loss: It was cut." in html
    assert "Close the flag" not in html
    assert "A cut in August" in html_of(cast.control, "/reels/LW-0001/drift")


def test_an_interval_is_assigned_once(cast):
    there = first_to_assign(cast.control)
    send(cast.control, there, assigned_to="noel")
    again = send(cast.control, there, assigned_to="tess")
    assert again.status_code == 422
    assert "open and assigned to Noel Grant" in again.content.decode()
    flag = DriftFlag.objects.get()
    for page in ("/drift", "/reels/LW-0001/drift"):
        html = html_of(cast.control, page)
        assert there not in unescape(html)
        assert re.search(rf'href="/drift/flags/{flag.pk}">Flag {flag.pk}</a>, with .?Noel Grant', html)


@pytest.mark.parametrize(
    "query",
    ["", "?from=x&to=y", "?from=2024-06-01&to=2024-06-02", "?from=2024-06-01T10:00:00Z&to=2026-01-01T10:00:00Z"],
)
def test_an_interval_that_is_none_is_not_found(cast, query):
    assert logged_in(cast.control).get(f"/reels/LW-0001/drift/flag{query}").status_code == 404


def test_a_colleague_reads_a_stranger_finds_nothing_and_nobody_logs_in(cast, client):
    there = first_to_assign(cast.control)
    assert logged_in(cast.colleague).get(there).status_code == 403
    flag = send(cast.control, there, assigned_to="tess").url
    assert logged_in(cast.colleague).get(f"{flag}/finding").status_code == 403
    for address in (flag, f"{flag}/finding", f"{flag}/assignment", f"{flag}/ending", "/reels/LW-0001/drift", there):
        assert logged_in(cast.stranger).get(address).status_code == 404
        assert client.get(address).url.startswith("/login?next=")
    assert "LW-0001" not in html_of(cast.stranger)


def test_as_many_queries_for_a_long_history_as_for_a_short_one(cast):
    client = logged_in(cast.control)
    builders.make_reel("LW-0009")
    numbers = []
    for serial in ("LW-0001", "LW-0009"):
        client.get(f"/reels/{serial}/drift")
        with CaptureQueriesContext(connection) as queries:
            client.get(f"/reels/{serial}/drift")
        numbers.append(len(queries))
    assert numbers[0] == numbers[1]


def test_each_interval_is_on_one_page_also_where_several_are_as_probable(cast, monkeypatch):
    every = AssessedInterval.objects.filter(assessment__reel__in=readable_reels(cast.control, NOW))
    every.filter(pk__in=every.values("pk")[2:]).update(p_unlogged_cut=0.25)
    monkeypatch.setattr(drift, "SIZE", 2)
    address, numbers = "/drift?show=all", []
    while address:
        html = html_of(cast.control, address)
        numbers.append(html.count("<tr") - html.count("<thead"))
        onward = re.findall(r'rel="next" href="([^"]+)"', html)
        address = f"/drift{onward[0].replace('&amp;', '&')}" if onward else ""
    assert sum(numbers) == every.count() > 4
    assert set(numbers[:-1]) == {2}
