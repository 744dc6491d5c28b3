"""A wrap gauge leaves its machine for a count, is checked before wraps are counted, and is asked for afterwards."""

import json
from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.db import IntegrityError, transaction

from inspections.domain.act_fields import GaugeReturnFields, GaugeTakingFields
from inspections.domain.words import Act, Decision, InspectionState, Meaning, Point, Role
from inspections.errors import (
    EndMarksDiffer,
    GaugeIsOut,
    GaugeNotOut,
    GaugeNotTaken,
    GaugeNotUsable,
    NotAuthorised,
    OtherGauge,
    OtherRole,
    WrongState,
)
from inspections.models import GaugeUse, InspectionRecord
from inspections.queries.gauges import is_asked_for, use_out_of
from inspections.services import counting, gauges, maintenance, setup, signing
from inspections.services.gauges import GaugeFacts
from reels.errors import OnlyInPerson
from reels.models import HistoryEntry
from reels.services import register
from reels.services.history import Actor
from tests import builders, stories
from tests.builders import NOW, by_administrator, make_gauge, open_count, take_gauge

TODAY = NOW.date()


@pytest.fixture
def inspection(cast):
    """Prepared, and no gauge taken yet; WG-RM-7 of machine RM-7 is there."""
    make_gauge()
    return open_count(cast, has_gauge=False)


def take(cast, inspection, serial="WG-RM-7", *, matches=True, at=NOW):
    facts = GaugeTakingFields(wrap_gauge=serial, end_marks_match=matches)
    return gauges.take_gauge(inspection_id=inspection.pk, facts=facts, actor=Actor(cast.technician), at=at)


def give_back(person, inspection, serial="WG-RM-7", at=NOW, via="session"):
    facts = GaugeReturnFields(wrap_gauge=serial)
    return gauges.return_gauge(inspection_id=inspection.pk, facts=facts, actor=Actor(person, via=via), at=at)


def out(inspection) -> GaugeUse:
    """The use that the count's gauge is out for."""
    use = use_out_of(inspection)
    assert use
    return use


def acts():
    return [row.act for row in HistoryEntry.objects.filter(chain__name="reel:LW-0001").order_by("seq")]


# Taken --------------------------------------------------------------------------------------------------------------


def test_a_gauge_that_is_taken_is_out_for_that_count_and_its_machine_follows_from_its_serial(cast, inspection):
    taken = take(cast, inspection)
    use = out(taken)
    assert (use.gauge.serial, use.machine.serial, use.taken_by) == ("WG-RM-7", "RM-7", cast.technician)
    assert (use.taken_at, use.calibration_due, use.returned_at) == (NOW, date(2030, 1, 1), None)
    assert (taken.wrap_gauge, taken.machine.serial) == ("WG-RM-7", "RM-7")
    assert acts() == ["reel_received", "count_opened", "gauge_taken"]


@pytest.mark.parametrize("keyed", ["wg-rm-7", "  WG-RM-7 ", "Wg-Rm-7"])
def test_a_serial_is_the_same_in_either_case(cast, inspection, keyed):
    assert take(cast, inspection, keyed).wrap_gauge == "WG-RM-7"


def test_a_gauge_that_nobody_registered_is_refused(cast, inspection):
    with pytest.raises(GaugeNotUsable, match="Wrap gauge WG-1987 is not in the register"):
        take(cast, inspection, "WG-1987")


def test_a_gauge_of_a_machine_elsewhere_is_not_seen(cast, inspection):
    site = builders.make_site("aldermere", "Aldermere")
    make_gauge("WG-2", builders.make_machine("RM-2", site))
    with pytest.raises(GaugeNotUsable, match="may not see"):
        take(cast, inspection, "WG-2")


def test_its_end_marks_are_matched_before_anything_is_read(cast, inspection):
    with pytest.raises(EndMarksDiffer, match="wrap gauge WG-RM-7 to the mounting of machine RM-7"):
        take(cast, inspection, matches=False)
    assert not GaugeUse.objects.exists()


def test_a_gauge_for_other_types_is_refused_with_what_it_fits(cast, inspection):
    make_gauge("WG-40", types=[builders.make_type("w40")])
    with pytest.raises(GaugeNotUsable, match="fits reels of type w40, and not of type w28"):
        take(cast, inspection, "WG-40")


@pytest.mark.parametrize(("days", "is_usable"), [(0, True), (-1, False), (1, True)])
def test_a_gauge_may_be_used_until_the_day_on_which_its_calibration_is_due(cast, inspection, days, is_usable):
    make_gauge("WG-D", due=TODAY + timedelta(days=days))
    if is_usable:
        assert take(cast, inspection, "WG-D").wrap_gauge == "WG-D"
    else:
        with pytest.raises(GaugeNotUsable, match="is past due: its calibration was due on 2026-03-01"):
            take(cast, inspection, "WG-D")


