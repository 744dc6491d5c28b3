from datetime import UTC, datetime, timedelta
from decimal import Decimal

import pytest

from inspections.domain.drift import ClosedFlag, CutLogged, Ending
from inspections.queries.histories import histories_of, reel_histories
from inspections.services import maintenance, signing
from inspections.services.flags import FlaggedInterval, assign_flag, close_flag
from reels.models import Reel
from reels.services.history import Actor
from reels.services.reels import CableEventFacts
from tests import builders
from tests.builders import NOW, Cast, later
from tests.inspections.services.intake.test_records import COUNTS_HEADER, EVENTS_HEADER, REELS, TYPES, bring_in

pytestmark = pytest.mark.django_db

DAY = timedelta(days=1)


def history(as_of=None):
    [found] = histories_of(list(Reel.objects.filter(serial="LW-0001")), as_of)
    return found


def test_a_history_holds_signed_and_imported_counts_and_what_is_known_of_the_reel():
    cast = Cast.as_needed()
    builders.make_reel()
    bring_in({"counts.csv": COUNTS_HEADER + "LW-0001,2025-06-01T10:00:00Z,12,9,,,\n"})
    builders.signed_count(cast)
    builders.read(cast, builders.open_count(cast, at=later(days=1)), at=later(days=1))  # not signed: no count yet
    found = history()
    assert [(count.layers, count.wraps) for count in found.counts] == [(12, 9), (12, 10)]
    assert (found.received_at, found.received_m, found.lead_wraps) == (datetime(2024, 3, 1, tzinfo=UTC), 420.0, 1)
    assert (found.drum.core_diameter_mm, found.drum.layer_rise_mm) == (300.0, None)


def test_a_count_that_was_imported_and_entered_too_is_one_count():
    cast = Cast.as_needed()
    builders.make_reel()
    builders.signed_count(cast)
    bring_in({"counts.csv": COUNTS_HEADER + f"LW-0001,{NOW.isoformat()},12,9,,,\n"})
    [count] = history().counts
    assert (count.at, count.layers, count.wraps, count.revision) == (NOW, 12, 10, "LWS 12-3 C")


def test_a_count_says_who_made_it_and_where():
    cast = Cast.as_needed()
    site = builders.make_reel().site.code
    bring_in({"counts.csv": COUNTS_HEADER + "LW-0001,2025-06-01T10:00:00Z,12,9,Ada Reed,,\n"})
    builders.signed_count(cast)
    assert [(count.counted_by, count.verified_by, count.site) for count in history().counts] == [
        ("Ada Reed", None, site), (cast.technician.full_name, cast.verifier.full_name, site)
    ]  # fmt: skip


def test_cuts_and_replacements_that_were_taken_back_are_out():
    cast = Cast.as_needed()
    builders.make_reel()
    kept = builders.log_cut(cast, metres="2.5")
    doubled = builders.log_cut(cast, metres="3.5")
    replaced = CableEventFacts(kind="replaced", happened_at=NOW - DAY, length_fitted_m=Decimal(400))
    maintenance.log_cable_event(serial="LW-0001", facts=replaced, actor=Actor(cast.control), at=NOW)
    take_back(cast, doubled, NOW)
    assert history().cuts == (CutLogged(at=kept.happened_at, length_m=2.5, recorded_at=NOW),)
    assert history().replaced_at == (NOW - DAY,)


def take_back(cast, event, at):
    maintenance.reverse_cable_event(
        serial="LW-0001", event_id=event.pk, remark="doubled", actor=Actor(cast.control), at=at
    )


def test_as_of_a_day_a_late_entry_is_not_there_yet_and_one_taken_back_later_still_is():
    cast = Cast.as_needed()
    builders.make_reel()
    early = builders.log_cut(cast, metres="2.5", at=NOW)
    builders.log_cut(cast, metres="3.5", happened_at=NOW, at=later(days=10))
    take_back(cast, early, later(days=20))
    assert [cut.length_m for cut in history(later(days=5)).cuts] == [2.5]
    assert sorted(cut.length_m for cut in history(later(days=15)).cuts) == [2.5, 3.5]
    assert [cut.length_m for cut in history(later(days=25)).cuts] == [3.5]


def test_as_of_a_day_a_count_is_there_from_its_second_signature_until_its_void():
    cast = Cast.as_needed()
    builders.make_reel()
    inspection = builders.open_count(cast)
    builders.read(cast, inspection)
    inspection = builders.sign_both(cast, inspection, at=later(days=2))
    signing.request_void(inspection_id=inspection.pk, reason="other reel", actor=Actor(cast.verifier), at=later(days=5))
    signing.confirm_void(inspection_id=inspection.pk, actor=Actor(cast.releaser), at=later(days=6))
    seen = {days: len(history(later(days=days)).counts) for days in (1, 3, 5.5, 7)}
    assert seen == {1: 0, 3: 1, 5.5: 1, 7: 0}
    assert history().counts == ()


def test_the_ending_of_a_flag_is_evidence_from_the_day_it_was_closed():
    cast = Cast.as_needed()
    builders.make_reel()
    interval = FlaggedInterval(from_at=NOW - DAY, to_at=NOW, p_unlogged_cut=0.987654, explanation="because")
    flag = assign_flag(serial="LW-0001", interval=interval, to=cast.colleague, actor=Actor(cast.control), at=NOW)
    close_flag(flag_id=flag.pk, ending=Ending.MISCOUNT, reason="recounted", actor=Actor(cast.control), at=later(days=3))
    assert history().closed_flags == (ClosedFlag(from_at=NOW - DAY, to_at=NOW, ending=Ending.MISCOUNT),)
    assert history(later(days=2)).closed_flags == ()


def test_histories_come_in_the_order_of_serials_whatever_the_size_of_a_batch(monkeypatch, count_queries):
    monkeypatch.setattr("inspections.queries.histories.REELS_AT_ONCE", 2)
    rows = "".join(f"LW-{n:04},w28,KP2,2024-03-01,\n" for n in (3, 1, 5, 2, 4))
    bring_in({"reel_types.csv": TYPES, "reels.csv": REELS.splitlines()[0] + "\n" + rows})
    assert [found.reel for found in reel_histories(Reel.objects.all())] == [f"LW-{n:04}" for n in (1, 2, 3, 4, 5)]
    monkeypatch.setattr("inspections.queries.histories.REELS_AT_ONCE", 200)
    one, five = (
        count_queries(lambda most=most: list(reel_histories(Reel.objects.filter(serial__lte=f"LW-{most:04}"))))
        for most in (1, 5)
    )
    assert one == five == 6  # reels, signed and imported counts, events, flags; and that no reel follows


def test_an_imported_event_is_known_from_the_day_its_log_says():
    bring_in({"reel_types.csv": TYPES, "reels.csv": REELS})
    bring_in({"cable_events.csv": EVENTS_HEADER + "LW-0001,2025-04-01T10:00:00Z,cut,2.5,2025-06-01T10:00:00Z,\n"})
    assert history(datetime(2025, 5, 1, tzinfo=UTC)).cuts == ()
    assert len(history(datetime(2025, 7, 1, tzinfo=UTC)).cuts) == 1
