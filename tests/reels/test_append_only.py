"""The database itself refuses what the service never does, on SQLite and on PostgreSQL alike."""

from typing import Any

import pytest
from django.apps import apps
from django.core import checks
from django.core.management.sql import emit_post_migrate_signal
from django.db import DatabaseError, IntegrityError, connection, models, transaction

from inspections.models import (
    Authorisation,
    ImportedCount,
    Inspection,
    InspectionRecord,
    Keying,
    MachineCheck,
    Participant,
    ReadBack,
    Reading,
    Referral,
    SetupValues,
    SignOff,
    Void,
)
from reels import append_only
from reels.apps import check_guards
from reels.models import (
    CableEvent,
    Chain,
    HistoryEntry,
    Hold,
    Installation,
    Machine,
    Person,
    Posting,
    Reel,
    ReelType,
    Site,
)
from reports.services.verification import guard_break
from tests import builders, stories
from tests.builders import Cast

IS_SQLITE = connection.vendor == "sqlite"
only_sqlite = pytest.mark.skipif(not IS_SQLITE, reason="SQLite's own ways round a trigger")
only_postgresql = pytest.mark.skipif(IS_SQLITE, reason="PostgreSQL's own ways round a trigger")
TABLES = append_only.tables()
MODELS: dict[str, Any] = {model._meta.db_table: model for model in apps.get_models() if model._meta.db_table in TABLES}


@pytest.fixture
def story(db):
    stories.one_of_each(Cast())


def refusal(sql: str) -> str:
    """What the database says when it refuses; fails when it does not refuse."""
    with connection.cursor() as cursor:
        settle_constraints(cursor)
        with pytest.raises(DatabaseError) as raised, transaction.atomic():
            cursor.execute(sql)
    return str(raised.value)


def delete_all(table: str) -> str:
    return f'DELETE FROM "{table}"'  # noqa: S608  # our own table names


def update_all(table: str) -> str:
    return f'UPDATE "{table}" SET id = id'  # noqa: S608  # our own table names


def replace_all(table: str) -> str:
    return f'REPLACE INTO "{table}" SELECT * FROM "{table}"'  # noqa: S608  # our own table names


def settle_constraints(cursor: Any) -> None:
    """PostgreSQL alters no table while the test's own rows still wait for their foreign keys to be checked."""
    if not IS_SQLITE:
        cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")


RECORDS: dict[str, list[type[models.Model]]] = {
    append_only.NEVER_DELETED: [
        *(Person, Posting, Site, ReelType, Machine, Chain, Reel, Installation, Hold),
        *(Authorisation, Inspection, Reading, Referral, Void, SetupValues),
    ],
    append_only.APPEND_ONLY: [
        *(HistoryEntry, CableEvent),
        *(Participant, Keying, InspectionRecord, SignOff, ReadBack, MachineCheck, ImportedCount),
    ],
}


def test_the_records_are_kept_and_what_was_signed_or_said_is_only_added():
    for kept, records in RECORDS.items():
        for model in records:
            assert TABLES[model._meta.db_table] == kept


# Raw SQL ------------------------------------------------------------------------------------------------------------


def test_no_row_of_any_kept_table_can_be_deleted_and_none_that_is_only_added_can_be_changed(story):
    for table, kept in TABLES.items():
        assert MODELS[table]._base_manager.exists(), f"the story leaves no row in {table}"
        assert f"{table} is kept: DELETE is refused" in refusal(delete_all(table))
        if kept == append_only.APPEND_ONLY:
            assert f"{table} is kept: UPDATE is refused" in refusal(update_all(table))


@only_sqlite
@pytest.mark.parametrize("recursive_triggers", ["ON", "OFF"])
def test_a_kept_row_cannot_be_replaced_by_another_with_its_id(story, recursive_triggers):
    with connection.cursor() as cursor:
        cursor.execute(f"PRAGMA recursive_triggers = {recursive_triggers}")
    try:
        for table, kept in TABLES.items():
            assert f"{table} is kept" in refusal(replace_all(table)), kept
    finally:
        with connection.cursor() as cursor:
            cursor.execute("PRAGMA recursive_triggers = ON")


