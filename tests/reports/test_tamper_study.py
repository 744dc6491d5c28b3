"""What whoever owns the database can do to it, and who finds it: the service's own check, or a checkpoint kept outside.

On a small database with a row of every kind, the guards dropped, every attack below is made. Two look afterwards:

- the service: `verify_records`, over the rows, histories, signatures, and checkpoints as they now stand;
- an outsider: check_records.py with yesterday's checkpoint, today's, and the proof between them. The attacker has the
  service's key too, has thrown away the checkpoints that were kept here, and makes today's after the attack.

The table in deploy/handbook/records.md is what this finds, line by line.
"""

import importlib.util
import re
from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
from django.apps import apps
from django.db import connection, transaction

from inspections.services.status_rows import rebuild_status_rows
from reels import append_only
from reels.domain import checkpoint
from reels.models import Reel
from reels.services import checkpoints
from reels.services.checkpoint_key import checkpoint_key
from reports.services.verification import UNRECORDED, check_records
from tests import builders, stories
from tests.builders import Cast, later
from tests.reports.attacks import (
    AttackedRecords,
    cut_off_what_came_since,
    cut_off_what_the_checkpoint_covers,
    delete,
    delete_a_row,
    delete_an_entry,
    delete_the_checkpoints,
    edit_a_checkpoint,
    edit_a_choice_of_notices,
    edit_a_kept_answer,
    edit_a_node_of_the_ends,
    edit_a_row,
    edit_a_tokens_secret,
    edit_an_entry,
    edit_an_entry_and_its_digest,
    edit_an_interval,
    edit_how_a_check_came_out,
    edit_how_practice_ended,
    edit_learned_rates,
    exchange_two_entries,
    exchange_two_people,
    exchange_two_places,
    exchange_two_records,
    exchange_two_statements,
    forge_a_checkpoint,
    forget_checkpoints,
    give_rights_by_a_group,
    insert_a_row,
    move_a_signature,
    never_record_it,
    put_an_entry_between,
    put_in_a_trigger,
    replace_what_a_guard_does,
    restore_an_old_backup,
    set_a_password,
    spell_a_time_otherwise,
    store_another_form,
    write_a_history_anew,
)
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
    return AttackedRecords(yesterday=yesterday, reel=Reel.objects.get(serial="LW-0001"), unsigned=unsigned,
                           guards=append_only.faults(connection))  # fmt: skip


# Who looks ----------------------------------------------------------------------------------------------------------


def found_by(records: AttackedRecords, attack: Callable[[AttackedRecords], None]) -> set[str]:
    """Who finds it. The attack is undone afterwards."""
    with transaction.atomic():
        attack(records)
        for _ in rebuild_status_rows():  # the attacker's command as well, so that these rows give nobody away
            pass
        is_seen = check_records().broken or append_only.faults(connection) != records.guards
        finders = {SERVICE} if is_seen else set()
        if outsider_finds(records.yesterday):
            finders.add(OUTSIDER)
        transaction.set_rollback(True)
    return finders


def outsider_finds(yesterday: str) -> bool:
    """Whether the stand-alone checker finds that today's records do not begin with yesterday's."""
    forget_checkpoints()
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


# Attacks -------------------------------------------------------------------------------------------------------------


BOTH, NEITHER = {SERVICE, OUTSIDER}, set[str]()
STUDY: dict[str, tuple[Callable[[AttackedRecords], None], set[str]]] = {
    "a row edited": (edit_a_row, {SERVICE}),
    "a value stored in a form that the service never writes": (store_another_form, {SERVICE}),
    "a time spelled otherwise": (spell_a_time_otherwise, {SERVICE}),
    "a trigger put in that ends each hold": (put_in_a_trigger, {SERVICE}),
    "what a guard does replaced, under its own name": (replace_what_a_guard_does, {SERVICE}),
    "the drift of intervals edited": (edit_an_interval, {SERVICE}),
    "learned rates edited": (edit_learned_rates, {SERVICE}),
    "how practice ended edited": (edit_how_practice_ended, {SERVICE}),
    "a choice of notices edited": (edit_a_choice_of_notices, {SERVICE}),
    "how a check of records came out edited": (edit_how_a_check_came_out, {SERVICE}),
    "rights given by a group": (give_rights_by_a_group, {SERVICE}),
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
    "a checkpoint kept here signed with another key": (forge_a_checkpoint, {SERVICE}),
    "a node of the tree over the ends of histories edited": (edit_a_node_of_the_ends, {SERVICE}),
    "the checkpoints kept here deleted, of which one is countersigned": (delete_the_checkpoints, {SERVICE}),
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
def test_without_the_checkpoints_kept_here_the_outsiders_copy_finds_what_it_found(records, name):
    """The service finds each: one of them is countersigned, as the register tells."""
    attack, expected = STUDY[name]

    def also_delete_checkpoints(records: AttackedRecords) -> None:
        attack(records)
        delete_the_checkpoints(records)

    assert found_by(records, also_delete_checkpoints) == {SERVICE, *expected}


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
