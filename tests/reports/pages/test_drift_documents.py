"""The drift report on paper: what is asked for on the page, and nothing of other sites."""

import pytest

from reports.domain.drift_rows import moment
from reports.models import AssessedInterval
from tests import builders
from tests.builders import Cast
from tests.page_fixtures import logged_in
from tests.reports.fleet import assessed_fleet
from tests.reports.programs import run
from tests.worker import when_there

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("on_the_day")]


@pytest.fixture
def cast():
    cast = Cast()
    assessed_fleet("LW-0002,2024-07-10T09:00:00Z,cut,1.5,,\n")
    return cast


@pytest.fixture
def text_of(tmp_path):
    def text(person, address):
        answer = when_there(lambda: logged_in(person).get(address))
        assert (answer.status_code, answer.headers["Content-Type"]) == (200, "application/pdf")
        path = tmp_path / "document.pdf"
        path.write_bytes(answer.content)
        return " ".join(run("pdftotext", "-layout", path, "-").split())

    return text


def test_the_report_holds_the_flagged_intervals_and_with_a_filter_all_of_them(cast, text_of):
    flagged = text_of(cast.control, "/documents/drift.pdf")
    assert flagged.count("FLAGGED") == flagged.count("LW-0001") == 1
    every = text_of(cast.control, "/documents/drift.pdf?show=all&site=kettle-point")
    assert [every.count(f"LW-000{n}") for n in range(1, 6)] == [11, 11, 11, 0, 0]
    assert "Intervals: all. Reels of Kettle Point and every type." in every


def test_the_report_as_of_a_day_says_so_and_shows_no_more_than_was_known(cast, text_of):
    text = text_of(cast.control, "/documents/drift.pdf?as_of=2024-06-30&show=all")
    assert "As of the end of 2024-06-30: only what was recorded by then." in text
    assert text.count("LW-000") == 6


def test_what_is_left_out_of_a_long_report_is_said(cast, text_of, monkeypatch):
    monkeypatch.setattr("reports.pages.drift.ON_PAPER", 5)
    assert "28 less probable intervals are not shown." in text_of(cast.control, "/documents/drift.pdf?show=all")


def test_many_that_are_left_out_are_not_counted(cast, text_of, monkeypatch):
    monkeypatch.setattr("reports.pages.drift.ON_PAPER", 5)
    monkeypatch.setattr("inspections.pages.paging.MOST_COUNTED", 20)
    monkeypatch.setattr("reports.pages.pdf.MOST_COUNTED", 20)
    text = text_of(cast.control, "/documents/drift.pdf?show=all")
    assert "More than 15 less probable intervals are not shown." in text


def test_a_stranger_gets_a_report_of_their_own_site(cast, text_of):
    text = text_of(cast.stranger, "/documents/drift.pdf?show=all")
    assert [text.count(f"LW-000{n}") for n in range(1, 6)] == [0, 0, 0, 11, 11]
    assert "There is no interval to show." in text_of(cast.stranger, "/documents/drift.pdf")


def test_a_reels_sheet_has_its_finding_its_figure_and_its_rows(cast, text_of):
    text = text_of(cast.colleague, "/documents/drift/LW-0001.pdf")
    assert "an unlogged loss is probable" in text
    assert "loss flagged" in text
    interval = AssessedInterval.objects.order_by("-p_unlogged_cut")[0]
    assert moment(interval.from_at)[:10] in text
    assert text.count("12 layers, 1") + text.count("12 layers, 5") + text.count("12 layers, 6") >= 12


def test_a_reel_without_counts_has_a_sheet_too(cast, text_of):
    builders.make_reel("LW-0009")
    assert "There is no count on record yet." in text_of(cast.colleague, "/documents/drift/LW-0009.pdf")


def test_a_stranger_finds_no_sheet_of_a_reel(cast, client):
    assert logged_in(cast.stranger).get("/documents/drift/LW-0001.pdf").status_code == 404
    assert client.get("/documents/drift/LW-0001.pdf").url.startswith("/login")