def test_the_day_is_that_of_the_reels_site(cast):
    """A quarter past midnight in Auckland is still the day before in UTC."""
    site = builders.make_site("far", "Far Point")
    register.change(site, time_zone="Pacific/Auckland", **by_administrator())
    builders.make_reel("LW-0009", site=site)
    builders.authorise(cast.technician, Act.COUNT, site=site)
    register.post_person(person=cast.technician, site=site, valid_from=NOW - timedelta(days=9), **by_administrator())
    at = datetime(2026, 3, 2, 0, 15, tzinfo=ZoneInfo("Pacific/Auckland"))
    make_gauge("WG-D", due=date(2026, 3, 1))
    opened = open_count(cast, "LW-0009", at, has_gauge=False)
    with pytest.raises(GaugeNotUsable, match="and this is 2026-03-02"):
        take(cast, opened, "WG-D", at=at)


def test_a_new_calibration_makes_it_usable_again(cast, inspection):
    gauge = make_gauge("WG-D", due=TODAY - timedelta(days=1))
    register.calibrate_gauge(gauge, calibrated_on=TODAY, due=date(2027, 3, 2), **{**by_administrator(), "at": NOW})
    assert out(take(cast, inspection, "WG-D")).calibration_due == date(2027, 3, 2)


def test_one_gauge_is_used_for_one_count_at_a_time(cast, inspection):
    take(cast, inspection)
    builders.make_reel("LW-0002")
    other = open_count(cast, "LW-0002", has_gauge=False)
    told = (
        f"WG-RM-7 of machine RM-7 is out since 2026-03-02 09:00 UTC, with Tess Hollin, for inspection {inspection.pk}"
    )
    with pytest.raises(GaugeIsOut, match=told):
        take(cast, other)
    with pytest.raises(IntegrityError), transaction.atomic():
        GaugeUse.objects.create(
            gauge=out(inspection).gauge, inspection=other, machine=builders.make_machine(), taken_at=NOW,
            taken_by=cast.technician, calibration_due=TODAY,
        )  # fmt: skip


def test_one_count_has_one_gauge_at_a_time(cast, inspection):
    take(cast, inspection)
    make_gauge("WG-2")
    with pytest.raises(GaugeIsOut, match="WG-RM-7"):
        take(cast, inspection, "WG-2")


def test_the_technician_takes_it(cast, inspection):
    facts = GaugeTakingFields(wrap_gauge="WG-RM-7", end_marks_match=True)
    with pytest.raises(NotAuthorised):
        gauges.take_gauge(inspection_id=inspection.pk, facts=facts, actor=Actor(cast.verifier), at=NOW)
    builders.authorise(cast.verifier, Act.COUNT)
    counting.key(inspection_id=inspection.pk, point=Point.SERIAL, role=Role.VERIFIER, fields={"serial": "LW-0001"},
                 actor=Actor(cast.verifier), at=NOW)  # fmt: skip
    with pytest.raises(OtherRole):
        gauges.take_gauge(inspection_id=inspection.pk, facts=facts, actor=Actor(cast.verifier), at=NOW)


def test_no_wrap_is_counted_before_it_is_taken(cast, inspection):
    before = [point for point in Point if point not in (Point.HAND_COUNT, Point.GAUGE, Point.CROSSOVER)]
    stories.key_both(cast, inspection, *before)
    hand: dict[str, Any] = {
        "inspection_id": inspection.pk,
        "point": Point.HAND_COUNT,
        "fields": {"hand_wraps": 12},
        "at": NOW,
    }
    for role, person in ((Role.TECHNICIAN, cast.technician), (Role.VERIFIER, cast.verifier)):
        with pytest.raises(GaugeNotTaken):
            counting.key(role=role, actor=Actor(person), **hand)
    take(cast, inspection)
    counting.key(role=Role.VERIFIER, actor=Actor(cast.verifier), **hand)


def test_it_is_taken_for_an_open_count_alone(cast, inspection):
    counting.cancel(inspection_id=inspection.pk, reason="rain", actor=Actor(cast.technician), at=NOW)
    with pytest.raises(WrongState):
        take(cast, inspection)


# From paper ---------------------------------------------------------------------------------------------------------


