"""Safety notices: reels held by what they have in common, those that come later too; let go one by one or together."""

from types import SimpleNamespace
from typing import Any

import pytest
from django.core.management import call_command
from django.db import transaction

from inspections.domain.act_fields import SafetyNoticeFields
from inspections.domain.findings import Remedy
from inspections.domain.words import Act, NoticedState
from inspections.errors import HoldsReels, NotAuthorised
from inspections.models import NoticedReel, SafetyNotice
from inspections.queries.safety_notices import notice_fault
from inspections.services import findings, maintenance, safety_notices
from inspections.services.safety_notices import SHOWN
from reels import access
from reels.errors import AlreadyEnded, AlreadyThere, OnlyInPerson, ValueNotTaken
from reels.models import HistoryEntry, Hold, Reel, TaskRun
from reels.services import register
from reels.services.history import Actor, record_act
from reels.services.reels import CableEventFacts, ReelNumbers
from reports.services.verification import check_records
from tests import builders
from tests.builders import NOW, by_administrator, later
from tests.worker import work_off

THERE = {"reel_type": "w28", "site": "kettle-point"}


@pytest.fixture
def cast(cast):
    """Reels LW-0001 to LW-0003 of type w28 and LW-0004 of w31."""
    for serial in ("LW-0002", "LW-0003"):
        builders.make_reel(serial)
    builders.make_reel("LW-0004", type=builders.make_type("w31"))
    return cast


def issue(person, *, answers=("holds_reels",), via="session", reference="SN-7", named=None, **more):
    said = {
        "reference": reference,
        "reason": "A batch of brakes slips.",
        "answers": answers,
        **(named or THERE),
        **more,
    }
    return safety_notices.issue(facts=SafetyNoticeFields(**said), actor=Actor(person, via=via), at=NOW)


def held():
    return list(Hold.objects.filter(ended_at=None).order_by("reel__serial").values_list("reel__serial", flat=True))


def states():
    rows = NoticedReel.objects.select_related("reel", "hold", "notice").order_by("reel__serial")
    return {row.reel.serial: row.state for row in rows}


def release(cast, serial):
    maintenance.end_hold(serial=serial, reason="brake changed", actor=Actor(cast.control), at=later(hours=2))


def test_how_many_it_holds_and_which_is_asked_first_and_nothing_is_done_until_then(cast):
    with pytest.raises(
        HoldsReels, match=r"type w28, at Kettle Point. Of these there are 3 reels: LW-0001, LW-0002, LW-"
    ):
        issue(cast.control, answers=())
    assert (SafetyNotice.objects.count(), TaskRun.objects.count(), held()) == (0, 0, [])
    for number in range(5, SHOWN + 6):
        builders.make_reel(f"LW-{number:04}")
    with pytest.raises(HoldsReels, match="LW-0031 and 4 more"):
        issue(cast.control, answers=())


def test_a_worker_holds_each_in_an_act_of_its_own_and_its_values_end(cast):
    builders.signed_count(cast)
    values = builders.issued(cast)
    notice = issue(cast.control)
    work_off()
    assert held() == ["LW-0001", "LW-0002", "LW-0003"]
    entries = HistoryEntry.objects.filter(act="held_by_notice")
    assert entries.count() == entries.values("chain").distinct().count() == 3
    values.refresh_from_db()
    assert values.withdrawn_why == "the reel is held: safety notice SN-7: A batch of brakes slips."
    run = safety_notices.task_of(notice)
    assert run is not None
    outcome: Any = run.result.return_value
    assert outcome["in_words"] == ["3 reels held."]
    assert HistoryEntry.objects.get(act="safety_notice_issued").chain.name == "register"


def test_a_reel_that_is_held_already_is_held_by_the_notice_once_it_is_let_go(cast):
    maintenance.place_hold(serial="LW-0002", reason="rust", actor=Actor(cast.control), at=NOW)
    issue(cast.control)
    work_off()
    assert states()["LW-0002"] == NoticedState.HELD_BEFORE
    release(cast, "LW-0002")
    assert (states()["LW-0002"], "LW-0002" in held()) == (NoticedState.HELD, True)
    release(cast, "LW-0002")
    assert (states()["LW-0002"], "LW-0002" in held()) == (NoticedState.RELEASED, False)


def test_a_stop_that_is_closed_leaves_the_reel_to_the_notice(cast):
    stop = builders.record_finding(cast.technician, "LW-0001")
    issue(cast.control)
    work_off()
    findings.close_finding(finding_id=stop.pk, remedy=Remedy.SOUND, reason="fine", at=NOW,
                           actor=Actor(cast.releaser))  # fmt: skip
    assert states()["LW-0001"] == NoticedState.HELD


