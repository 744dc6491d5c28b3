"""What whoever owns the database can do to it, and who finds it: the service's own check, or a checkpoint kept outside.

On a small database with a row of every kind, the guards dropped, every attack below is made. Two look afterwards:

- the service: `verify_records`, over the rows, histories, signatures, and checkpoints as they now stand;
- an outsider: check_records.py with yesterday's checkpoint, today's, and the proof between them. The attacker has the
  service's key too, has thrown away the checkpoints that were kept here, and makes today's after the attack.

The table in deploy/handbook/records.md is what this finds, line by line.
"""

import importlib.util
import json
import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
from django.apps import apps
from django.db import connection, models, transaction

from inspections.models import InspectionRecord, Keying, SignOff
from inspections.services.status_rows import rebuild_status_rows
from reels.domain import checkpoint, ledger
from reels.models import ApiToken, Chain, CheckpointMade, EndsNode, FeedPlace, HistoryEntry, Person, Reel, Submission
from reels.services import checkpoints
from reels.services.checkpoint_key import checkpoint_key
from reports.services.verification import UNRECORDED, check_records
from tests import builders, stories
from tests.builders import Cast, later
from tests.reports.tampering import drop_guards

HANDBOOK = Path(__file__).resolve().parents[2] / "deploy" / "handbook"
SERVICE, OUTSIDER = "service", "outsider"