@only_sqlite
def test_a_kept_row_cannot_be_replaced_by_another_that_takes_its_unique_place(story):
    sql = """INSERT OR REPLACE INTO reels_historyentry (id, chain_id, seq, at, act, actor_id, prev, digest, content)
             SELECT id + 100000, chain_id, seq, at, 'x', actor_id, prev, digest, content FROM reels_historyentry"""
    assert "reels_historyentry is kept: DELETE is refused" in refusal(sql)
    assert "reels_chain is kept: DELETE is refused" in refusal("UPDATE OR REPLACE reels_chain SET name = 'register'")


@only_postgresql
def test_a_kept_table_cannot_be_truncated(story):
    for table in TABLES:
        assert "is kept: TRUNCATE is refused" in refusal(f'TRUNCATE "{table}" CASCADE')


@only_postgresql
def test_a_session_that_calls_itself_a_replica_is_refused_too(story):
    with connection.cursor() as cursor:
        settle_constraints(cursor)
        cursor.execute("SET session_replication_role = replica")
    try:
        for table, kept in TABLES.items():
            assert "DELETE is refused" in refusal(delete_all(table))
            if kept == append_only.APPEND_ONLY:
                assert "UPDATE is refused" in refusal(update_all(table))
    finally:
        with connection.cursor() as cursor:
            cursor.execute("SET session_replication_role = DEFAULT")


# Through Django -----------------------------------------------------------------------------------------------------


def test_a_queryset_cannot_change_or_delete_history(story):
    entry = HistoryEntry.objects.latest("id")
    for act in (
        lambda: HistoryEntry.objects.filter(pk=entry.pk).update(act="tampered"),
        lambda: HistoryEntry.objects.bulk_update([entry], ["act"]),
        entry.save,
        lambda: HistoryEntry.objects.filter(pk=entry.pk)._raw_delete("default"),
    ):
        with pytest.raises(IntegrityError, match="reels_historyentry is kept"), transaction.atomic():
            act()
    with pytest.raises((IntegrityError, models.ProtectedError)), transaction.atomic():
        entry.delete()
    entry.refresh_from_db()
    assert entry.act != "tampered"


def test_a_reel_with_all_that_hangs_on_it_cannot_be_deleted(story):
    with pytest.raises(models.ProtectedError):
        Reel.objects.get().delete()
    with pytest.raises(IntegrityError), transaction.atomic():
        Reel.objects.all()._raw_delete("default")


# The guards themselves ----------------------------------------------------------------------------------------------


def test_every_guard_stands_after_all_migrations(db):
    assert append_only.faults(connection) == []
    assert check_guards(databases=["default"]) == []


def drop_one_guard() -> str:
    name = append_only.trigger_names(connection.vendor, "reels_historyentry", append_only.APPEND_ONLY)[0]
    [sql, *_] = append_only.drop_sql(connection.vendor, "reels_historyentry", append_only.APPEND_ONLY)
    with connection.cursor() as cursor:
        settle_constraints(cursor)
        cursor.execute(sql)
    return name


def test_the_system_check_finds_a_guard_that_was_dropped(db):
    name = drop_one_guard()
    [message] = check_guards(databases=["default"])
    assert (message.id, message.level) == ("reels.E001", checks.ERROR)
    assert name in message.msg
    assert check_guards(databases=None) == []  # Django asks without databases unless told to look at them
    append_only.install(connection)
    assert check_guards(databases=["default"]) == []


@only_postgresql
def test_the_system_check_finds_a_guard_that_a_replica_would_pass(db):
    with connection.cursor() as cursor:
        settle_constraints(cursor)
        cursor.execute('ALTER TABLE reels_chain ENABLE TRIGGER "reels_chain_kept"')
    [message] = check_guards(databases=["default"])
    assert "reels_chain_kept is not as it was installed" in message.msg


