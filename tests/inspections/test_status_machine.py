"""Any order of acts on reels: the status rows that were kept one act at a time are what all records give at last.

And where the reels stood after each act is what the records say of that moment, once all acts are done: always by what
had been recorded by then, and by what had happened by then, where nothing of before was recorded late.
"""

from collections import Counter
from datetime import datetime, timedelta
from decimal import Decimal
from types import SimpleNamespace
from typing import Any

import pytest
from django.db import transaction
from django.db.models import Q
from django.utils import timezone
from hypothesis import settings, strategies
from hypothesis.stateful import RuleBasedStateMachine, initialize, rule, run_state_machine_as_test

from inspections.domain.act_fields import ReceiptFields, SafetyNoticeFields
from inspections.domain.drift import Ending
from inspections.domain.findings import Remedy
from inspections.domain.words import LIVE, Decision, InspectionState, NoticedState, ReelStatus
from inspections.models import (
    DriftFlag,
    Finding,
    Inspection,
    NoticedReel,
    ReelStatusRow,
    SetupValues,
)
from inspections.queries.currency import currency_of
from inspections.queries.findings import is_stopped
from inspections.queries.life import life_on, over
from inspections.queries.numbers import numbers_amiss
from inspections.queries.safety_notices import covered_by, notice_fault, standing
from inspections.queries.status import DueBefore, is_due_before, numbers_at, status_rows_of
from inspections.queries.status_at import AsOf, reels_at
from inspections.services import (
    counting,
    findings,
    flags,
    machine_checks,
    maintenance,
    moves,
    safety_notices,
    setup,
    signing,
)
from inspections.services.flags import FlaggedInterval
from inspections.services.status_rows import keep_flagged, status_row_fault
from reels.errors import Refused
from reels.models import CableEvent, Reel, ReelEvent, ReelType
from reels.services import register
from reels.services.history import Actor
from reels.services.reels import CableEventFacts
from tests import builders
from tests.builders import NOW, Cast
from tests.worker import work_off

SERIALS, MACHINES = ("LW-0001", "LW-0002"), ("RM-1", "RM-2")
MACHINE_OF = dict(zip(SERIALS, MACHINES, strict=True))
serials = strategies.sampled_from(SERIALS)
kinds = strategies.sampled_from(("cut", "replaced", "respooled", "used"))
machines = strategies.sampled_from(MACHINES)
LOT, PUBLICATION = "lot 9", "LWS 12-3"
names = strategies.sampled_from(({"cable_lot": LOT}, {"publication": PUBLICATION}, {"reel_type": "w28"}))
RUN: Counter[str] = Counter()  # the statuses that were come to, and the states of reels under notices


