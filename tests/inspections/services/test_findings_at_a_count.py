"""What a finding does to the count at which it is recorded, and to whom its place is told meanwhile."""

import json
from datetime import timedelta

import pytest

from inspections.access import releasing
from inspections.domain.findings import ReelPart, Remedy
from inspections.domain.words import Act, InspectionState, Meaning, Point, ReelStatus, Role
from inspections.errors import CountLapsed, FindingMissing, StopFindingOpen
from inspections.models import Finding, InspectionRecord
from inspections.queries.findings import findings_in_count, seen_by
from inspections.services import counting, signing
from reels.domain import ledger
from reels.services.history import Actor
from tests import builders
from tests.builders import NOW, make_finding_kind, record_finding
from tests.inspections.domain.photo_files import PNG_BYTES
from tests.inspections.services.finding_steps import close, entry, lower, reel, state_of

# At a count ---------------------------------------------------------------------------------------------------------


def _key(cast, inspection, person=None, role=Role.TECHNICIAN):
    counting.key(
        inspection_id=inspection.pk, point=Point.SERIAL, role=role, fields={"serial": "LW-0001"},
        actor=Actor(person or cast.technician), at=NOW,
    )  # fmt: skip


def test_a_stop_freezes_an_open_count(cast):
    inspection = builders.open_count(cast, has_gauge=False)
    assert record_finding(cast.verifier).inspection == inspection
    with pytest.raises(StopFindingOpen):
        _key(cast, inspection)
    with pytest.raises(StopFindingOpen):
        builders.read(cast, inspection)
    with pytest.raises(StopFindingOpen):
        builders.take_gauge(cast, inspection)
    assert state_of(inspection) == InspectionState.OPEN


@pytest.mark.parametrize("decide", [lower, close])
def test_lowered_or_closed_without_work_on_the_cable_it_goes_on(cast, decide):
    inspection = builders.open_count(cast)
    decide(cast.releaser, record_finding(cast.verifier))
    assert state_of(builders.read(cast, inspection)) == InspectionState.AWAITING_SIGN_OFF


def test_a_watch_lets_it_go_on(cast):
    inspection = builders.open_count(cast)
    record_finding(cast.technician, severity="watch")
    assert state_of(builders.read(cast, inspection)) == InspectionState.AWAITING_SIGN_OFF


@pytest.mark.parametrize("severity", ["stop", "watch"])
def test_closed_by_a_re_spooling_it_ends_whatever_it_was(cast, severity):
    inspection = builders.open_count(cast)
    finding = record_finding(cast.verifier, severity=severity)
    close(cast.releaser, finding, Remedy.RESPOOLED)
    assert state_of(inspection) == InspectionState.CANCELLED
    assert inspection.end_reason == f"Finding {finding.pk} was closed: the cable was re-spooled. looked at"


def test_a_referred_count_ends_with_its_referral(cast):
    inspection = builders.open_count(cast)
    counting.ask_for_help(inspection_id=inspection.pk, remark="?", actor=Actor(cast.technician), at=NOW)
    builders.log_cut(cast)
    close(cast.releaser, record_finding(cast.verifier, at=NOW), Remedy.CUT)
    assert state_of(inspection) == InspectionState.CANCELLED
    assert inspection.referrals.get().decision == "cancelled"


def test_nothing_is_signed_or_read_again_while_a_stop_is_open(cast):
    inspection = builders.read(cast, builders.open_count(cast))
    builders.return_gauge(cast, inspection.pk)
    finding = record_finding(cast.verifier)
    with pytest.raises(StopFindingOpen):
        signing.sign(inspection_id=inspection.pk, meaning=Meaning.COUNTED, password=builders.PASSWORD,
                     actor=Actor(cast.technician), at=NOW)  # fmt: skip
    with pytest.raises(StopFindingOpen):
        counting.read_again(inspection_id=inspection.pk, reason="?", actor=Actor(cast.technician), at=NOW)
    close(cast.releaser, finding)
    assert builders.sign_both(cast, inspection).state == InspectionState.SIGNED


def test_no_count_is_begun_and_nothing_is_issued_while_a_stop_is_open(cast):
    builders.signed_count(cast)
    finding = record_finding(cast.control)
    with pytest.raises(StopFindingOpen):
        builders.open_count(cast)
    with pytest.raises(StopFindingOpen):
        builders.issued(cast)
    close(cast.releaser, finding)
    assert builders.issued(cast).layers == 12


def test_closed_by_work_no_count_from_before_is_a_source_of_values(cast):
    builders.signed_count(cast)
    finding = record_finding(cast.control)
    close(cast.releaser, finding, Remedy.RESPOOLED, at=NOW + timedelta(hours=1))
    assert reel().status == ReelStatus.AWAITING_COUNT
    with pytest.raises(CountLapsed, match=r"the cable was re-spooled\. Count the reel again"):
        builders.issued(cast, at=NOW + timedelta(hours=2))
    builders.signed_count(cast, at=NOW + timedelta(hours=3))
    assert reel().status == ReelStatus.COUNTED
    assert builders.issued(cast, at=NOW + timedelta(hours=4)).pk