SPY = {
    "sqlite": "CREATE TRIGGER spy AFTER INSERT ON reels_hold BEGIN UPDATE reels_hold SET ended_at = NEW.placed_at; END",
    "postgresql": "CREATE TRIGGER spy BEFORE INSERT ON reels_hold FOR EACH ROW EXECUTE FUNCTION kept_rows()",
}
CHANGED = {
    "sqlite": "CREATE TRIGGER reels_chain_kept_delete BEFORE DELETE ON reels_chain BEGIN SELECT 1; END",
    "postgresql": "CREATE TRIGGER reels_chain_kept BEFORE INSERT ON reels_chain "
    "FOR EACH ROW EXECUTE FUNCTION kept_rows()",
}


@pytest.mark.parametrize(
    ("statements", "fault"),
    [
        ([SPY[connection.vendor]], "trigger spy is not of this service"),
        (["CREATE VIEW spied AS SELECT 1"], "view spied is not of this service"),
        (
            [append_only.drop_sql(connection.vendor, "reels_chain", append_only.NEVER_DELETED)[0],
             CHANGED[connection.vendor]],
            f"{next(iter(CHANGED[connection.vendor].split()[2:]))} is not as it was installed",
        ),
    ],
)  # fmt: skip
def test_guards_that_are_changed_and_what_is_not_the_services_are_found(db, statements, fault):
    with connection.cursor() as cursor:
        settle_constraints(cursor)
        for sql in statements:
            cursor.execute(sql)
    assert fault in append_only.faults(connection)
    assert fault in str(guard_break())


@only_postgresql
def test_a_function_that_lets_everything_pass_is_found(db):
    with connection.cursor() as cursor:
        cursor.execute("CREATE OR REPLACE FUNCTION kept_rows() RETURNS trigger LANGUAGE plpgsql AS "
                       "$$ BEGIN RETURN OLD; END $$")  # fmt: skip
    assert append_only.faults(connection) == ["the function kept_rows is not as it was installed"]


ANOTHER_FORM = (
    [
        "UPDATE reels_hold SET ended_at = ''",
        "UPDATE reels_reel SET retired_at = 'x'",
        "UPDATE inspections_authorisation SET ended_at = ''",
        "UPDATE inspections_inspection SET done_at = '2026-W10-1T09:00:00'",
        "UPDATE inspections_inspection SET wraps = 'ten'",
        "UPDATE inspections_reading SET outcome = X'00'",
        "UPDATE reels_reel SET received_on = '2026-3-2'",
    ]
    if IS_SQLITE
    else ["UPDATE reels_hold SET ended_at = 'infinity'", "UPDATE reels_reel SET received_on = '-infinity'"]
)


@pytest.mark.parametrize("sql", ANOTHER_FORM)
def test_a_value_in_a_form_that_the_service_never_writes_is_refused(story, sql):
    assert "kept: OTHER FORM is refused" in (said := refusal(sql)) or "_kept_form" in said


@pytest.mark.django_db(transaction=True)
def test_guards_come_back_after_a_migration_that_remakes_a_table():
    Chain.objects.create(name="before")
    old, new = Chain._meta.get_field("name"), models.CharField(max_length=90, unique=True)
    new.set_attributes_from_name("name")
    new.model = Chain
    try:
        with connection.schema_editor() as editor:
            editor.alter_field(Chain, old, new)
        if IS_SQLITE:  # it makes the table anew, and says nothing of the triggers that it drops
            assert "reels_chain_kept_delete is missing" in append_only.faults(connection)
        emit_post_migrate_signal(verbosity=0, interactive=False, db="default")
        assert append_only.faults(connection) == []
        assert "DELETE is refused" in refusal("DELETE FROM reels_chain")
    finally:
        with connection.schema_editor() as editor:
            editor.alter_field(Chain, new, old)
        append_only.install(connection)


def test_a_never_deleted_table_still_takes_new_and_changed_rows(db):
    site = builders.make_site()
    type(site).objects.filter(pk=site.pk).update(name="Kettle Head")
    site.refresh_from_db()
    assert site.name == "Kettle Head"
