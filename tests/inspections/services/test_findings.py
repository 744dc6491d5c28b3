"""A finding is recorded by whoever works on the reel; a stop holds it until an authorised person lets it go."""

from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.db import IntegrityError, transaction

from inspections.domain.findings import ReelPart, Remedy, Severity
from inspections.domain.words import Act, ReelStatus
from inspections.errors import (
    BelowLeastSeverity,
    FindingClosed,
    NotAStop,
    NotAuthorised,
    SamePerson,
    StopFindingOpen,
    WorkNotLogged,
)
from inspections.models import Finding, FindingKind, FindingPhoto, SetupValues
from inspections.queries.findings import stop_fault
from inspections.services import findings, maintenance
from reels.errors import AlreadyThere, NotFound, OnlyAdministrators, OnlyInPerson, ReelRetired, ValueNotTaken
from reels.models import Hold
from reels.queries import hold_on
from reels.services.history import Actor
from reports.services.verification import check_records
from tests import builders
from tests.builders import NOW, by_administrator, make_finding_kind, record_finding
from tests.inspections.domain.photo_files import PNG_BYTES
from tests.inspections.services.finding_steps import close, entry, lower, reel

# Kinds --------------------------------------------------------------------------------------------------------------


def test_a_type_lists_a_kind_once_and_only_an_administrator_adds_one(cast):
    make_finding_kind()
    kind: dict[str, Any] = {
        "reel_type": builders.make_type(), "part": ReelPart.CABLE, "code": "kink", "words": "kink",
        "least_severity": Severity.WATCH,
    }  # fmt: skip
    with pytest.raises(AlreadyThere):
        findings.add_kind(**kind, **by_administrator())
    with pytest.raises(OnlyAdministrators):
        findings.add_kind(**{**kind, "code": "cut"}, actor=Actor(cast.control), at=NOW)
    findings.add_kind(**{**kind, "part": ReelPart.DRUM}, **by_administrator())
    assert FindingKind.objects.filter(code="kink").count() == 2


def test_other_is_in_no_list(cast):
    with pytest.raises(ValueNotTaken):
        make_finding_kind("other")


def test_a_kind_that_the_type_does_not_list_is_refused_with_those_that_it_does(cast):
    make_finding_kind("bent", ReelPart.DRUM)
    with pytest.raises(ValueNotTaken) as refused:
        record_finding(cast.technician, kind="bent")
    assert str(refused.value) == "kind was bent; allowed: of the cable: kink, other."


def test_nothing_is_recorded_below_the_least_severity_of_its_kind(cast):
    make_finding_kind("worn", least=Severity.STOP)
    with pytest.raises(BelowLeastSeverity, match="a stop at least, and watch was chosen"):
        record_finding(cast.technician, kind="worn", severity="watch")
    with pytest.raises(BelowLeastSeverity):
        record_finding(cast.technician, kind="other", severity="watch")
    assert not Finding.objects.exists()
    assert record_finding(cast.technician, severity="watch").severity == Severity.WATCH


# Recording ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("who", ["technician", "verifier", "control", "setter", "confirmer", "releaser"])
def test_whoever_works_on_the_reel_records_what_they_see(cast, who):
    assert record_finding(getattr(cast, who)).recorded_by == getattr(cast, who)


def test_somebody_else_may_not_and_a_stranger_sees_no_such_reel(cast):
    with pytest.raises(NotAuthorised):
        record_finding(cast.colleague)
    with pytest.raises(NotFound):
        record_finding(cast.stranger)


def test_a_retired_reel_has_no_new_findings(cast):
    maintenance.retire(serial="LW-0001", reason="worn", actor=Actor(cast.control), at=NOW)
    with pytest.raises(ReelRetired):
        record_finding(cast.technician)


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"layer": 21}, "layer"), ({"layer": 0}, "layer"), ({"visible_wrap": 29}, "visible_wrap"),
        ({"side": None}, "side"),
    ],
)  # fmt: skip
def test_a_place_that_the_drum_does_not_have_is_refused(cast, changes, field):
    with pytest.raises(ValueNotTaken) as refused:
        record_finding(cast.technician, **changes)
    assert refused.value.facts["field"] == field


def test_a_stop_holds_the_reel_and_withdraws_its_values_in_the_same_act(cast):
    builders.signed_count(cast)
    values = builders.confirmed(cast, builders.issued(cast))
    finding = record_finding(cast.setter)
    values.refresh_from_db()
    hold = hold_on(reel())
    assert hold
    assert hold == finding.hold
    assert hold.reason == "a stop finding: kink (cable)"
    assert values.withdrawn_why == "the reel is held: a stop finding: kink (cable)"
    assert reel().status == ReelStatus.HELD
    told = entry("finding_recorded")
    assert {each["table"] for each in told["changes"]} == {
        "inspections_finding", "reels_hold", "inspections_setupvalues"
    }  # fmt: skip


def test_a_watch_holds_nothing(cast):
    finding = record_finding(cast.technician, severity="watch")
    assert (finding.hold, hold_on(reel())) == (None, None)


def test_what_is_found_on_the_reel_is_told_in_full_at_once(cast):
    finding = record_finding(cast.technician, length_from_end_m=Decimal("2.5"))
    finding.refresh_from_db()
    told = entry("finding_recorded")["facts"]["findings"]
    details = {"layer": 12, "side": "left", "visible_wrap": 4, "length_from_end_m": "2.500", "words": "a kink"}
    assert told == [{"finding": finding.pk, "details": details, "salt": finding.salt}]


