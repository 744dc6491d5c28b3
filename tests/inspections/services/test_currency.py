"""A count is current until something ends it; nothing is issued, installed or confirmed from one that is not."""

from decimal import Decimal
from typing import Any

import pytest

from inspections.errors import CountLapsed, NotAuthorised
from inspections.models import ReelStatusRow
from inspections.queries.currency import currency_of
from inspections.services import maintenance, setup
from reels.errors import OutOfTime, ReelRetired, ValueNotTaken
from reels.models import ReelEvent, ReelType
from reels.services import register
from reels.services.events import ReelEventFacts
from reels.services.history import Actor
from tests import builders
from tests.builders import NOW, by_administrator, later


@pytest.fixture
def counted(cast):
    """A reel of a type that takes nothing for granted, counted today."""
    return builders.signed_count(cast)


def change_type(**fields):
    register.change(ReelType.objects.get(code="w28"), **fields, **by_administrator())


def status():
    return ReelStatusRow.objects.get(reel__serial="LW-0001").status


def in_and_out(cast, went_out):
    builders.confirmed(cast, builders.issued(cast), later(hours=1))
    builders.removed(cast, at=later(days=2), went_out=went_out)


# What ends a count --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("went_out", "said"), [
    (True, "on 2026-03-04 it was removed from machine RM-7 after use"),
    (None, "on 2026-03-04 it was removed from machine RM-7 and nobody said whether cable went out"),
])  # fmt: skip
def test_a_reel_removed_after_use_is_not_issued_from_its_old_count(cast, counted, went_out, said):
    in_and_out(cast, went_out)
    assert status() == "awaiting_count"
    with pytest.raises(CountLapsed, match=f"inspection {counted.pk} has lapsed: {said}. Count the reel again."):
        builders.issued(cast, at=later(days=3))
    builders.signed_count(cast, at=later(days=3))
    assert builders.issued(cast, at=later(days=3)).layers == 12


def test_a_reel_from_which_no_cable_went_out_goes_back_by_its_count(cast, counted):
    in_and_out(cast, went_out=False)
    assert status() == "counted"
    assert builders.issued(cast, at=later(days=3)).inspection == counted


@pytest.mark.parametrize(("effect", "said", "ends"), [
    ("nothing", None, False), ("nothing", True, True), ("asks", None, True), ("asks", False, False),
    ("asks", True, True), ("ends", None, True), ("ends", False, True),
])  # fmt: skip
@pytest.mark.parametrize("kind", ["used", "incident"])
def test_what_a_use_or_an_incident_does_to_a_count_the_type_says(cast, counted, kind, effect, said, ends):
    change_type(**{"after_use" if kind == "used" else "after_incident": effect})
    about: Any = {"incident": "jam", "words": "it jammed"} if kind == "incident" else {}
    values = builders.issued(cast)
    event = builders.log_event(cast, kind, at=later(hours=2), ends_count=said, **about)
    assert event.ends_count is ends
    values.refresh_from_db()
    assert (values.withdrawn_at is not None) is ends
    assert status() == ("awaiting_count" if ends else "values_issued")
    if ends:
        assert values.withdrawn_why == f"{event.named} on 2026-03-02"
        with pytest.raises(CountLapsed, match=rf"on 2026-03-02 this was recorded: {kind[:4]}|1 use"):
            builders.issued(cast, at=later(hours=3))


def test_a_respooling_always_ends_a_count_whatever_is_said(cast, counted):
    builders.log_event(cast, "respooled", at=later(hours=1), ends_count=False)
    with pytest.raises(CountLapsed, match="on 2026-03-02 this was recorded: re-spooled"):
        builders.issued(cast, at=later(hours=2))


def test_what_happened_before_the_count_does_not_end_it(cast, counted):
    values = builders.issued(cast)
    builders.log_event(cast, "respooled", happened_at=later(days=-1), at=later(hours=1))
    values.refresh_from_db()
    assert values.withdrawn_at is None
    assert currency_of(counted.reel, counted.done_at, later(days=9)).is_current


def test_a_count_lapses_by_the_uses_of_its_type(cast, counted):
    change_type(count_uses=3)
    builders.log_event(cast, "used", at=later(hours=1), uses=2, hours=Decimal("1.5"), length_out_m=Decimal(80))
    assert status() == "counted"
    builders.log_event(cast, "used", at=later(hours=2))
    assert status() == "awaiting_count"
    with pytest.raises(CountLapsed, match="on 2026-03-02 it had 3 uses; a count of its type is good for fewer than 3"):
        builders.issued(cast, at=later(hours=3))
    change_type(count_uses=None)
    assert builders.issued(cast, at=later(hours=3)).inspection == counted