def test_a_count_from_paper_names_its_gauge_and_none_goes_out(cast):
    make_gauge()
    late = open_count(cast, has_gauge=False, done_at=NOW - timedelta(days=20))
    with pytest.raises(GaugeNotTaken):
        builders.read(cast, late)
    take(cast, late)
    [use] = GaugeUse.objects.all()
    assert (use.taken_at, use.returned_at) == (late.done_at, late.done_at)
    assert use_out_of(late) is None
    assert builders.read(cast, late).state == InspectionState.AWAITING_SIGN_OFF


@pytest.mark.parametrize(
    ("days_ago", "why"),
    [(20, None), (40, "is past due: its calibration was due on 2026-01-15"), (500, "no calibration on record")],
)
def test_a_count_from_paper_is_judged_by_the_calibration_of_its_own_day(cast, days_ago, why):
    """Calibrated on 1 January 2025 until 15 January 2026, and again on 1 February 2026."""
    gauge = make_gauge("WG-D", calibrated_on=date(2025, 1, 1), due=date(2026, 1, 15))
    by = {**by_administrator(), "at": NOW}
    register.calibrate_gauge(gauge, calibrated_on=date(2026, 2, 1), due=date(2027, 2, 1), **by)
    late = open_count(cast, has_gauge=False, done_at=NOW - timedelta(days=days_ago))
    if why is None:
        assert take(cast, late, "WG-D").wrap_gauge == "WG-D"
    else:
        with pytest.raises(GaugeNotUsable, match=why):
            take(cast, late, "WG-D")


def test_a_count_from_paper_may_name_a_gauge_that_is_out_today(cast, inspection):
    take(cast, inspection)
    builders.make_reel("LW-0002")
    late = open_count(cast, "LW-0002", has_gauge=False, done_at=NOW - timedelta(days=20))
    assert take(cast, late).wrap_gauge == "WG-RM-7"


# Back ---------------------------------------------------------------------------------------------------------------


def test_returned_means_that_its_serial_is_keyed(cast, inspection):
    take(cast, inspection)
    with pytest.raises(OtherGauge, match=r"WG-8 was keyed; out for inspection \d+ is wrap gauge WG-RM-7"):
        give_back(cast.setter, inspection, "WG-8")
    back = give_back(cast.setter, inspection, " wg-rm-7")
    assert (back.returned_by, back.returned_at) == (cast.setter, NOW)
    assert use_out_of(inspection) is None
    with pytest.raises(GaugeNotOut):
        give_back(cast.setter, inspection)


def test_whoever_may_do_nothing_there_returns_nothing_and_no_script_does(cast, inspection):
    take(cast, inspection)
    with pytest.raises(NotAuthorised):
        give_back(cast.colleague, inspection)
    with pytest.raises(OnlyInPerson):
        give_back(cast.setter, inspection, via="token spool")


def test_it_is_asked_for_at_the_end_however_that_comes_and_a_referred_count_keeps_it(cast, inspection):
    take(cast, inspection)
    assert not is_asked_for(inspection)
    referred = counting.ask_for_help(inspection_id=inspection.pk, remark="?", actor=Actor(cast.technician), at=NOW)
    assert (is_asked_for(referred), use_out_of(referred) is not None) == (False, True)
    released = counting.release(inspection_id=inspection.pk, decision=Decision.READ_AGAIN, reason="look again",
                                actor=Actor(cast.releaser), at=NOW)  # fmt: skip
    worked_out = builders.read(cast, released)
    assert (is_asked_for(worked_out), use_out_of(worked_out) is not None) == (True, True)
    again = counting.read_again(inspection_id=inspection.pk, reason="?", actor=Actor(cast.technician), at=NOW)
    assert not is_asked_for(again)
    ended = counting.cancel(inspection_id=inspection.pk, reason="rain", actor=Actor(cast.technician), at=NOW)
    assert (is_asked_for(ended), use_out_of(ended) is not None) == (True, True)


def test_a_fresh_reading_after_its_return_needs_it_again(cast, inspection):
    take(cast, inspection)
    builders.read(cast, inspection)
    give_back(cast.technician, inspection)
    counting.read_again(inspection_id=inspection.pk, reason="?", actor=Actor(cast.technician), at=NOW)
    with pytest.raises(GaugeNotTaken):
        builders.read(cast, inspection)
    take(cast, inspection)
    assert builders.read(cast, inspection).state == InspectionState.AWAITING_SIGN_OFF