def test_what_comes_under_it_later_is_held_in_the_act_that_brings_it(cast):
    issue(cast.control, named={"site": "kettle-point", "cable_lot": "lot 9"})
    work_off()
    assert held() == []
    facts = CableEventFacts(kind="replaced", happened_at=NOW, cable_serial="lot 9")
    maintenance.log_cable_event(serial="LW-0004", facts=facts, actor=Actor(cast.control), at=NOW)
    builders.make_reel("LW-0005", numbers=ReelNumbers(cable_serial="lot 9"))
    assert held() == ["LW-0004", "LW-0005"]
    for serial, act in (("LW-0004", "cable_replaced"), ("LW-0005", "reel_received")):
        assert Reel.objects.get(serial=serial).chain.entries.latest("seq").act == act
    maintenance.log_cable_event(
        serial="LW-0004", facts=CableEventFacts(kind="replaced", happened_at=NOW), actor=Actor(cast.control), at=NOW
    )
    release(cast, "LW-0004")
    assert held() == ["LW-0005"]  # once let go, it is not held by the same notice again


def test_a_lot_is_the_same_whatever_nobody_sees_is_in_it(cast):
    lot = "\u05d0-9"
    builders.make_reel("LW-0005", numbers=ReelNumbers(cable_serial=f"{lot}\u200f"))
    builders.make_reel("LW-0006", numbers=ReelNumbers(cable_serial="\u05d1-9"))
    issue(cast.control, named={"site": "kettle-point", "cable_lot": f"\u200e{lot}"})
    work_off()
    assert held() == ["LW-0005"]
    builders.make_reel("LW-0007", numbers=ReelNumbers(cable_serial=lot))
    builders.make_reel("LW-0008", numbers=ReelNumbers(cable_serial="9"))
    assert held() == ["LW-0005", "LW-0007"]


def counted(cast, serial, at, **changes):
    return builders.sign_both(cast, builders.read(cast, builders.open_count(cast, serial, at, **changes), at), at)


OF_REVISION_C = {"site": "kettle-point", "publication": "LWS 12-3", "publication_revision": "C"}


def test_one_by_a_superseded_publication_holds_what_was_counted_last_by_it(cast):
    for hours, serial in enumerate(("LW-0003", "LW-0002")):
        builders.signed_count(cast, serial, at=later(hours=hours))
    builders.make_publication(revision="D", valid_from=later(hours=2))
    counted(cast, "LW-0002", later(hours=2), publication_revision="D")
    issue(cast.control, named=OF_REVISION_C)
    work_off()
    assert held() == ["LW-0003"]
    counted(cast, "LW-0001", later(hours=3), publication_reason="from paper", done_at=later(hours=1))
    assert held() == ["LW-0001", "LW-0003"]


@pytest.mark.parametrize("for_types", [["w28"], []])
def test_one_by_a_publication_in_force_holds_the_reels_of_its_types_too(cast, for_types):
    types = [builders.make_type(code) for code in for_types]
    builders.make_publication("LWS 9", "A", types=types)
    issue(cast.control, named={"site": "kettle-point", "publication": "LWS 9"})
    work_off()
    assert held() == ["LW-0001", "LW-0002", "LW-0003", *([] if for_types else ["LW-0004"])]
    builders.make_reel("LW-0005", type=builders.make_type("w31"))
    builders.make_reel("LW-0006")
    assert [serial in held() for serial in ("LW-0005", "LW-0006")] == [not for_types, True]


def test_where_types_get_another_publication_the_worker_holds_their_reels_at_once(
    cast, django_capture_on_commit_callbacks
):
    issue(cast.control, named={"site": "kettle-point", "publication": "LWS 9", "publication_revision": "B"})
    work_off()
    assert held() == []
    with django_capture_on_commit_callbacks(execute=True):
        builders.make_publication("LWS 9", "B", types=[builders.make_type("w31")])
    work_off()
    assert held() == ["LW-0004"]
    entry = Reel.objects.get(serial="LW-0004").chain.entries.latest("seq")
    assert (entry.act, entry.actor) == ("held_by_notice", None)


