"""A cut that is possible and unlikely is asked about once; one that the reel cannot hold is refused."""

from decimal import Decimal
from typing import Any

import pytest

from inspections.errors import SameCut, UnlikelyCut
from inspections.services import maintenance
from reels.errors import CutTooLong
from reels.models import CableEvent
from reels.services.history import Actor
from reels.services.reels import CableEventFacts
from tests import builders
from tests.builders import NOW, later


@pytest.fixture
def seen(cast):
    """The log of the type has seen cuts from 2 to 10 m, of another reel."""
    builders.make_reel("LW-0002")
    for metres in ("2", "3", "4", "5", "10"):
        builders.log_cut(cast, "LW-0002", metres, at=later(days=-9))


def cut(cast, metres, *answers, happened_at=NOW, serial="LW-0001") -> CableEvent:
    facts: dict[str, Any] = {"kind": "cut", "happened_at": happened_at, "length_removed_m": Decimal(metres)}
    return maintenance.log_cable_event(
        serial=serial, facts=CableEventFacts(answers=answers, **facts), actor=Actor(cast.control), at=later(hours=1)
    )


@pytest.mark.parametrize("metres", ["1.8", "11", "5.5"])
def test_a_length_that_the_log_of_the_type_has_seen_is_not_asked_about(cast, seen, metres):
    assert cut(cast, metres).length_removed_m == Decimal(metres)


@pytest.mark.parametrize(("metres", "other"), [
    ("16.404", "If 16.404 was read in feet, it is 5.00 m."), ("1.524", "If 5 was read in metres"), ("60", ""),
])  # fmt: skip
def test_a_length_outside_what_was_seen_is_asked_about_once_with_the_other_unit_where_that_fits(
    cast, seen, metres, other
):
    with pytest.raises(UnlikelyCut, match=f"A cut of {metres} m is outside .* type w28 has seen, 2 to 10 m.") as asked:
        cut(cast, metres)
    assert other in str(asked.value)
    assert ("was read in" in str(asked.value)) is bool(other)
    assert cut(cast, metres, "unlikely_cut").length_removed_m == Decimal(metres)


def test_with_a_count_the_question_says_what_the_cut_would_leave(cast, seen):
    builders.signed_count(cast, at=later(days=-1))
    with pytest.raises(UnlikelyCut, match=r"It would leave about \d+\.\d m"):
        cut(cast, "60")


def test_few_cuts_of_a_type_tell_nothing(cast):
    for metres in ("2", "3", "4", "5"):
        cut(cast, metres)
    assert cut(cast, "60").length_removed_m == 60


def test_more_than_the_newest_count_makes_believable_is_refused(cast):
    reel = builders.make_reel("LW-0003", cable_length_m=None)
    builders.signed_count(cast, reel.serial, at=later(days=-1))  # some 370 m
    with pytest.raises(CutTooLong, match="A cut of 500 m was given; reel LW-0003 can have at most 4"):
        cut(cast, "500", "unlikely_cut", serial=reel.serial)
    cut(cast, "300", serial=reel.serial)
    with pytest.raises(CutTooLong, match="at most 1"):
        cut(cast, "300", serial=reel.serial, happened_at=later(minutes=5))
    assert cut(cast, "400", serial=reel.serial, happened_at=later(days=-2)).length_removed_m == 400  # before the count


def test_an_identical_cut_within_a_day_is_asked_about_and_logged_when_it_was_another(cast):
    first = cut(cast, "2.5")
    with pytest.raises(SameCut, match=f"as event {first.pk} by Mona Castell"):
        cut(cast, "2.5")
    assert cut(cast, "2.5", happened_at=later(minutes=-30)).pk
    assert cut(cast, "2.5", "same_cut").pk
    assert CableEvent.objects.count() == 3
