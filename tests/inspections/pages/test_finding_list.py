"""The findings on all reels: those that are open, and how many of each kind."""

import re

import pytest

from inspections.domain.findings import ReelPart
from tests import builders
from tests.builders import Cast, make_finding_kind, record_finding
from tests.inspections.services.finding_steps import close
from tests.page_fixtures import logged_in
from tests.well_formed import faults_of

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("no_query_in_a_template", "on_the_day")]


@pytest.fixture
def cast():
    builders.make_reel()
    return Cast.as_needed()


def rows_of(person, address="/findings"):
    """The cells of the open findings, and of the kinds."""
    html = logged_in(person).get(address).content.decode()
    assert faults_of(html) == []
    parts = html.split('<h2 id="kinds">')
    return [[re.sub(r"<[^>]+>", "", cell).strip() for cell in re.findall(r"(?s)<t[hd][^>]*>(.*?)</t[hd]>", part)]
            for part in (parts[0].split("<tbody>")[-1], parts[1].split("<tbody>")[-1])]  # fmt: skip


def test_open_ones_stand_first_as_stops_and_all_are_counted_by_kind_and_type(cast):
    watch = record_finding(cast.technician, severity="watch")
    make_finding_kind("bent", ReelPart.DRUM)
    stop = record_finding(cast.technician, part="drum", kind="bent")
    close(cast.releaser, record_finding(cast.technician, severity="watch"))
    is_open, kinds = rows_of(cast.colleague)
    assert [is_open[0], is_open[6]] == [f"{stop.pk}: bent (drum and flanges)", f"{watch.pk}: kink (cable)"]
    assert kinds == ["kink", "cable", "w28", "2", "1", "1", "0", "bent", "drum and flanges", "w28", "1", "1", "1", "1"]


def test_filters_leave_out_the_rest_and_a_stranger_sees_none(cast):
    record_finding(cast.technician)
    other = builders.make_type("w40")
    assert len(rows_of(cast.colleague, "/findings?site=kettle-point&type=w28")[1]) == 7
    html = logged_in(cast.colleague).get(f"/findings?type={other.code}").content.decode()
    assert "No finding is open with these filters." in html
    assert "No finding is on record." in logged_in(cast.stranger).get("/findings").content.decode()


def test_many_cost_as_many_queries_as_one(cast, count_queries):
    client = logged_in(cast.colleague)
    record_finding(cast.technician)
    one = count_queries(lambda: client.get("/findings"))
    for _ in range(4):
        record_finding(cast.technician)
    assert count_queries(lambda: client.get("/findings")) == one
