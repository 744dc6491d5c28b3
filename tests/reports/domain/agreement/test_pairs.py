from datetime import UTC, datetime

import pytest

from inspections.domain.keying import FirstKeying, FirstReading
from inspections.domain.words import Point, Role
from reports.domain.agreement.pairs import Comparison, Grouping, category_at, grouped, keyed_by_both, pairs_of
from tests.api_client import document

T, V = Role.TECHNICIAN, Role.VERIFIER


def by(person, value):
    return FirstKeying(value=value, person=person, name=f"Person {person}")


def gauge(wraps, face="even"):
    return {"face": face, "wraps": wraps}


def reading(number=1, at=datetime(2026, 1, 31, 23, tzinfo=UTC), gauge_name="WG-1", **seen):
    """seen: as hand_t=(person, value)."""
    points = {"hand": Point.HAND_COUNT, "gauge": Point.GAUGE, "left": Point.SCALE_LEFT, "half": Point.CROSSOVER}
    roles = {"t": T, "v": V}
    keyed = {(points[name[:-2]], roles[name[-1]]): by(*value) for name, value in seen.items()}
    return FirstReading(inspection=number, done_at=at, reel="R", reel_type="w28", site="kp", gauge=gauge_name,
                        keyings=keyed)  # fmt: skip


def test_methods_are_the_technicians_hand_count_less_the_technicians_gauge_reading():
    [pair] = pairs_of([reading(hand_t=(1, 12), gauge_t=(1, gauge(13)), hand_v=(2, 9))], Comparison.METHODS)
    assert (pair.first, pair.second, pair.difference, pair.verifier) == (12, 13, -1, None)


def test_methods_of_two_people_are_no_pair_of_methods():
    assert pairs_of([reading(hand_t=(1, 12), gauge_t=(3, gauge(12)))], Comparison.METHODS) == []


@pytest.mark.parametrize(("comparison", "difference"), [(Comparison.HAND, 1), (Comparison.GAUGE, -2)])
def test_people_are_compared_at_one_method(comparison, difference):
    seen = reading(hand_t=(1, 12), hand_v=(2, 11), gauge_t=(1, gauge(10)), gauge_v=(2, gauge(12, "odd")))
    [pair] = pairs_of([seen], comparison)
    assert pair.verifier
    assert (pair.difference, pair.technician.person, pair.verifier.person) == (difference, 1, 2)


def test_a_reading_that_lacks_one_of_the_two_is_no_pair():
    one_each = [reading(hand_t=(1, 12)), reading(hand_v=(2, 12)), reading(gauge_t=(1, gauge(12)))]
    assert [pairs_of(one_each, comparison) for comparison in Comparison] == [[], [], []]


def test_groups_are_in_order_of_their_keys_and_months_are_those_of_utc():
    readings = [reading(1, gauge_name="WG-2", hand_t=(1, 12), gauge_t=(1, gauge(12))),
                reading(2, gauge_name="", hand_t=(1, 12), gauge_t=(1, gauge(12))),
                reading(3, gauge_name="WG-1", hand_t=(1, 12), gauge_t=(1, gauge(12)))]  # fmt: skip
    pairs = pairs_of(readings, Comparison.METHODS)
    assert list(grouped(pairs, Grouping.GAUGE)) == ["WG-1", "WG-2", "not noted"]
    assert {k: len(v) for k, v in grouped(pairs, Grouping.MONTH).items()} == {"2026-01": 3}
    assert grouped(pairs, Grouping.VERIFIER) == {}


def test_both_saw_a_scale_that_one_of_them_could_not_read():
    readings = [reading(left_t=(1, 12), left_v=(2, None)), reading(left_t=(1, 3)), reading(left_v=(2, 3))]
    assert keyed_by_both(readings, Point.SCALE_LEFT) == [(12, None)]


@pytest.mark.parametrize(
    ("point", "value", "word"),
    [
        (Point.GAUGE, gauge(12, "odd"), "odd"),
        (Point.CROSSOVER, {"half": "first"}, "first"),
        (Point.CROSSOVER, {"deg": "200"}, "second"),
        (Point.CROSSOVER, {"deg": "360"}, "unclear"),
    ],
)
def test_kappa_compares_faces_and_halves(point, value, word):
    assert category_at(point, value) == word


def test_the_codes_of_comparisons_and_groupings_are_those_that_the_published_api_answers():
    answers = document()["components"]["schemas"]
    assert list(Comparison) == answers["AgreementOut"]["properties"]["compare"]["enum"]
    assert list(Grouping) == answers["GroupOut"]["properties"]["group_by"]["enum"]
