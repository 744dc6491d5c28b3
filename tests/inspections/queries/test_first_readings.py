"""What is taken for two independent first readings, and what is not."""

import pytest

from inspections.domain.words import Point, Role
from inspections.models import Inspection
from inspections.queries.first_readings import first_readings, gauges
from inspections.services import counting
from reels.services.history import Actor
from tests import builders
from tests.builders import NOW, Cast, later
from tests.reports.first_readings import VALUES, key, keyed_count

pytestmark = pytest.mark.django_db

HAND = (Point.HAND_COUNT, Role.TECHNICIAN)
HAND_VERIFIED = (Point.HAND_COUNT, Role.VERIFIER)


@pytest.fixture
def cast():
    builders.make_reel("LW-0001")
    return Cast.as_needed()


def found(most=100):
    return first_readings(Inspection.objects.all(), most)


def test_the_first_keying_of_each_person_is_taken_even_where_both_keyed_again(cast):
    keyed_count(cast, differs={Point.HAND_COUNT: {"hand_wraps": 11}})
    [reading] = found()
    assert (reading.keyings[HAND].value, reading.keyings[HAND_VERIFIED].value) == (12, 11)
    assert (reading.keyings[HAND].name, reading.keyings[HAND_VERIFIED].name) == ("Tess Hollin", "Vic Amberley")
    assert (reading.reel, reading.reel_type, reading.site, reading.gauge) == (
        "LW-0001", "w28", "kettle-point", "WG-0001",
    )  # fmt: skip


def test_a_second_reading_of_the_same_count_is_not_taken(cast):
    inspection = keyed_count(cast)
    counting.read_again(inspection_id=inspection.pk, reason="Once more.", actor=Actor(cast.technician), at=NOW)
    for point in Point:
        if point is Point.SERIAL:
            continue  # it was read once
        key(cast, inspection, point, Role.TECHNICIAN, **({"hand_wraps": 13} if point is Point.HAND_COUNT else {}))
        if point is not Point.UNWIND:
            if point is Point.HAND_COUNT:
                key(cast, inspection, point, Role.VERIFIER, hand_wraps=12)
                key(cast, inspection, point, Role.TECHNICIAN, hand_wraps=12)
            key(cast, inspection, point, Role.VERIFIER)
    assert [each.keyings[HAND].value for each in found()] == [12]


def test_an_open_or_referred_count_is_left_out_whatever_is_shown_of_it(cast):
    inspection = builders.open_count(cast)
    for role in Role:
        key(cast, inspection, Point.SERIAL, role)
    assert found() == []
    counting.ask_for_help(inspection_id=inspection.pk, remark="A worn mark.", actor=Actor(cast.technician), at=NOW)
    assert found() == []
    counting.cancel(inspection_id=inspection.pk, reason="Another reel.", actor=Actor(cast.technician), at=NOW)
    assert set(found()[0].keyings) == {(Point.SERIAL, role) for role in Role}


def test_what_a_script_or_one_person_keyed_for_both_is_not_two_readings(cast):
    builders.read(cast, builders.open_count(cast))  # the technician enters both
    assert {role for _, role in found()[0].keyings} == {Role.TECHNICIAN}


def test_a_count_entered_from_paper_is_left_out(cast):
    inspection = keyed_count(cast)
    Inspection.objects.filter(pk=inspection.pk).update(from_paper=True)
    assert found() == []


def test_the_newest_are_taken_in_two_queries_however_many_there_are(cast, count_queries):
    for day in range(3):
        builders.sign_both(cast, keyed_count(cast, at=later(days=day)), later(days=day))
    assert count_queries(lambda: found(most=1)) == count_queries(found) == 2
    assert [each.done_at for each in found(most=2)] == [later(days=2), later(days=1)]
    assert gauges(Inspection.objects.all()) == ["WG-0001"]


def test_every_point_of_the_builders_reading_is_keyed():
    assert set(VALUES) | {Point.SERIAL} == set(Point)
