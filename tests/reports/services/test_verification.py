"""Whoever owns the database can drop its guards and change any row; checking the records finds it.

What is not found this way: what was never recorded; a password, or when somebody logged in (histories never tell
them); the answers kept for scripts; and a whole history written anew with its rows, which takes a checkpoint that is
kept elsewhere (test_tamper_study.py).
"""

import re
from datetime import timedelta
from threading import Thread
from typing import Any

import pytest
from django.apps import apps
from django.core.management import call_command
from django.db import connection, models

from inspections.domain.findings import DETAILS
from inspections.models import Keying, SignOff
from reels.access import lock_register
from reels.domain import ledger
from reels.models import (
    Alarm,
    Chain,
    CheckpointMade,
    EndsNode,
    EntriesBlock,
    FeedPlace,
    HistoryEntry,
    Reel,
    Site,
    Submission,
)
from reels.services import checkpoints, feed
from reels.services.history import Actor, record_act
from reports.services.verification import UNRECORDED, check_records
from tests import builders, stories
from tests.builders import NOW, Cast, administrator
from tests.reports.tampering import broken_by, delete, edit, other, rewritten, story

__all__ = ["story"]

TOLD = [model for model in apps.get_models() if getattr(model, "kept", None) and model not in UNRECORDED]
HIDDEN_FOR_GOOD = {("reels_person", "password"), ("reels_person", "last_login"), ("reels_apitoken", "digest"),
                   ("reels_apitoken", "last_used_at"), ("reels_secondfactor", "secret"),
                   ("reels_secondfactor", "last_step"), ("reels_recoverycode", "digest"),
                   ("reels_recoverycode", "used_at"), ("reels_loginlink", "digest")}  # fmt: skip


# Every kind of row --------------------------------------------------------------------------------------------------


def test_a_change_of_any_column_of_any_kind_of_row_is_found(story):
    unseen = set()
    for model in TOLD:
        row = model._base_manager.order_by("pk").last()
        for field in model._meta.concrete_fields[1:]:
            value = other(field, getattr(row, field.attname))
            if not broken_by(edit, row, field.attname, value):
                unseen.add((model._meta.db_table, field.column))
    assert unseen == HIDDEN_FOR_GOOD


def test_a_row_of_any_kind_that_is_gone_is_found(story):
    for model in TOLD:
        row = model._base_manager.latest("pk")
        assert broken_by(delete, row).endswith("the history tells of it, and it is gone"), model


def test_a_row_of_any_kind_that_was_put_in_is_found(story):
    for model in TOLD:
        assert broken_by(insert_like, model).endswith("no history tells of it"), model


@pytest.mark.django_db
def test_rules_that_were_confirmed_as_they_may_not_be_are_found_though_the_history_tells_it():
    """By a service that is not ours: the history is whole, and what it tells should not be."""
    row = builders.source_rules(builders.make_type(is_confirmed=False))
    for columns, why in (({"rules_confirmed_by": administrator()}, "who wrote some of them"),
                         ({"rules_confirmed_by": builders.second_administrator(), "rule_sources": {}},
                          "none says where these are written: lead, arc,")):  # fmt: skip
        with record_act(lock_register(), "rules_confirmed", Actor(administrator()), NOW) as act:
            act.change(row, rules_confirmed_at=NOW, **columns)
        broken = check_records().broken
        assert broken
        assert why in str(broken)


def insert_like(model: type[models.Model]) -> None:
    """A row like the newest one, with other values where they must be different."""
    row: Any = model._base_manager.order_by("pk").last()
    unique = [each for each in model._meta.constraints if isinstance(each, models.UniqueConstraint)]
    together = {name for each in unique for name in each.fields}
    for field in model._meta.concrete_fields:
        if (field.unique or field.name in together) and not field.primary_key:
            value = getattr(row, field.attname)
            if value is None and field.is_relation:
                continue  # as often as one likes
            setattr(row, field.attname, value + 1000 if field.is_relation else other(field, value))
    row.pk += 1000
    row.save(force_insert=True)


@pytest.mark.parametrize("model", [Site, SignOff, Keying, Reel])
def test_two_rows_that_change_places_are_found(story, model):
    if model in (Site, Reel):
        builders.make_reel("LW-0002")
    one, two = model._base_manager.order_by("pk")[:2]
    far = 10**6

    def swap() -> None:
        for now, then in ((one.pk, far), (two.pk, one.pk), (far, two.pk)):
            model._base_manager.filter(pk=now).update(id=then)

    assert broken_by(swap)


# Histories ----------------------------------------------------------------------------------------------------------


