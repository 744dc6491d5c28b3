import json

import pytest
from django.core.management import CommandError, call_command
from django.db import DatabaseError, transaction
from django.test.utils import override_settings

from inspections.domain.machine_reading import MachineShows
from inspections.services import machine_checks, maintenance, setup, signing
from reels.models import HistoryEntry, TaskRun
from reels.services import register
from reels.services.history import Actor
from reports.apps import seal_is_there
from reports.models import ArchivedPdf
from reports.pdf.examination import attached_files
from reports.pdf.facts import RECORD, SITUATION
from reports.services import archive
from reports.services.archive import archive_reel, stale_facts
from tests import builders
from tests.builders import NOW, Cast, by_administrator, later
from tests.reports.documented import committed, documents, signed
from tests.worker import work_off

pytestmark = pytest.mark.django_db


@pytest.fixture
def cast():
    return Cast.as_needed()


def acts(inspection):
    return [entry.act for entry in HistoryEntry.objects.filter(chain=inspection.reel.chain).order_by("seq")]


def situation(row):
    return json.loads(attached_files(bytes(row.content))[SITUATION])


def test_a_document_is_kept_once_both_have_signed(cast):
    inspection = signed(cast)
    [kept] = documents(inspection)
    assert acts(inspection)[-3:] == ["signed", "signed", "archived"]
    assert kept.drawn_up_at == NOW
    assert kept.record_digest == inspection.record.digest
    assert attached_files(bytes(kept.content))[RECORD] == bytes(inspection.record.content)


def test_its_digests_are_in_the_history_and_its_bytes_are_not(cast):
    inspection = signed(cast)
    [kept] = documents(inspection)
    entry = HistoryEntry.objects.filter(chain=inspection.reel.chain).latest("seq")
    [change] = json.loads(bytes(entry.content))["changes"]
    assert (change["table"], change["after"]["digest"]) == ("reports_archivedpdf", kept.digest)
    assert change["after"]["unsealed_digest"] == kept.unsealed_digest
    assert "content" not in change["after"]


def test_each_change_that_shows_is_kept_as_a_further_document(cast):
    inspection = signed(cast)
    with committed():
        values = builders.issued(cast)
    with committed():
        builders.confirmed(cast, values)
    shown = [len(situation(row)["setup_values"]) for row in documents(inspection)]
    assert shown == [0, 1, 1]
    assert situation(documents(inspection)[-1])["setup_values"][0]["confirmed_by"]["name"] == "Cora Lynd"
    with committed():
        builders.log_cut(cast, at=later(days=1))
    newest = documents(inspection)[-1]
    assert situation(newest)["setup_values"][0]["withdrawn_why"].startswith("cut on 2026-03-03")
    assert [row.number for row in documents(inspection)] == [1, 2, 3, 4]


def test_an_act_that_shows_on_no_document_keeps_none(cast):
    inspection = signed(cast)
    with committed():
        builders.open_count(cast, at=later(days=1))
        maintenance.place_hold(serial="LW-0001", reason="rust", actor=Actor(cast.control), at=later(days=1))
    assert len(documents(inspection)) == 1


def test_until_when_the_count_is_current_and_what_ended_it_show(cast):
    register.change(builders.make_type(), count_days=30, **by_administrator())
    inspection = signed(cast)
    with committed():
        builders.log_event(cast, "used", at=later(hours=1))  # which ends no count of this type
    assert [situation(row)["count"] for row in documents(inspection)] == [
        {"current_until": "2026-04-01T09:00:00.000000Z", "ended_at": None, "why": ""}
    ]
    with committed():
        event = builders.log_event(cast, "respooled", at=later(hours=2))
    ended = situation(documents(inspection)[-1])["count"]
    assert (ended["ended_at"], ended["why"]) == ("2026-03-02T11:00:00.000000Z", "this was recorded: re-spooled")
    with committed():
        maintenance.reverse_reel_event(serial="LW-0001", event_id=event.pk, remark="another reel",
                                       actor=Actor(cast.control), at=later(hours=3))  # fmt: skip
    assert [situation(row)["count"]["why"] for row in documents(inspection)] == [
        "",
        "this was recorded: re-spooled",
        "",
    ]
    assert stale_facts(inspection.reel, later(days=300)) == []  # that the days are over is told by the day itself


def test_a_count_that_nothing_ends_and_a_type_without_limits_add_nothing(cast):
    assert {"count", "life"}.isdisjoint(situation(documents(signed(cast))[0]))


def test_what_was_spent_of_the_lives_when_it_was_counted_shows(cast):
    register.change(builders.make_type(), cable_uses_hard=20, reel_days_soft=900, **by_administrator())
    builders.make_reel()
    builders.log_event(cast, "used", at=later(hours=-1), uses=3)
    with committed():
        inspection = builders.signed_count(cast)
        builders.log_event(cast, "used", at=later(hours=1), uses=4)
    assert [situation(row)["life"] for row in documents(inspection)] == [[
        {"name": "Uses of the cable", "spent": "3 uses; at most 20"},
        {"name": "Age of the reel", "spent": "731 days; warned from 900"},
    ]]  # fmt: skip