def test_voiding_changes_nothing_about_it(cast, inspection):
    take(cast, inspection)
    builders.read(cast, inspection)
    for person, meaning in ((cast.technician, Meaning.COUNTED), (cast.verifier, Meaning.VERIFIED)):
        signing.sign(inspection_id=inspection.pk, meaning=meaning, password=builders.PASSWORD,
                     actor=Actor(person), at=NOW)  # fmt: skip
    signing.request_void(inspection_id=inspection.pk, reason="?", actor=Actor(cast.verifier), at=NOW)
    signing.confirm_void(inspection_id=inspection.pk, actor=Actor(cast.releaser), at=NOW)
    assert use_out_of(inspection) is not None


# At the machine -----------------------------------------------------------------------------------------------------


def test_nothing_is_confirmed_at_a_machine_whose_gauge_is_out(cast):
    builders.signed_count(cast)
    values = builders.issued(cast)
    maintenance.install(serial="LW-0001", machine_serial="RM-7", actor=Actor(cast.control), at=NOW)
    builders.make_reel("LW-0002")
    make_gauge()
    other = open_count(cast, "LW-0002", has_gauge=False)
    at: dict[str, Any] = {"setup_id": values.pk, "at": NOW}
    take(cast, other)
    with pytest.raises(GaugeIsOut, match=f"with Tess Hollin, for inspection {other.pk}"):
        setup.return_gauge(actor=Actor(cast.setter), **at)
    give_back(cast.technician, other)
    setup.return_gauge(actor=Actor(cast.setter), **at)
    setup.key_read_back(layers=12, wraps=10, actor=Actor(cast.setter), **at)
    take(cast, other)
    with pytest.raises(GaugeIsOut, match="WG-RM-7 of machine RM-7 is out since 2026-03-02 09:00 UTC"):
        setup.confirm(layers=12, wraps=10, actor=Actor(cast.confirmer), **at)
    give_back(cast.technician, other)
    assert setup.confirm(layers=12, wraps=10, actor=Actor(cast.confirmer), **at).matches


# Whole readings -----------------------------------------------------------------------------------------------------


def whole(cast, inspection, *, is_back=True, serial="WG-RM-7", matches=True):
    values = [
        counting.OnePersonsValues(person=person, values={"serial": "LW-0001", **builders.GOOD})
        for person in (cast.technician, cast.verifier)
    ]
    gauge = GaugeFacts(wrap_gauge=serial, end_marks_match=matches, is_back=is_back)
    return counting.record_reading(inspection_id=inspection.pk, technician=values[0], verifier=values[1], gauge=gauge,
                                   actor=Actor(cast.technician), at=NOW)  # fmt: skip


@pytest.mark.parametrize("is_back", [True, False])
def test_a_whole_reading_names_its_gauge_and_says_whether_it_is_back(cast, inspection, is_back):
    recorded = whole(cast, inspection, is_back=is_back)
    assert recorded.wrap_gauge == "WG-RM-7"
    assert (use_out_of(recorded) is None) == is_back


def test_a_whole_reading_may_bring_back_what_was_in_hand(cast, inspection):
    take(cast, inspection)
    whole(cast, inspection)
    assert (GaugeUse.objects.count(), use_out_of(inspection)) == (1, None)


def test_a_whole_reading_is_checked_in_the_same_way(cast, inspection):
    make_gauge("WG-40", types=[builders.make_type("w40")])
    with pytest.raises(GaugeNotUsable):
        whole(cast, inspection, serial="WG-40")
    with pytest.raises(EndMarksDiffer):
        whole(cast, inspection, matches=False)
    take(cast, inspection)
    make_gauge("WG-2")
    with pytest.raises(GaugeIsOut):
        whole(cast, inspection, serial="WG-2")


# The record ---------------------------------------------------------------------------------------------------------


def test_signatures_bind_which_gauges_were_used_and_until_when_they_were_calibrated(cast, inspection):
    take(cast, inspection)
    builders.sign_both(cast, builders.read(cast, inspection))
    bound = json.loads(bytes(InspectionRecord.objects.get().content))
    [use] = bound["gauge_uses"]
    assert (bound["wrap_gauge"], bound["machine"]) == ("WG-RM-7", "RM-7")
    assert (use["wrap_gauge"], use["machine"], use["calibration_due"]) == ("WG-RM-7", "RM-7", "2030-01-01")
    assert use["taken_by"]["name"] == "Tess Hollin"


def test_a_gauge_that_moved_goes_back_to_where_it_belongs_now(cast, inspection):
    take_gauge(cast, inspection, "WG-RM-7")
    gauge, machine = make_gauge(), builders.make_machine("RM-8")
    register.move_gauge(gauge, machine=machine, **by_administrator())
    with pytest.raises(OtherGauge, match="machine RM-8"):
        give_back(cast.setter, inspection, "other")
    assert inspection.gauge_uses.get().machine.serial == "RM-7"