def test_a_change_of_any_column_of_a_history_or_chain_is_found(story):
    for model, rows in ((HistoryEntry, HistoryEntry.objects.order_by("id")), (Chain, Chain.objects.order_by("id"))):
        for row in (rows.first(), rows.last()):
            for field in model._meta.concrete_fields[1:]:
                value = other(field, getattr(row, field.attname))
                assert broken_by(edit, row, field.attname, value), field


def test_an_entry_that_is_gone_is_found_wherever_it_stood(story):
    for row in Reel.objects.get().chain.entries.all():
        assert broken_by(delete, row)


def test_a_history_cut_short_at_its_end_is_found_by_the_rows_it_told(story):
    chain = Reel.objects.get().chain
    last = chain.entries.latest("seq")

    def cut_short() -> None:
        delete(last)
        edit(chain, "length", chain.length - 1)
        edit(chain, "head", last.prev)

    assert broken_by(cut_short)


def test_an_entry_or_a_chain_that_was_put_in_is_found(story):
    assert "it has no entries" in broken_by(lambda: Chain.objects.create(name="reel:LW-9999"))
    last = HistoryEntry.objects.latest("id")
    copy = HistoryEntry(chain=last.chain, seq=last.seq + 1, at=NOW, act="x", prev=last.digest, digest="0" * 64)
    copy.content = last.content
    assert broken_by(lambda: copy.save(force_insert=True))


def test_entries_of_no_chain_are_found(story):
    def orphan() -> None:
        copy = HistoryEntry.objects.latest("id")
        copy.pk, copy.chain_id, copy.digest = copy.pk + 1, 10**6, "0" * 64
        copy.save(force_insert=True)

    assert "of them belong to a chain" in broken_by(orphan)


def test_an_entry_written_anew_with_its_digest_is_found_by_the_next_one(story):
    row = HistoryEntry.objects.filter(chain__name="register").earliest("seq")
    content = bytes(row.content).replace(b"Ada Minder", b"Eve Minder")

    def rewrite() -> None:
        edit(row, "content", content)
        edit(row, "digest", ledger.digest(content))

    assert "register entry 2: it follows" in broken_by(rewrite)


def test_a_chain_written_anew_is_found_when_its_rows_say_otherwise(story):
    chain = Reel.objects.get().chain

    def earlier(entry: dict[str, Any]) -> None:
        for each in entry["changes"]:
            if each["table"] == "reels_cableevent":
                each["after"]["length_removed_m"] = "1.000"

    assert "its length_removed_m is '12.500'; the history says '1.000'" in broken_by(rewritten, chain, earlier)


def test_a_revealed_value_that_is_not_what_was_committed_to_is_found(story):
    chain = Reel.objects.get().chain

    def other_value(entry: dict[str, Any]) -> None:
        for fact in entry["facts"].get("revealed", []):
            fact["value"] = 15 if fact["value"] == 13 else fact["value"]

    def none_told(entry: dict[str, Any]) -> None:
        entry["facts"]["revealed"] = [{"keying": 10**6, "value": 1, "salt": ""}]

    assert "it reveals 15 for keying" in broken_by(rewritten, chain, other_value)
    assert "which was never told" in broken_by(rewritten, chain, none_told)


def test_a_table_that_is_not_kept_and_a_row_that_two_histories_tell_of_are_found(story):
    def sessions(entry: dict[str, Any]) -> None:
        entry["changes"].append({"table": "django_session", "id": entry["seq"], "before": None, "after": {}})

    chain = Reel.objects.get().chain
    assert "it tells of a table 'django_session'" in broken_by(rewritten, chain, sessions)

    def tell_twice() -> None:
        site = Site.objects.earliest("id")
        with record_act(chain, "x", Actor(administrator()), NOW) as act:
            act.note(site, None, {"code": site.code, "name": site.name, "time_zone": site.time_zone})

    assert "two histories tell of it" in broken_by(tell_twice)


def test_a_change_past_the_services_is_found_even_when_a_service_changes_the_row_again(story):
    site = Site.objects.get(code="kettle-point")

    def past_and_again() -> None:
        edit(site, "name", "Ketttle Point")
        with record_act(lock_register(), "site_changed", Actor(administrator()), NOW) as act:
            act.change(Site.objects.get(pk=site.pk), name="Kettle Head")

    assert "had name 'Ketttle Point'; told was 'Kettle Point'" in broken_by(past_and_again)


# Places and checkpoints ---------------------------------------------------------------------------------------------


def test_an_entry_without_a_place_in_the_order_of_all_is_found(story):
    broken = broken_by(delete, FeedPlace.objects.latest("entry__id"))
    assert broken.endswith("it has no place in the order of all entries")