def test_what_was_read_on_the_machine_shows_beside_what_was_expected(cast):
    inspection = signed(cast)
    values = builders.confirmed(cast, builders.issued(cast))
    with committed():
        machine_checks.record_check(setup_id=values.pk, kind="first_use", passed=True, remark="", at=later(hours=1),
                                    shown=MachineShows(layers=12, wraps=9), actor=Actor(cast.setter))  # fmt: skip
    [check] = situation(documents(inspection)[-1])["setup_values"][0]["checks"]
    read = {
        name: check["reading"][name] for name in ("layers", "wraps", "expected_layers", "expected_wraps", "more_turns")
    }
    assert read == {"layers": 12, "wraps": 9, "expected_layers": 12, "expected_wraps": "10.000", "more_turns": "-1.000"}


def test_a_void_shows_from_when_it_is_asked_for(cast):
    inspection = signed(cast)
    with committed():
        signing.request_void(
            inspection_id=inspection.pk, reason="wrong reel", actor=Actor(cast.verifier), at=later(hours=1)
        )
    with committed():
        signing.confirm_void(inspection_id=inspection.pk, actor=Actor(cast.releaser), at=later(hours=2))
    situations = [situation(row) for row in documents(inspection)]
    assert [each["state"] for each in situations] == ["signed", "signed", "voided"]
    assert [bool(each["void"] and each["void"]["confirmed_by"]) for each in situations] == [False, False, True]


def test_what_is_kept_is_not_drawn_up_again(cast):
    inspection = signed(cast)
    assert archive_reel(inspection.reel, actor=Actor(cast.control), at=later(days=30)) == []
    assert stale_facts(inspection.reel, later(days=30)) == []


def test_what_is_kept_cannot_be_changed_or_removed(cast):
    [kept] = documents(signed(cast))
    rows = ArchivedPdf.objects.filter(pk=kept.pk)
    for spoil in (lambda: rows.update(content=b"x"), lambda: rows._raw_delete("default")):
        with pytest.raises(DatabaseError), transaction.atomic():
            spoil()


def test_a_seal_that_is_missing_undoes_no_signature_and_is_caught_up_with(cast, capsys, caplog):
    builders.make_reel()
    with override_settings(SEAL_KEY_FILE="/nowhere/key.pem", WRAPLEDGER_ENV="production"), committed():
        inspection = builders.signed_count(cast)
        [warning] = seal_is_there()
    assert "SealMissing" in caplog.text
    assert warning.id == "reports.W001"
    assert inspection.state == "signed"
    assert documents(inspection) == []
    call_command("archive_inspections")
    assert len(documents(inspection)) == 1
    call_command("archive_inspections")
    assert capsys.readouterr().out.splitlines() == [
        "LW-0001: 1 kept", "1 document kept; nothing else was missing.", "Nothing was missing.",
    ]  # fmt: skip


def test_the_command_says_why_it_cannot(cast):
    builders.make_reel()
    builders.signed_count(cast)
    nowhere = override_settings(SEAL_KEY_FILE="/nowhere/key.pem", WRAPLEDGER_ENV="production")
    with nowhere, pytest.raises(CommandError, match="make_seal_key"):
        call_command("archive_inspections")


def test_a_reel_that_changed_while_its_document_was_drawn_gets_one_that_shows_it(cast, monkeypatch):
    builders.make_reel()
    inspection = builders.signed_count(cast)
    drawn = archive._draw_up

    def slowly(facts, at):
        if not inspection.setup_values.exists():
            builders.issued(cast)  # somebody else, meanwhile
        return drawn(facts, at)

    monkeypatch.setattr(archive, "_draw_up", slowly)
    [kept] = archive_reel(inspection.reel, actor=Actor(cast.control), at=NOW)
    assert len(situation(kept)["setup_values"]) == 1


def test_looking_for_what_is_stale_costs_the_same_for_one_inspection_as_for_three(cast, count_queries):
    inspection = signed(cast)
    builders.issued(cast)
    reel = inspection.reel
    one = count_queries(lambda: stale_facts(reel, NOW))
    builders.signed_count(cast, at=later(days=1))
    builders.issued(cast, at=later(days=1))
    builders.signed_count(cast, at=later(days=2))
    assert count_queries(lambda: stale_facts(reel, NOW)) == one == 11


def test_withdrawing_by_hand_shows_too(cast):
    inspection = signed(cast)
    with committed():
        values = builders.issued(cast)
        setup.withdraw(setup_id=values.pk, reason="other machine", actor=Actor(cast.control), at=later(hours=1))
    assert situation(documents(inspection)[-1])["setup_values"][0]["withdrawn_why"] == "other machine"


def test_what_is_left_to_the_worker_is_drawn_by_it(cast):
    """As the demo leaves the documents of a month that is played at once."""
    with archive.left_to_worker():
        inspection = signed(cast)
    assert not ArchivedPdf.objects.exists()
    archive.have_archived(cast.control)
    work_off()
    assert [row.inspection for row in ArchivedPdf.objects.all()] == [inspection]
    assert TaskRun.objects.get(key="documents").state == "done"