def test_a_watch_that_is_closed_by_work_withdraws_what_is_in_force(cast):
    builders.signed_count(cast)
    values = builders.issued(cast)
    finding = record_finding(cast.control, severity="watch")
    close(cast.releaser, finding, Remedy.RESPOOLED)
    values.refresh_from_db()
    assert values.withdrawn_why == f"finding {finding.pk} was closed: the cable was re-spooled"


# Blind --------------------------------------------------------------------------------------------------------------


def _told(finding, person, at=NOW):
    seen = Finding.objects.select_related("inspection", "photo", "reel__type").get(pk=finding.pk)
    [row] = seen_by([seen], person, releasing(person, at))
    return row.is_told


def test_where_it_lies_is_told_to_nobody_who_has_still_to_read(cast):
    inspection = builders.open_count(cast)
    finding = record_finding(cast.technician, severity="watch")
    told = json.dumps(entry("finding_recorded"))
    assert "a kink" not in told
    assert '"layer"' not in told
    shown = {who: _told(finding, getattr(cast, who)) for who in ("technician", "verifier", "control", "releaser")}
    assert shown == {"technician": True, "verifier": False, "control": False, "releaser": True}
    builders.read(cast, inspection)
    assert _told(finding, cast.verifier)
    assert entry("reading_recorded")["facts"]["findings"][0]["details"]["layer"] == 12


def test_who_takes_part_is_not_told_for_being_authorised_to_decide(cast):
    builders.authorise(cast.verifier, Act.RELEASE, site=builders.make_site())
    inspection = builders.open_count(cast)
    _key(cast, inspection, cast.verifier, Role.VERIFIER)
    assert not _told(record_finding(cast.technician, severity="watch"), cast.verifier)


def test_a_referred_count_stays_blind_and_one_that_ends_tells(cast):
    inspection = builders.open_count(cast)
    finding = record_finding(cast.technician, severity="watch")
    counting.ask_for_help(inspection_id=inspection.pk, remark="?", actor=Actor(cast.technician), at=NOW)
    assert not _told(finding, cast.verifier)
    counting.cancel(inspection_id=inspection.pk, reason="?", actor=Actor(cast.technician), at=NOW)
    assert _told(finding, cast.verifier)
    assert entry("count_cancelled")["facts"]["findings"][0]["finding"] == finding.pk


def test_the_findings_of_a_count_are_those_at_it_and_those_that_were_open_when_it_began(cast):
    closed = close(cast.releaser, record_finding(cast.technician, severity="watch"))
    still_open = record_finding(cast.technician, severity="watch")
    inspection = builders.open_count(cast, at=NOW + timedelta(hours=1))
    at_it = record_finding(cast.technician, severity="watch", at=NOW + timedelta(hours=2))
    builders.read(cast, inspection, at=NOW + timedelta(hours=2))
    close(cast.releaser, still_open, at=NOW + timedelta(hours=3))
    counting.cancel(inspection_id=inspection.pk, reason="?", actor=Actor(cast.technician), at=NOW + timedelta(hours=3))
    record_finding(cast.technician, severity="watch", at=NOW + timedelta(hours=4))
    assert list(findings_in_count(inspection)) == [still_open, at_it]
    assert closed.pk < still_open.pk


# Before the first reading -------------------------------------------------------------------------------------------


def test_what_was_not_sound_has_its_finding_before_anything_is_keyed(cast):
    inspection = builders.open_count(cast, has_gauge=False, cable_sound=False, scales_sound=False)
    with pytest.raises(FindingMissing, match="not sound: cable, scales"):
        _key(cast, inspection)
    with pytest.raises(FindingMissing):
        builders.read(cast, inspection)
    record_finding(cast.technician, severity="watch")
    with pytest.raises(FindingMissing, match="not sound: scales"):
        _key(cast, inspection)
    make_finding_kind("worn", ReelPart.SCALES)
    record_finding(cast.verifier, part="scales", kind="worn", severity="watch")
    _key(cast, inspection)


def test_a_watch_that_is_known_of_the_part_is_finding_enough(cast):
    record_finding(cast.technician, severity="watch", at=NOW - timedelta(days=1))
    inspection = builders.open_count(cast, has_gauge=False, cable_sound=False)
    _key(cast, inspection)


def test_a_closed_one_is_not(cast):
    close(cast.releaser, record_finding(cast.technician, at=NOW - timedelta(days=1)), at=NOW - timedelta(hours=1))
    inspection = builders.open_count(cast, has_gauge=False, cable_sound=False)
    with pytest.raises(FindingMissing):
        _key(cast, inspection)


def test_signatures_bind_what_was_found_sound_and_every_finding_of_the_count(cast):
    inspection = builders.open_count(cast, cable_sound=False)
    finding = record_finding(cast.technician, photo=PNG_BYTES)
    lower(cast.releaser, finding)
    builders.sign_both(cast, builders.read(cast, inspection))
    record = json.loads(bytes(InspectionRecord.objects.get(inspection=inspection).content))
    judged = {part: record["preparation"][f"{part}_sound"] for part in ReelPart}
    assert judged == {**dict.fromkeys(ReelPart, True), ReelPart.CABLE: False}
    [kept] = record["findings"]
    assert (kept["finding"], kept["severity"], kept["layer"], kept["words"]) == (finding.pk, "watch", 12, "a kink")
    assert kept["lowered_by"]["username"] == "rhea"
    assert kept["photo"] == ledger.digest(PNG_BYTES)
    assert record["v"] == 6
