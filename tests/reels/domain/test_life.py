"""What is spent of the life of a cable and of a reel, and when a limit is reached."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reels.domain.life import LIMIT_NAMES, LifeLimit, LifePart, Use, life_of

CAME = datetime(2025, 1, 1, tzinfo=UTC)
BOTH = {LifePart.CABLE: CAME, LifePart.REEL: CAME}


def day(number):
    return CAME + timedelta(days=number)


def use(happened, uses=1, hours="0", recorded=None):
    return Use(happened_at=day(happened), recorded_at=day(happened if recorded is None else recorded), uses=uses,
               hours=Decimal(hours))  # fmt: skip


def lives(uses, came=BOTH, at=100, **limits):
    return life_of(came, uses, {name: limits.get(name) for name in LIMIT_NAMES}, day(at))


def test_a_type_without_limits_has_no_lives():
    assert lives([use(1, 5)]) == []


def test_another_cable_begins_the_cables_life_anew_and_the_reels_goes_on():
    uses = [use(1, 3, "1.5"), use(10, 2, "0.25"), use(20, 1, "2")]
    limits = {"cable_uses_hard": 9, "reel_uses_hard": 9, "cable_hours_soft": 9, "reel_hours_soft": 9,
              "cable_days_hard": 99, "reel_days_hard": 200}  # fmt: skip
    spent = lives(uses, came={LifePart.CABLE: day(10), LifePart.REEL: CAME}, **limits)
    assert {(each.part, each.measure): each.spent for each in spent} == {
        ("cable", "uses"): 3, ("cable", "hours"): Decimal("2.25"), ("cable", "days"): 90,
        ("reel", "uses"): 6, ("reel", "hours"): Decimal("3.75"), ("reel", "days"): 100,
    }  # fmt: skip


def test_a_limit_is_reached_by_as_many_uses_as_it_says_when_that_is_recorded():
    uses = [use(1, 2), use(5, 1, recorded=8), use(6, 1, recorded=7)]
    [spent] = lives(uses, reel_uses_soft=3, reel_uses_hard=4)
    assert (spent.soft_at, spent.hard_at) == (day(7), day(8))
    assert [spent.reached(day(number)) for number in (6, 7, 8)] == [None, LifeLimit.SOFT, LifeLimit.HARD]


def test_age_reaches_a_limit_by_time_alone():
    [spent] = lives([], cable_days_soft=30, cable_days_hard=40, at=29)
    assert (spent.spent, spent.soft_at, spent.hard_at) == (29, day(30), day(40))
    assert spent.reached(day(30) - timedelta(seconds=1)) is None
    assert (spent.reached(day(30)), spent.reached(day(40))) == (LifeLimit.SOFT, LifeLimit.HARD)


@pytest.mark.parametrize(("limits", "hours", "said"), [
    ({"reel_uses_soft": 2, "reel_uses_hard": 5}, "0", "1 use; warned from 2, at most 5"),
    ({"reel_hours_hard": 5}, "1.50", "1.5 hours; at most 5"), ({"reel_hours_soft": 5}, "20", "20 hours; warned from 5"),
])  # fmt: skip
def test_what_is_spent_is_said_with_its_limits(limits, hours, said):
    [spent] = lives([use(1, 1, hours)], **limits)
    assert spent.in_words == said


@given(uses=st.lists(st.tuples(st.integers(0, 99), st.integers(1, 9), st.integers(0, 99)), max_size=8),
       limit=st.integers(1, 30))  # fmt: skip
def test_a_limit_is_reached_exactly_when_what_was_recorded_by_then_comes_to_it(uses, limit):
    made = [use(happened, number, recorded=happened + late) for happened, number, late in uses]
    [spent] = lives(made, at=200, cable_uses_hard=limit)
    for at in range(0, 200, 3):
        known = sum(each.uses for each in made if each.recorded_at <= day(at))
        assert (spent.reached(day(at)) is not None) == (known >= limit)