def test_a_place_that_is_missing_from_the_order_is_found(story):
    feed.number_waiting()
    last = FeedPlace.objects.latest("number")
    n = last.number
    assert n is not None
    assert f"place {n} is missing; the next one is {n + 1}" in broken_by(edit, last, "number", n + 1)


def test_a_change_of_any_column_of_a_checkpoint_is_found(story):
    row = checkpoints.make(NOW + timedelta(days=400))
    for field in CheckpointMade._meta.concrete_fields[1:]:
        assert broken_by(edit, row, field.attname, other(field, getattr(row, field.attname))), field


# The whole of it ----------------------------------------------------------------------------------------------------


def test_what_no_history_tells_of_is_what_is_said_above():
    assert set(UNRECORDED) == {
        Chain,
        HistoryEntry,
        FeedPlace,
        CheckpointMade,
        EndsNode,
        EntriesBlock,
        Submission,
        Alarm,
    }
    hidden = {(m._meta.db_table, name) for m in TOLD for name in getattr(m, "hidden_columns", ())}
    by_digest = {("inspections_keying", "value"), ("inspections_keying", "salt"), ("inspections_signoff", "statement"),
                 ("inspections_thirdreading", "value"), ("inspections_thirdreading", "salt"),
                 ("inspections_inspectionrecord", "content"), ("reports_archivedpdf", "content"),
                 ("inspections_photo", "content"), ("inspections_findingphoto", "content"),
                 ("inspections_learnedrates", "values"),
                 ("reports_noticeaddress", "address"), ("reports_noticeaddress", "salt"),
                 *(("inspections_finding", name) for name in (*DETAILS, "salt"))}  # fmt: skip
    assert hidden == HIDDEN_FOR_GOOD | by_digest


def test_it_says_how_much_was_checked_and_how_far_it_is(db, monkeypatch):
    monkeypatch.setattr("reports.services.verification.run.AT_ONCE", 3)
    stories.one_of_each(Cast())
    seen: list[tuple[int, int]] = []
    checked = check_records(lambda done, of: seen.append((done, of)))
    rows = sum(model._base_manager.count() for model in TOLD)
    assert (checked.chains, checked.entries, checked.rows, checked.signatures, checked.broken) == (
        4, HistoryEntry.objects.count(), rows, 2, None,
    )  # fmt: skip
    assert seen == [(3, 4), (4, 4)]


@pytest.mark.django_db(transaction=True)
def test_it_reads_one_moment_and_keeps_no_writer_waiting():
    Cast()

    def somebody_writes(done: int, of: int) -> None:
        writer = Thread(target=add_a_site)
        writer.start()
        writer.join()

    checked = check_records(somebody_writes)
    assert (checked.chains, checked.broken) == (1, None)
    assert Site.objects.filter(code="elsewhere").exists()
    assert check_records().entries == checked.entries + 1


def add_a_site() -> None:
    try:
        builders.make_site("elsewhere", "Elsewhere")
    finally:
        connection.close()


def test_an_empty_database_is_whole(db):
    checked = check_records()
    assert (checked.chains, checked.broken) == (0, None)


def test_the_check_reads_as_often_for_many_rows_as_for_few(db, count_queries):
    builders.make_site()
    few = count_queries(check_records)
    for number in range(20):
        builders.make_site(f"site-{number}", f"Site {number}")
    assert count_queries(check_records) == few


def test_the_command_ends_0_when_whole_and_1_naming_the_first_break(db, capsys):
    cast, _ = Cast.as_needed(), builders.make_reel()
    builders.signed_count(cast)
    entries = HistoryEntry.objects.count()
    call_command("verify_records")
    printed = capsys.readouterr()
    assert printed.out == f"2 chains, {entries} entries, 2 signatures: whole\n"
    assert printed.err.splitlines()[-1] == "2 of 2 chains checked (100 %)"
    site = Site.objects.get(code="kettle-point")
    Site.objects.filter(pk=site.pk).update(name="Elsewhere")
    with pytest.raises(SystemExit) as ended:
        call_command("verify_records")
    assert ended.value.code == 1
    why = f"register, site {site.pk}: its name is 'Elsewhere'; the history says 'Kettle Point'"
    assert capsys.readouterr().out.splitlines()[1:] == [why]


def test_the_command_checks_the_documents_too(story, capsys):
    with pytest.raises(SystemExit):
        call_command("verify_records")  # the story's document is no PDF
    assert re.search(r"^inspection \d+, document 1: ", capsys.readouterr().out, re.MULTILINE)


def test_the_lock_of_the_feed_is_no_history_without_entries(db):
    builders.make_site()
    feed.number_waiting()
    assert check_records().broken is None
