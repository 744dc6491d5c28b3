"""The attacks of the tamper study: what whoever owns the database does, one function each."""

import json
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from django.apps import apps
from django.contrib.auth.models import Group
from django.db import connection, models

from inspections.models import Exercise, InspectionRecord, Keying, LearnedRates, SignOff
from reels.domain import checkpoint, ledger
from reels.models import (
    ApiToken,
    Chain,
    CheckpointMade,
    EndsNode,
    EntriesBlock,
    FeedPlace,
    HistoryEntry,
    Person,
    Reel,
    Submission,
)
from reels.services import checkpoints
from reports.models import NoticeChoice, VerificationRun
from reports.services import assessments
from tests import builders, stories
from tests.builders import later


@dataclass(frozen=True, slots=True)
class AttackedRecords:
    """Yesterday's checkpoint, and what the attacks need to know."""

    yesterday: str
    reel: Reel
    unsigned: int
    guards: list[str]  # what is amiss with them before the attack: they are dropped


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


def edit_an_interval(records: AttackedRecords) -> None:
    """So that the drift report flags nothing."""
    stories.import_count(records.reel, at=later(days=100))
    assessments.bring_up_to_date(at=later(days=101))
    sql("UPDATE reports_assessedinterval SET p_unlogged_cut = p_unlogged_cut / 2")


def edit_learned_rates(records: AttackedRecords) -> None:
    edit(LearnedRates.objects.all(), values={})


def edit_how_practice_ended(records: AttackedRecords) -> None:
    edit(Exercise.objects.all(), misses=[["lead", "forgotten"]])


def edit_a_choice_of_notices(records: AttackedRecords) -> None:
    edit(NoticeChoice.objects.all(), kind="flag")


def edit_how_a_check_came_out(records: AttackedRecords) -> None:
    edit(VerificationRun.objects.all(), first_break="none worth telling")


def give_rights_by_a_group(records: AttackedRecords) -> None:
    Person.objects.get(username="tess").groups.add(Group.objects.create(name="all"))


def put_in_a_trigger(records: AttackedRecords) -> None:
    """Each hold ends as it begins."""
    if connection.vendor == "postgresql":
        sql("CREATE FUNCTION let_go() RETURNS trigger LANGUAGE plpgsql AS "
            "$$ BEGIN NEW.ended_at = NEW.placed_at; RETURN NEW; END $$")  # fmt: skip
        sql("CREATE TRIGGER let_go BEFORE INSERT ON reels_hold FOR EACH ROW EXECUTE FUNCTION let_go()")
    else:
        sql("CREATE TRIGGER let_go AFTER INSERT ON reels_hold "
            "BEGIN UPDATE reels_hold SET ended_at = placed_at WHERE id = NEW.id; END")  # fmt: skip


def replace_what_a_guard_does(records: AttackedRecords) -> None:
    """Under its own name: on PostgreSQL the function of all of them."""
    if connection.vendor == "postgresql":
        sql("CREATE OR REPLACE FUNCTION kept_rows() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN RETURN OLD; END $$")
    else:
        sql("CREATE TRIGGER reels_hold_kept_delete BEFORE DELETE ON reels_hold BEGIN SELECT 1; END")


def forge_a_checkpoint(records: AttackedRecords) -> None:
    """With a key that its text names."""
    row, key = CheckpointMade.objects.latest("entries"), Ed25519PrivateKey.generate()
    body, label, _ = row.text.partition(checkpoint.SIGNATURE_LABEL)
    body = body.replace(checkpoint.lines_of(row.text)["key"], checkpoint.public_hex(key))
    edit(CheckpointMade.objects.filter(pk=row.pk), text=f"{body}{label}{key.sign(body.encode()).hex()}\n")


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
    forget_checkpoints()


def forget_checkpoints() -> None:
    """All that is kept here for them."""
    for model in (CheckpointMade, EndsNode, EntriesBlock):
        delete(model._base_manager.all())


def edit_a_node_of_the_ends(records: AttackedRecords) -> None:
    row = EndsNode.objects.filter(is_leaf=True).latest("pk")
    edit(EndsNode.objects.filter(pk=row.pk), right="ab" * 32)


def cut_off_what_came_since(records: AttackedRecords) -> None:
    builders.log_cut(known("control", "mona"), at=later(days=6, hours=1))
    before = {model: model._base_manager.latest("pk").pk for model in (EndsNode, EntriesBlock)}
    checkpoints.make(later(days=6, hours=2))
    delete(CheckpointMade.objects.filter(made_at=later(days=6, hours=2)))
    for model, newest in before.items():
        delete(model._base_manager.filter(pk__gt=newest))
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