def stand_alone() -> ModuleType:
    spec = importlib.util.spec_from_file_location("check_records", HANDBOOK / "check_records.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


CHECKER = stand_alone()


@dataclass(frozen=True, slots=True)
class AttackedRecords:
    """Yesterday's checkpoint, and what the attacks need to know."""

    yesterday: str
    reel: Reel
    unsigned: int


@pytest.fixture
def records(db):
    cast = Cast()
    stories.one_of_each(cast)
    builders.make_reel("LW-0002")
    builders.make_reel("LW-0003")
    unsigned = builders.open_count(cast, "LW-0003", at=later(days=5)).pk
    builders.signed_count(cast, "LW-0002", at=later(days=5))
    yesterday = checkpoints.make(later(days=6)).text
    drop_guards()
    return AttackedRecords(yesterday=yesterday, reel=Reel.objects.get(serial="LW-0001"), unsigned=unsigned)


# Who looks ----------------------------------------------------------------------------------------------------------


def found_by(records: AttackedRecords, attack: Callable[[AttackedRecords], None]) -> set[str]:
    """Who finds it. The attack is undone afterwards."""
    with transaction.atomic():
        attack(records)
        for _ in rebuild_status_rows():  # the attacker's command as well, so that these rows give nobody away
            pass
        finders = {SERVICE} if check_records().broken else set()
        if outsider_finds(records.yesterday):
            finders.add(OUTSIDER)
        transaction.set_rollback(True)
    return finders


def outsider_finds(yesterday: str) -> bool:
    """Whether the stand-alone checker finds that today's records do not begin with yesterday's."""
    delete(CheckpointMade.objects.all())
    delete(EndsNode.objects.all())
    today = checkpoints.make(later(days=7))
    key = checkpoint.public_hex(checkpoint_key())
    earlier, later_one = CHECKER.checkpoint(yesterday, key), CHECKER.checkpoint(today.text, key)
    first = min(int(earlier["entries"]), today.entries)
    proof = {"hashes": checkpoints.consistency(first, today.entries).hashes}
    try:
        CHECKER.check_consistency(earlier, later_one, proof)
    except CHECKER.Broken:
        return True
    return False


# How it is done -----------------------------------------------------------------------------------------------------


def edit(rows: "models.QuerySet[Any]", **values: Any) -> None:
    assert rows.update(**values) > 0


def delete(rows: "models.QuerySet[Any]") -> None:
    rows._raw_delete(rows.db)


def written_anew(chain: Chain, change: Callable[[dict[str, Any]], None]) -> None:
    """The whole history with every digest anew."""
    prev = ledger.FIRST_PREV
    for row in chain.entries.order_by("seq"):
        entry = json.loads(bytes(row.content))
        change(entry)
        entry["prev"] = prev
        content = ledger.canonical(entry)
        edit(HistoryEntry.objects.filter(pk=row.pk), content=content, prev=prev, digest=ledger.digest(content))
        prev = ledger.digest(content)
    edit(Chain.objects.filter(pk=chain.pk), head=prev)


def tail_cut(chain: Chain) -> None:
    """The newest entry of a history gone, with the rows that it told and its place."""
    last = chain.entries.latest("seq")
    for each in json.loads(bytes(last.content))["changes"]:
        model = next(m for m in apps.get_models() if m._meta.db_table == each["table"])
        rows = model._base_manager.filter(pk=each["id"])
        delete(rows) if each["before"] is None else edit(rows, **each["before"])
    place = FeedPlace.objects.get(entry=last)
    number = place.number or 0
    delete(FeedPlace.objects.filter(pk=place.pk))
    for row in FeedPlace.objects.filter(number__gt=number).order_by("number"):
        edit(FeedPlace.objects.filter(pk=row.pk), number=(row.number or 0) - 1)
    delete(HistoryEntry.objects.filter(pk=last.pk))
    edit(Chain.objects.filter(pk=chain.pk), length=chain.length - 1, head=last.prev)


def exchanged(one: models.Model, two: models.Model, *names: str, **spare: Any) -> None:
    """Two rows exchange columns; spare: values that are nobody's, where they must be unique."""
    own, theirs = ({name: getattr(row, name) for name in names} for row in (one, two))
    rows = type(one)._base_manager.all()
    edit(rows.filter(pk=one.pk), **(spare or own))
    edit(rows.filter(pk=two.pk), **own)
    edit(rows.filter(pk=one.pk), **theirs)


# Attacks ------------------------------------------------------------------------------------------------------------


def edit_a_row(records: AttackedRecords) -> None:
    edit(Reel.objects.filter(pk=records.reel.pk), serial="LW-0009")


def delete_a_row(records: AttackedRecords) -> None:
    delete(Keying.objects.filter(pk=Keying.objects.latest("pk").pk))


def insert_a_row(records: AttackedRecords) -> None:
    row = Keying.objects.latest("pk")
    row.pk, row.attempt = row.pk + 1, row.attempt + 1
    row.save(force_insert=True)


def sql(statement: str) -> None:
    with connection.cursor() as cursor:
        cursor.execute(statement)


def store_another_form(records: AttackedRecords) -> None:
    """A time that reads as none, but not to a query; on PostgreSQL one without end, which cannot be read."""
    never = "infinity" if connection.vendor == "postgresql" else ""
    sql(f"UPDATE inspections_authorisation SET ended_at = '{never}' WHERE ended_at IS NULL")  # noqa: S608  # our own


def spell_a_time_otherwise(records: AttackedRecords) -> None:
    """The same instant as another spelling, which sorts behind all others; or, on PostgreSQL, another instant."""
    at = "2999-01-01 00:00:00+00" if connection.vendor == "postgresql" else "2026-W10-1T09:00:00"
    sql(f"UPDATE inspections_inspection SET recorded_at = '{at}' WHERE id = {records.unsigned}")  # noqa: S608  # our own


def edit_an_entry(records: AttackedRecords) -> None:
    row = records.reel.chain.entries.earliest("seq")
    edit(HistoryEntry.objects.filter(pk=row.pk), content=bytes(row.content).replace(b"Ada Minder", b"Eve Minder"))


def edit_an_entry_and_its_digest(records: AttackedRecords) -> None:
    row = records.reel.chain.entries.earliest("seq")
    content = bytes(row.content).replace(b"Ada Minder", b"Eve Minder")
    edit(HistoryEntry.objects.filter(pk=row.pk), content=content, digest=ledger.digest(content))


def delete_an_entry(records: AttackedRecords) -> None:
    row = records.reel.chain.entries.get(seq=2)
    delete(FeedPlace.objects.filter(entry=row))
    delete(HistoryEntry.objects.filter(pk=row.pk))


def put_an_entry_between(records: AttackedRecords) -> None:
    last = HistoryEntry.objects.latest("pk")
    chain = records.reel.chain
    row = HistoryEntry(chain=chain, seq=chain.length + 1, at=last.at, act="x", actor=last.actor, prev=chain.head,
                       digest="ab" * 32, content=last.content)  # fmt: skip
    row.save(force_insert=True)
    edit(FeedPlace.objects.filter(number__isnull=False).order_by(), number=models.F("number") + 1000)
    FeedPlace.objects.create(entry=row, number=1)
    for number, place in enumerate(FeedPlace.objects.order_by("number"), start=1):
        edit(FeedPlace.objects.filter(pk=place.pk), number=number)


def exchange_two_entries(records: AttackedRecords) -> None:
    one, two = records.reel.chain.entries.filter(seq__in=(2, 3)).order_by("seq")
    exchanged(one, two, "seq", seq=999)


def exchange_two_places(records: AttackedRecords) -> None:
    one, two = FeedPlace.objects.order_by("number")[:2]
    exchanged(one, two, "number", number=10**6)


def move_a_signature(records: AttackedRecords) -> None:
    one, two = SignOff.objects.filter(meaning="counted").order_by("pk")
    exchanged(one, two, "inspection_id", "participant_id", "record_digest", inspection_id=records.unsigned)


def exchange_two_statements(records: AttackedRecords) -> None:
    one, two = SignOff.objects.filter(meaning="counted").order_by("pk")
    exchanged(one, two, "statement", "digest", digest="0" * 64)


def exchange_two_records(records: AttackedRecords) -> None:
    one, two = InspectionRecord.objects.order_by("pk")
    exchanged(one, two, "content", "digest", digest="0" * 64)


def exchange_two_people(records: AttackedRecords) -> None:
    one, two = Person.objects.filter(username__in=("tess", "vic")).order_by("username")
    exchanged(one, two, "username", "full_name", "staff_number", username="-", staff_number="-")


def write_a_history_anew(records: AttackedRecords) -> None:
    """Consistently: the cut had another length, in the row too."""

    def shorter(entry: dict[str, Any]) -> None:
        for each in entry["changes"]:
            if each["table"] == "reels_cableevent" and each["after"]["kind"] == "cut":
                each["after"]["length_removed_m"] = "1.000"

    written_anew(records.reel.chain, shorter)
    edit(records.reel.cable_events.filter(kind="cut"), length_removed_m="1.000")


def cut_off_what_the_checkpoint_covers(records: AttackedRecords) -> None:
    tail_cut(Chain.objects.get(pk=records.reel.chain_id))


def restore_an_old_backup(records: AttackedRecords) -> None:
    """Whole and true as of some days before: every newer entry is gone, with what it told."""
    newest = FeedPlace.objects.order_by("-number").values_list("entry__chain", flat=True)
    for chain in list(newest[:2]):
        tail_cut(Chain.objects.get(pk=chain))


def edit_a_checkpoint(records: AttackedRecords) -> None:
    row = CheckpointMade.objects.latest("entries")
    edit(CheckpointMade.objects.filter(pk=row.pk), text=row.text.replace("chains: ", "chains: 1"))


def delete_the_checkpoints(records: AttackedRecords) -> None:
    delete(CheckpointMade.objects.all())
    delete(EndsNode.objects.all())


def edit_a_node_of_the_ends(records: AttackedRecords) -> None:
    row = EndsNode.objects.filter(is_leaf=True).latest("pk")
    edit(EndsNode.objects.filter(pk=row.pk), right="ab" * 32)


def cut_off_what_came_since(records: AttackedRecords) -> None:
    builders.log_cut(known("control", "mona"), at=later(days=6, hours=1))
    before = EndsNode.objects.latest("pk").pk
    checkpoints.make(later(days=6, hours=2))
    delete(CheckpointMade.objects.filter(made_at=later(days=6, hours=2)))
    delete(EndsNode.objects.filter(pk__gt=before))
    cut_off_what_the_checkpoint_covers(records)


def known(part: str, username: str) -> Any:
    return type("Known", (), {part: Person.objects.get(username=username)})()


def set_a_password(records: AttackedRecords) -> None:
    edit(Person.objects.filter(username="tess"), password="x")


def edit_a_tokens_secret(records: AttackedRecords) -> None:
    edit(ApiToken.objects.all(), digest="cd" * 32)


def edit_a_kept_answer(records: AttackedRecords) -> None:
    edit(Submission.objects.all(), body=b"{}")


def never_record_it(records: AttackedRecords) -> None:
    """A cut was made and nobody said so."""


BOTH, NEITHER = {SERVICE, OUTSIDER}, set[str]()
STUDY: dict[str, tuple[Callable[[AttackedRecords], None], set[str]]] = {
    "a row edited": (edit_a_row, {SERVICE}),
    "a value stored in a form that the service never writes": (store_another_form, {SERVICE}),
    "a time spelled otherwise": (spell_a_time_otherwise, {SERVICE}),
    "a row deleted": (delete_a_row, {SERVICE}),
    "a row put in": (insert_a_row, {SERVICE}),
    "two people exchanged": (exchange_two_people, {SERVICE}),
    "a signature moved to another record": (move_a_signature, {SERVICE}),
    "the statements of two signatures exchanged": (exchange_two_statements, {SERVICE}),
    "two signed records exchanged": (exchange_two_records, {SERVICE}),
    "a history entry edited": (edit_an_entry, {SERVICE}),
    "a history entry edited, and its digest with it": (edit_an_entry_and_its_digest, BOTH),
    "a history entry deleted": (delete_an_entry, BOTH),
    "a history entry put in before others": (put_an_entry_between, BOTH),
    "two entries of a history exchanged": (exchange_two_entries, {SERVICE}),
    "the places of two entries exchanged": (exchange_two_places, BOTH),
    "a whole history written anew, with its rows": (write_a_history_anew, BOTH),
    "the end of a history cut off, with its rows": (cut_off_what_the_checkpoint_covers, BOTH),
    "an old backup restored": (restore_an_old_backup, BOTH),
    "a checkpoint kept here edited": (edit_a_checkpoint, {SERVICE}),
    "a node of the tree over the ends of histories edited": (edit_a_node_of_the_ends, {SERVICE}),
    "the checkpoints kept here deleted": (delete_the_checkpoints, NEITHER),
    "what was recorded since the checkpoint cut off, with its rows": (cut_off_what_came_since, NEITHER),
    "a password set": (set_a_password, NEITHER),
    "the digest of a token's secret edited": (edit_a_tokens_secret, NEITHER),
    "an answer kept for a script edited": (edit_a_kept_answer, NEITHER),
    "an act never recorded": (never_record_it, NEITHER),
}
# Told by the service only while the checkpoints that are kept here are there; an attacker deletes them.
BY_KEPT_CHECKPOINTS = {
    "the places of two entries exchanged", "a whole history written anew, with its rows",
    "the end of a history cut off, with its rows", "an old backup restored",
}  # fmt: skip


def test_untouched_records_are_found_whole_by_both(records):
    assert found_by(records, never_record_it) == NEITHER


@pytest.mark.parametrize("name", STUDY)
def test_each_attack_is_found_by_whom_the_study_says(records, name):
    attack, expected = STUDY[name]
    assert found_by(records, attack) == expected


@pytest.mark.parametrize("name", STUDY)
def test_without_the_checkpoints_kept_here_the_outsiders_copy_is_what_finds_it(records, name):
    attack, expected = STUDY[name]

    def also_delete_checkpoints(records: AttackedRecords) -> None:
        attack(records)
        delete_the_checkpoints(records)

    gone = name in BY_KEPT_CHECKPOINTS or attack in (edit_a_checkpoint, edit_a_node_of_the_ends)
    assert found_by(records, also_delete_checkpoints) == (expected - {SERVICE} if gone else expected)


def test_every_kind_of_told_row_is_found_when_one_is_gone_with_its_checkpoints(records):
    recorded = [model for model in apps.get_models() if getattr(model, "kept", None) and model not in UNRECORDED]
    for model in recorded:
        newest = model._base_manager.latest("pk").pk

        def remove(records: AttackedRecords, model: Any = model, newest: int = newest) -> None:
            delete(model._base_manager.filter(pk=newest))

        assert SERVICE in found_by(records, remove), model


def test_the_handbooks_table_is_what_was_found():
    rows = re.findall(r"^\| ([^|]+?) \| (yes|no|here) \| (yes|no) \|$", (HANDBOOK / "records.md").read_text(), re.M)
    by_service = {True: "yes", False: "no"}
    expected_rows = [
        (
            name,
            "here" if name in BY_KEPT_CHECKPOINTS else by_service[SERVICE in finders],
            by_service[OUTSIDER in finders],
        )
        for name, (_, finders) in STUDY.items()
    ]
    assert rows == expected_rows
