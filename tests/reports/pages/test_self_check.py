"""A self-check that is kept is told on the page and over the API with its date; one that somebody edited is not."""

import json
from dataclasses import asdict

import pytest

from inspections.domain.drift import SelfCheck
from inspections.models import LearnedRates
from reports.models import KeptSelfCheck
from reports.services.marks import mark
from reports.services.self_check import newest_self_check
from tests.builders import NOW, Cast
from tests.page_fixtures import logged_in
from tests.reports.fleet import assessed_fleet
from tests.reports.tampering import edit, other
from tests.worker import when_there

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("on_the_day")]
FIGURES = SelfCheck(
    draws=5, reels=40, intervals=1500, least_m=2.0, false_share=0.05, cuts=200, found=104, limit=108, flags=120,
    false=6, covered=104,
)  # fmt: skip
FOUND = "On fleets like yours this finds 52 % of unlogged cuts above 2 m at 5 % false flags"


@pytest.fixture
def cast():
    cast = Cast()
    assessed_fleet()
    return cast


def kept():
    rates = LearnedRates.objects.latest("learned_at")
    row = KeptSelfCheck.objects.create(made_at=NOW, rates=rates, seed=1, figures=asdict(FIGURES))
    mark(row)
    return row


def page(person, address="/drift"):
    return when_there(lambda: logged_in(person).get(address)).content.decode()


def report(person):
    answer = when_there(lambda: logged_in(person).get("/api/v1/reports/drift?format=json"))
    return json.loads(answer.getvalue())


def test_nothing_is_told_before_the_first(cast):
    assert "On fleets like yours" not in page(cast.control)
    assert report(cast.control)["self_check"] is None


def test_the_newest_is_told_with_its_day(cast):
    kept()
    html = page(cast.control)
    assert FOUND in html
    assert f"Self-check of {NOW.day} {NOW:%b %Y}." in html
    told = report(cast.control)["self_check"]
    assert (told["made_at"], told["in_words"].startswith(FOUND)) == (f"{NOW:%Y-%m-%dT%H:%M:%SZ}", True)


def test_a_report_as_of_a_day_has_none(cast):
    kept()
    assert "On fleets like yours" not in page(cast.control, "/drift?as_of=2024-09-01")


@pytest.mark.parametrize(
    "column", [f.name for f in KeptSelfCheck._meta.concrete_fields if f.name not in ("id", "rates")]
)
def test_one_that_somebody_edited_is_not_told(cast, column):
    row = kept()
    assert newest_self_check() == row
    edit(row, column, other(KeptSelfCheck._meta.get_field(column), getattr(row, column)))
    assert newest_self_check() is None