def test_a_photo_is_kept_with_it_as_it_came(cast):
    finding = record_finding(cast.technician, photo=PNG_BYTES)
    photo = FindingPhoto.objects.get(finding=finding)
    assert (bytes(photo.content), photo.media_type) == (PNG_BYTES, "image/png")


# Lowered and closed -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("decide", [lower, close])
def test_an_authorised_person_decides_in_person_and_not_who_recorded_it(cast, decide):
    finding = record_finding(cast.technician)
    with pytest.raises(NotAuthorised):
        decide(cast.control, finding)
    with pytest.raises(OnlyInPerson):
        decide(cast.releaser, finding, via="token robot")
    own = record_finding(cast.releaser)
    with pytest.raises(SamePerson, match="recorded this finding"):
        decide(cast.releaser, own)


@pytest.mark.parametrize("decide", [lower, close])
def test_who_takes_part_in_the_count_does_not_decide_what_stopped_it(cast, decide):
    builders.authorise(cast.technician, Act.RELEASE, site=builders.make_site())
    builders.open_count(cast)
    finding = record_finding(cast.verifier)
    with pytest.raises(SamePerson, match="taken part in the count"):
        decide(cast.technician, finding)


def test_lowered_it_stays_a_watch_and_the_reel_is_let_go(cast):
    finding = lower(cast.releaser, record_finding(cast.technician))
    assert (finding.severity, finding.lower_reason, hold_on(reel())) == ("watch", "within limits", None)
    with pytest.raises(NotAStop):
        lower(cast.releaser, finding)


def test_closed_once_with_a_reason(cast):
    finding = close(cast.releaser, record_finding(cast.technician))
    assert (finding.remedy, finding.close_reason, hold_on(reel())) == ("sound", "looked at", None)
    with pytest.raises(FindingClosed):
        close(cast.releaser, finding)
    with pytest.raises(FindingClosed):
        lower(cast.releaser, finding)


def test_the_last_stop_lets_the_reel_go(cast):
    first, second = record_finding(cast.technician), record_finding(cast.verifier)
    assert second.hold is None
    close(cast.releaser, first)
    assert hold_on(reel())
    lower(cast.releaser, second)
    assert hold_on(reel()) is None


def test_a_hold_that_somebody_placed_stays_when_the_finding_is_closed(cast):
    maintenance.place_hold(serial="LW-0001", reason="rust", actor=Actor(cast.control), at=NOW)
    finding = record_finding(cast.technician)
    assert finding.hold is None
    close(cast.releaser, finding)
    assert Hold.objects.get(ended_at__isnull=True).reason == "rust"


def test_a_hold_is_not_ended_past_an_open_stop(cast):
    finding = record_finding(cast.technician)
    with pytest.raises(StopFindingOpen, match=r"is a stop: kink \(cable\)"):
        maintenance.end_hold(serial="LW-0001", reason="fine", actor=Actor(cast.releaser), at=NOW)
    close(cast.releaser, finding)


@pytest.mark.parametrize(("remedy", "kind"), [(Remedy.CUT, "cut"), (Remedy.REPLACED, "cable replaced")])
def test_work_on_the_cable_is_logged_before_it_closes_a_finding(cast, remedy, kind):
    builders.log_cut(cast)
    finding = record_finding(cast.technician, at=NOW + timedelta(minutes=1))
    with pytest.raises(WorkNotLogged, match=f"Log the {kind} first"):
        close(cast.releaser, finding, remedy)
    if remedy is Remedy.CUT:
        builders.log_cut(cast, at=NOW + timedelta(minutes=2))
        assert close(cast.releaser, finding, remedy).remedy == "cut"


# The records --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("changes", [{"words": "nothing"}, {"layer": 11}, {"salt": "0" * 32}, {"side": "right"}])
def test_a_detail_that_was_changed_is_noticed(cast, changes):
    finding = record_finding(cast.technician)
    kept = {name: getattr(finding, name) for name in changes}
    Finding.objects.filter(pk=finding.pk).update(**changes)
    broken = check_records().broken
    assert broken
    assert "is not what was committed to" in broken.why
    Finding.objects.filter(pk=finding.pk).update(**kept)


def test_a_stop_that_does_not_hold_its_reel_is_noticed(cast):
    builders.signed_count(cast)
    values = builders.issued(cast)
    finding = record_finding(cast.technician)
    tampered: tuple[Any, ...] = (
        (Hold, finding.hold_id, {"ended_at": NOW}, "its reel is not held"),
        (SetupValues, values.pk, {"withdrawn_at": None}, "setup values of its reel are in force"),
    )
    for model, pk, change, why in tampered:
        kept = model.objects.filter(pk=pk).values(*change).get()
        model.objects.filter(pk=pk).update(**change)
        assert stop_fault(finding) == f"it is an open stop, and {why}"
        model.objects.filter(pk=pk).update(**kept)
    assert stop_fault(finding) is None


@pytest.mark.parametrize(
    "columns",
    [
        {"closed_at": NOW}, {"remedy": "sound"}, {"lowered_at": NOW}, {"lower_reason": "so"},
        {"closed_at": NOW, "remedy": "sound", "close_reason": "so"},
    ],
)  # fmt: skip
def test_the_database_keeps_half_a_decision_out(cast, columns):
    finding = record_finding(cast.technician)
    with pytest.raises(IntegrityError), transaction.atomic():
        Finding.objects.filter(pk=finding.pk).update(**columns)


def test_the_database_has_another_person_decide(cast):
    finding = record_finding(cast.technician)
    closed = {"closed_at": NOW, "closed_by": cast.technician, "remedy": "sound", "close_reason": "so"}
    with pytest.raises(IntegrityError), transaction.atomic():
        Finding.objects.filter(pk=finding.pk).update(**closed)