def test_a_publication_that_comes_into_force_later_is_found_by_the_nightly_look(cast, monkeypatch):
    builders.make_publication("LWS 9", "B", valid_from=later(days=1))
    issue(cast.control, named={"site": "kettle-point", "publication": "LWS 9"})
    for days, expected in ((0, 0), (1, 4)):
        monkeypatch.setattr(safety_notices, "timezone", SimpleNamespace(now=lambda days=days: later(days=days)))
        call_command("nightly")
        work_off()
        assert len(held()) == expected


def test_a_reel_that_was_held_and_is_no_longer_is_a_fault_while_its_notice_stands(cast):
    """The act that let it go should have had the notice hold it."""
    hold = maintenance.place_hold(serial="LW-0002", reason="rust", actor=Actor(cast.control), at=NOW)
    issue(cast.control)
    work_off()
    row = NoticedReel.objects.get(reel__serial="LW-0002")
    assert [notice_fault(each) for each in NoticedReel.objects.all()] == [None] * 3
    Hold.objects.filter(pk=hold.pk).update(ended_at=NOW)
    assert notice_fault(row) == "its notice stands, and nothing holds its reel"
    SafetyNotice.objects.update(lifted_at=NOW)
    assert notice_fault(NoticedReel.objects.get(pk=row.pk)) is None
    SafetyNotice.objects.update(lifted_at=None)
    Hold.objects.filter(pk=hold.pk).update(ended_at=None)


def test_the_check_of_all_records_says_so_where_a_history_tells_it(cast):
    hold = maintenance.place_hold(serial="LW-0002", reason="rust", actor=Actor(cast.control), at=NOW)
    issue(cast.control)
    work_off()
    way_back = transaction.savepoint()
    [chain] = access.lock(access.reel_chain("LW-0002"))
    with record_act(chain, "hold_ended", Actor(cast.control), NOW) as act:
        act.change(hold, ended_at=NOW)
    broken = check_records().broken
    transaction.savepoint_rollback(way_back)
    assert broken is not None
    row = NoticedReel.objects.get(reel__serial="LW-0002")
    assert (broken.where, broken.why) == (
        f"reel:LW-0002, noticed reel {row.pk}", "its notice stands, and nothing holds its reel"
    )  # fmt: skip


def test_lifted_it_lets_its_reels_go_but_for_those_with_a_stop_finding_and_covers_none_any_more(cast):
    notice = issue(cast.control)
    work_off()
    builders.record_finding(cast.technician, "LW-0002", at=later(hours=1))
    lifted: dict[str, Any] = {
        "notice_id": notice.pk,
        "reason": "all changed",
        "actor": Actor(cast.control),
        "at": later(hours=2),
    }
    safety_notices.lift(**lifted)
    work_off()
    assert held() == ["LW-0002"]
    assert Hold.objects.get(reel__serial="LW-0001").end_reason == "safety notice SN-7 was lifted: all changed"
    builders.make_reel("LW-0005")
    assert "LW-0005" not in held()
    with pytest.raises(AlreadyEnded):
        safety_notices.lift(**lifted)


def test_two_notices_hold_a_reel_one_after_the_other(cast):
    issue(cast.control)
    work_off()
    second = issue(cast.control, reference="SN-8")
    work_off()
    assert NoticedReel.objects.filter(NoticedReel.in_state(NoticedState.HELD_BEFORE), notice=second).count() == 3
    release(cast, "LW-0001")
    assert "LW-0001" in held()
    release(cast, "LW-0001")
    assert "LW-0001" not in held()


def test_begun_again_the_task_passes_over_what_it_did(cast):
    notice = issue(cast.control)
    work_off()
    safety_notices.have_held(notice, cast.control)
    work_off()
    assert NoticedReel.objects.count() == 3


def test_who_may_and_what_is_named(cast):
    for named in ({"reel_type": "w28"}, {"cable_lot": "9"}):  # farther than mona's authorisation reaches
        with pytest.raises(NotAuthorised, match="at any site"):
            issue(cast.control, named=named)
    with pytest.raises(NotAuthorised):
        issue(cast.colleague)
    with pytest.raises(OnlyInPerson):
        issue(cast.control, via="token x")
    builders.authorise(cast.control, Act.MAINTAIN)
    register.post_person(person=cast.control, site=None, valid_from=later(days=-1), **by_administrator())
    with pytest.raises(ValueNotTaken, match="a type, site, cable or publication"):
        issue(cast.control, named={"reel_type": None})
    with pytest.raises(ValueNotTaken, match="without its publication"):
        issue(cast.control, publication_revision="C")
    issue(cast.control, named={"reel_type": "w28"})
    with pytest.raises(AlreadyThere, match="SN-7"):
        issue(cast.control)