# By days ------------------------------------------------------------------------------------------------------------


def test_a_count_lapses_by_the_days_of_its_type_and_what_was_confirmed_stays(cast, counted):
    change_type(count_days=30)
    assert currency_of(counted.reel, counted.done_at, later(days=1)).until == later(days=30)
    values = builders.confirmed(cast, builders.issued(cast, at=later(days=1)), later(days=2))
    lapsed = currency_of(ReelEvent(reel=counted.reel).reel, counted.done_at, later(days=30))
    assert (lapsed.why, lapsed.ended_at) == ("it was counted more than 30 days ago", later(days=30))
    values.refresh_from_db()
    assert (status(), values.withdrawn_at) == ("values_confirmed", None)


def test_from_a_count_that_lapsed_by_days_nothing_is_issued_installed_or_confirmed(cast, counted):
    change_type(count_days=30)
    after = later(days=30, minutes=1)
    with pytest.raises(CountLapsed, match="it was counted more than 30 days ago"):
        builders.issued(cast, at=after)
    values = builders.issued(cast, at=later(days=29))
    control, setter, confirmer = (Actor(each) for each in (cast.control, cast.setter, cast.confirmer))
    with pytest.raises(CountLapsed):
        maintenance.install(serial="LW-0001", machine_serial="RM-7", actor=control, at=after)
    maintenance.install(serial="LW-0001", machine_serial="RM-7", actor=control, at=later(days=29))
    setup.return_gauge(setup_id=values.pk, actor=setter, at=later(days=29))
    setup.key_read_back(setup_id=values.pk, layers=12, wraps=10, actor=setter, at=later(days=29))
    with pytest.raises(CountLapsed):
        setup.confirm(setup_id=values.pk, layers=12, wraps=10, actor=confirmer, at=after)


# What is refused ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("facts", "said"), [
    ({"kind": "incident", "words": "?"}, "incident was nothing; allowed: one of jam, overrun, dropped, shock"),
    ({"kind": "incident", "incident": "jam", "words": " "}, "words was nothing; allowed: what happened"),
    ({"kind": "used", "incident": "jam"}, "incident was jam; allowed: nothing, except of an incident"),
    ({"kind": "used", "uses": 0}, "uses was 0; allowed: at least 1"),
    ({"kind": "used", "hours": Decimal(-1)}, "hours was -1; allowed: 0 or more"),
    ({"kind": "used", "length_out_m": Decimal(421)}, "length_out_m was 421; allowed: at most 420.000 m"),
    ({"kind": "respooled", "uses": 1}, "uses was 1; allowed: nothing, where a reel was re-spooled"),
    ({"kind": "respooled", "length_out_m": Decimal(1)}, "length_out_m was 1; allowed: nothing"),
])  # fmt: skip
def test_what_does_not_fit_an_event_is_refused_in_words(cast, facts, said):
    with pytest.raises(ValueNotTaken, match=said):
        builders.log_event(cast, **facts)
    assert not ReelEvent.objects.exists()


@pytest.mark.parametrize("hours", [1, -24 * 4000])
def test_an_event_lies_between_the_coming_of_the_reel_and_now(cast, hours):
    with pytest.raises(OutOfTime):
        builders.log_event(cast, happened_at=later(hours=hours))


def test_who_counts_sets_or_maintains_records_events_and_nobody_for_a_retired_reel(cast):
    facts = ReelEventFacts(kind="used", happened_at=NOW)
    for who in ("technician", "setter", "control"):
        maintenance.log_reel_event(serial="LW-0001", facts=facts, actor=Actor(getattr(cast, who)), at=NOW)
    with pytest.raises(NotAuthorised):
        maintenance.log_reel_event(serial="LW-0001", facts=facts, actor=Actor(cast.verifier), at=NOW)
    maintenance.retire(serial="LW-0001", reason="worn", actor=Actor(cast.control), at=NOW)
    with pytest.raises(ReelRetired):
        maintenance.log_reel_event(serial="LW-0001", facts=facts, actor=Actor(cast.control), at=NOW)