class Standing(RuleBasedStateMachine):
    """Two reels and two machines at one site, and a second site to be sent to."""

    @initialize(steps=strategies.sampled_from((0, 2)), noticed=strategies.integers(0, 4))
    def begin(self, steps: int, noticed: int) -> None:
        self.savepoint = transaction.savepoint()
        self.at = NOW
        vars(safety_notices)["timezone"] = SimpleNamespace(now=lambda: self.at)  # the worker's clock
        self.stood: dict[datetime, Counter[str]] = {}
        self.recorded: dict[datetime, Counter[str]] = {}
        self.cast = Cast()
        self.control = Actor(self.cast.control)
        self.work(SERIALS[0], 6, "first")  # or few runs would come as far as confirmed values
        self.work(SERIALS[1], steps, "unclear")  # or to a referred count
        self.send(SERIALS[1])
        self.call_back(SERIALS[1])
        if noticed:  # or few would come as far as being let go
            self.give_notice(SERIALS[1], {"reel_type": "w28"}, held_first=True, steps=noticed)

    def attempt(self, act: Any) -> None:
        """What is refused leaves nothing, in the row neither."""
        self.at += timedelta(hours=1)
        try:
            with transaction.atomic():
                act()
        except Refused:
            pass
        self.the_kept_rows_are_what_the_records_give()
        self.what_is_in_force_is_still_true()
        self.what_is_under_a_notice_is_held()
        self.stood[self.at] = Counter(ReelStatusRow.objects.values_list("status", flat=True))
        self.recorded[self.at] = self.stood[self.at]

    def otherwise_since(self, moment: datetime) -> None:
        """What is recorded late tells something else of where the reels stood than was known, and recorded, then."""
        self.stood = {at: stood for at, stood in self.stood.items() if at < moment}

    def newest(self, model: Any, serial: str, **having: Any) -> Any:
        return model.objects.filter(reel__serial=serial, **having).order_by("id").last()

    def on_reel(self, service: Any, serial: str, **more: Any) -> None:
        self.attempt(lambda: service(serial=serial, actor=self.control, at=self.at, **more))

    # Counts

    @rule(serial=serials, steps=strategies.integers(1, 6), half=strategies.sampled_from(("unclear", "first")))
    def work(self, serial: str, steps: int, half: str) -> None:
        """The first steps of the job, from where the reel stands: any of them may be refused."""
        job = (self.open_count, self.read, self.sign, self.issue, self.install, self.confirm)
        for step in job[:steps]:
            self.attempt(lambda step=step: step(serial, half))

    def open_count(self, serial: str, _: str) -> None:
        builders.open_count(self.cast, serial, self.at)

    def read(self, serial: str, half: str) -> None:
        if live := self.newest(Inspection, serial, state=InspectionState.OPEN):
            builders.read(self.cast, live, self.at, crossover_half=half)

    def sign(self, serial: str, _: str) -> None:
        if live := self.newest(Inspection, serial, state=InspectionState.AWAITING_SIGN_OFF):
            builders.sign_both(self.cast, live, self.at)

    def issue(self, serial: str, _: str) -> None:
        setup.issue(serial=serial, machine_serial=MACHINE_OF[serial], actor=self.control, at=self.at)

    def install(self, serial: str, _: str) -> None:
        maintenance.install(serial=serial, machine_serial=MACHINE_OF[serial], actor=self.control, at=self.at)

    def confirm(self, serial: str, _: str) -> None:
        if values := self.newest(SetupValues, serial, withdrawn_at=None):
            numbers = {"setup_id": values.pk, "layers": values.layers, "wraps": values.wraps, "at": self.at}
            setup.return_gauge(setup_id=values.pk, actor=Actor(self.cast.setter), at=self.at)
            setup.key_read_back(actor=Actor(self.cast.setter), **numbers)
            setup.confirm(actor=Actor(self.cast.confirmer), **numbers)

    @rule(serial=serials)
    def release(self, serial: str) -> None:
        if live := self.newest(Inspection, serial, state=InspectionState.REFERRED):
            self.attempt(lambda: counting.release(
                inspection_id=live.pk, decision=Decision.READ_AGAIN, reason="turned a little",
                actor=Actor(self.cast.releaser), at=self.at))  # fmt: skip

    @rule(serial=serials)
    def cancel(self, serial: str) -> None:
        if live := self.newest(Inspection, serial, state__in=LIVE):
            technician = Actor(self.cast.technician)
            self.attempt(lambda: counting.cancel(
                inspection_id=live.pk, reason="another day", actor=technician, at=self.at))  # fmt: skip

    @rule(serial=serials)
    def void(self, serial: str) -> None:
        if signed := self.newest(Inspection, serial, state=InspectionState.SIGNED):
            verifier = Actor(self.cast.verifier)
            self.attempt(lambda: signing.request_void(
                inspection_id=signed.pk, reason="another reel", actor=verifier, at=self.at))  # fmt: skip
            self.attempt(lambda: signing.confirm_void(
                inspection_id=signed.pk, actor=Actor(self.cast.releaser), at=self.at))  # fmt: skip

    # Setup values and machines

    @rule(serial=serials, machine=machines, answers=strategies.sampled_from(((), ("issued_for_another",))))
    def install_anywhere(self, serial: str, machine: str, answers: tuple[str, ...]) -> None:
        self.on_reel(maintenance.install, serial, machine_serial=machine, answers=answers)

    @rule(serial=serials, passed=strategies.booleans())
    def check_machine(self, serial: str, passed: bool) -> None:
        if values := self.newest(SetupValues, serial, withdrawn_at=None):
            self.attempt(lambda: machine_checks.record_check(
                setup_id=values.pk, kind="functional", passed=passed, remark="in and out",
                actor=Actor(self.cast.setter), at=self.at))  # fmt: skip

    @rule(serial=serials, went_out=strategies.sampled_from((True, False, None)))
    def remove(self, serial: str, went_out: bool | None) -> None:
        self.on_reel(maintenance.remove, serial, reason="to be counted", cable_went_out=went_out)

    # Cable, findings, holds and flags

    @rule(serial=serials, kind=kinds, hours_ago=strategies.sampled_from((0, 60)))
    def happen(self, serial: str, kind: str, hours_ago: int) -> None:
        when = self.at - timedelta(hours=hours_ago)
        self.otherwise_since(when)
        if kind == "cut":
            self.attempt(lambda: builders.log_cut(self.cast, serial, "2", when, self.at))
        elif kind == "replaced":
            facts = CableEventFacts(kind=kind, happened_at=when, length_fitted_m=Decimal(420), cable_serial=LOT)
            self.on_reel(maintenance.log_cable_event, serial, facts=facts)
        else:
            self.attempt(lambda: builders.log_event(self.cast, kind, serial, when, self.at))

    @rule(serial=serials)
    def take_back_cut(self, serial: str) -> None:
        if cut := self.newest(CableEvent, serial, kind="cut"):
            self.otherwise_since(cut.happened_at)
            self.on_reel(maintenance.reverse_cable_event, serial, event_id=cut.pk, remark="entered twice")

    @rule(serial=serials)
    def take_back_event(self, serial: str) -> None:
        if event := self.newest(ReelEvent, serial, reverses=None, reversed_by=None):
            self.otherwise_since(event.happened_at)
            self.on_reel(maintenance.reverse_reel_event, serial, event_id=event.pk, remark="another reel")

    @rule(serial=serials, severity=strategies.sampled_from(("watch", "stop")))
    def find(self, serial: str, severity: str) -> None:
        person = self.cast.technician
        self.attempt(lambda: builders.record_finding(person, serial, self.at, severity=severity))

    @rule(serial=serials, remedy=strategies.sampled_from((Remedy.SOUND, Remedy.RESPOOLED)))
    def close_finding(self, serial: str, remedy: Remedy) -> None:
        if finding := self.newest(Finding, serial, closed_at=None):
            self.attempt(lambda: findings.close_finding(
                finding_id=finding.pk, remedy=remedy, reason="looked at", actor=Actor(self.cast.releaser),
                at=self.at))  # fmt: skip

    @rule(serial=serials)
    def hold(self, serial: str) -> None:
        self.on_reel(maintenance.place_hold, serial, reason="a bent flange")

    @rule(serial=serials, hours_ago=strategies.sampled_from((0, 2)))
    def end_hold(self, serial: str, hours_ago: int) -> None:
        when = self.at + timedelta(hours=1 - hours_ago)
        self.otherwise_since(when)
        self.on_reel(maintenance.end_hold, serial, reason="straightened", happened_at=when if hours_ago else None)
        self.attempt(lambda: maintenance.end_machine_hold(
            machine_serial=MACHINE_OF[serial], reason="new brake", actor=self.control, at=self.at))  # fmt: skip

    @rule(serial=serials)
    def flag(self, serial: str) -> None:
        interval = FlaggedInterval(from_at=NOW, to_at=self.at, p_unlogged_cut=0.9, explanation="shorter")
        self.on_reel(flags.assign_flag, serial, interval=interval, to=self.cast.control)

    @rule(serial=serials)
    def close_flag(self, serial: str) -> None:
        if open_flag := self.newest(DriftFlag, serial, closed_at=None):
            self.attempt(lambda: flags.close_flag(
                flag_id=open_flag.pk, ending=Ending.MISCOUNT, reason="read again", actor=self.control,
                at=self.at))  # fmt: skip

    @rule(which=strategies.sets(serials))
    def assess(self, which: set[str]) -> None:
        keep_flagged(set(Reel.objects.filter(serial__in=which).values_list("pk", flat=True)))
        assert set(ReelStatusRow.objects.filter(is_flagged=True).values_list("serial", flat=True)) == which
        self.the_kept_rows_are_what_the_records_give()

    @rule()
    def retire(self) -> None:
        """The second reel only: nobody may do anything to it afterwards."""
        self.on_reel(maintenance.retire, SERIALS[1], reason="a cracked drum")

    @rule(serial=serials)
    def send(self, serial: str) -> None:
        self.on_reel(moves.send, serial, site_code="aldermere")

    @rule(sound=strategies.booleans(), serial=serials)
    def arrive(self, sound: bool, serial: str) -> None:
        facts = ReceiptFields(sound=sound, words="" if sound else "the drum is bent")
        there = Actor(self.cast.stranger)
        self.attempt(lambda: moves.receive(serial=serial, facts=facts, actor=there, at=self.at))

    @rule(serial=serials)
    def call_back(self, serial: str) -> None:
        self.on_reel(moves.call_back, serial, reason="the boat did not go")

    # Safety notices; that one reel is let go is `end_hold`

    @rule(serial=serials, named=names, held_first=strategies.booleans(), steps=strategies.integers(1, 4))
    def give_notice(self, serial: str, named: dict[str, str], held_first: bool, steps: int) -> None:
        """The worker may come at once, or some acts later; then one reel is let go, or all are."""
        if held_first:
            self.hold(serial)
        self.issue_notice(named)
        if steps > 1:
            self.have_worked()
        if steps == 3:
            self.let_go(serial)
        if steps == 4:
            self.lift_notice(last=True)

    def issue_notice(self, named: dict[str, str]) -> None:
        facts = SafetyNoticeFields(reference=f"SN-{self.at:%m%d%H}", reason="a batch", site="kettle-point",
                                   answers=("holds_reels",), **named)  # fmt: skip
        self.attempt(lambda: safety_notices.issue(facts=facts, actor=self.control, at=self.at))

    @rule(last=strategies.booleans())
    def lift_notice(self, last: bool) -> None:
        notices = standing().order_by("pk")
        if notice := notices.last() if last else notices.first():
            self.attempt(lambda: safety_notices.lift(
                notice_id=notice.pk, reason="all changed", actor=self.control, at=self.at))  # fmt: skip
        self.have_worked()

    def let_go(self, serial: str) -> None:
        self.on_reel(maintenance.end_hold, serial, reason="looked at")

    def have_worked(self) -> None:
        """Then every reel that a notice covers is told, and what a lifted one held is let go, but for what may not."""
        self.attempt(work_off)
        assert not any(covered_by(notice, self.at).exists() for notice in standing())
        for row in NoticedReel.objects.filter(NoticedReel.in_state(NoticedState.HELD), notice__lifted_at__isnull=False):
            assert is_stopped(row.reel) or row.reel.moves.filter(found_sound=False).exists()

    # What always holds

    def the_kept_rows_are_what_the_records_give(self) -> None:
        reels = Reel.objects.order_by("pk")
        rows = ReelStatusRow.objects.in_bulk(field_name="reel_id")
        assert [status_row_fault(row, rows.get(row.reel_id)) for row in status_rows_of(reels)] == [None] * len(SERIALS)
        assert numbers_amiss() == []
        due_before = DueBefore(self.at - timedelta(days=30), {reels[0].type_id: self.at - timedelta(hours=6)})
        by_status = Counter[str]()
        for each in numbers_at(Q(), due_before):
            by_status[each.status] += each.all
        assert by_status == Counter(row.status for row in rows.values())
        due = ReelStatusRow.objects.filter(is_due_before(due_before)).count()
        assert sum(each.due for each in numbers_at(Q(), due_before)) == due
        RUN.update(row.status for row in rows.values())
        for row in rows.values():  # in no site's stock, and so on no list and in no number of a site
            assert (row.site_id is None) == (row.status == ReelStatus.IN_TRANSIT) == row.reel.moves.filter(
                ended_at=None, reel__retired_at=None).exists()  # fmt: skip
        for reel in reels.select_related("type").filter(retired_at=None):
            assert reel.holds.filter(ended_at=None).exists() or not over(life_on(reel, self.at), self.at)

    def what_is_in_force_is_still_true(self) -> None:
        """A signed count that nothing has ended since, a type confirmed, no open stop, a machine that takes it."""
        for values in SetupValues.objects.filter(withdrawn_at=None):
            reel = values.reel
            assert values.inspection.state == InspectionState.SIGNED
            assert currency_of(reel, values.inspection.done_at, self.at).is_current
            assert reel.type.rules_confirmed_at is not None
            assert not is_stopped(reel)
            assert not over(life_on(reel, self.at), self.at)
            assert reel.type.code in values.machine.types
            assert not reel.holds.filter(ended_at=None).exists()
            is_back = values.gauge_returned_at is not None
            assert values.confirmed_at is None or is_back

    def what_is_under_a_notice_is_held(self) -> None:
        """By it, or by what held it before, until it was let go from the notice's own hold or the notice is lifted."""
        for row in NoticedReel.objects.select_related("notice", "hold", "reel"):
            RUN[f"by notice: {row.state}"] += 1
            assert notice_fault(row) is None
            if row.state in (NoticedState.HELD, NoticedState.HELD_BEFORE):
                assert row.reel.retired_at or row.reel.holds.filter(ended_at=None).exists()

    def teardown(self) -> None:
        if hasattr(self, "savepoint"):
            for moment, stood in self.stood.items():
                assert Counter(each.status for each in reels_at(Q(), moment)) == stood
            for moment, stood in self.recorded.items():
                assert Counter(each.status for each in reels_at(Q(), moment, AsOf.RECORDED)) == stood
            transaction.savepoint_rollback(self.savepoint)


@pytest.mark.django_db
def test_after_any_acts_each_status_row_is_what_the_records_give(monkeypatch):
    RUN.clear()
    monkeypatch.setattr(safety_notices, "timezone", timezone)  # so that it is put back
    Cast()
    for serial, machine in MACHINE_OF.items():
        builders.gauge_for(builders.make_reel(serial))
        builders.make_machine(machine)
    register.change(ReelType.objects.get(), cable_uses_hard=2, reel_uses_soft=2, **builders.by_administrator())
    run_state_machine_as_test(Standing, settings=settings(max_examples=14, stateful_step_count=12))
    assert set(RUN) == {*ReelStatus, *(f"by notice: {state}" for state in NoticedState)}, (
        "some was never come to, so nothing was shown of it"
    )
