from decimal import Decimal

import pytest

from reels.domain.words import LengthUnit
from reels.models import HistoryEntry
from reels.pages.formats import length, metres_of
from tests.builders import make_person
from tests.page_fixtures import logged_in


@pytest.mark.parametrize(
    ("metres", "unit", "words"),
    [("420", "m", "420 m"), ("12.500", "m", "12.5 m"), ("3.048", "ft", "10 ft"), ("420", "ft", "1377.95 ft")],
)
def test_a_length_is_written_in_the_unit_somebody_prefers(metres, unit, words):
    assert length(Decimal(metres), unit) == words  # a foot is 0.3048 m exactly


def test_a_length_typed_in_feet_is_kept_to_the_millimetre():
    assert metres_of(Decimal("41.01"), LengthUnit.FEET) == Decimal("12.500")
    assert metres_of(Decimal("12.5"), LengthUnit.METRES) == Decimal("12.500")


@pytest.mark.django_db
def test_the_preference_is_kept_told_and_leads_back_to_where_one_was():
    person = make_person("tess")
    client = logged_in(person)
    answer = client.post("/length-unit", {"unit": "ft", "next": "/reels?q=LW"})
    person.refresh_from_db()
    assert (answer.headers["Location"], person.length_unit) == ("/reels?q=LW", "ft")
    assert HistoryEntry.objects.latest("id").act == "length_unit_preferred"
    assert client.post("/length-unit", {"unit": "m", "next": "https://elsewhere.example/"}).headers["Location"] == "/"


@pytest.mark.django_db
def test_nobody_prefers_anything(client):
    assert client.post("/length-unit", {"unit": "ft"}).url.startswith("/login")
    assert logged_in(make_person("tess")).get("/length-unit").status_code == 405
