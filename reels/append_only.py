"""Rows that the database itself keeps: triggers that refuse what the service never does.

A model says `kept = APPEND_ONLY` (rows are added, and never changed or removed) or `kept = NEVER_DELETED`. The
triggers are installed again after every migration, because SQLite drops them without a word when it remakes a table.
"""

from collections.abc import Iterator

from django.apps import apps
from django.db.backends.base.base import BaseDatabaseWrapper

APPEND_ONLY = "append_only"
NEVER_DELETED = "never_deleted"


def tables() -> dict[str, str]:
    """Every kept table, with how it is kept."""
    models = apps.get_models(include_auto_created=True)
    return {model._meta.db_table: kept for model in models if (kept := getattr(model, "kept", None))}


def trigger_names(vendor: str, table: str, kept: str) -> list[str]:
    """The triggers that a kept table must have."""
    if vendor == "postgresql":
        return [f"{table}_kept", f"{table}_kept_whole"]
    return [f"{table}_kept_delete", *([f"{table}_kept_update"] if kept == APPEND_ONLY else []), f"{table}_kept_replace"]


def create_sql(vendor: str, table: str, kept: str) -> list[str]:
    """Statements that guard one table."""
    if vendor == "postgresql":
        return list(_postgresql(table, kept))
    return list(_sqlite(table, kept))


def drop_sql(vendor: str, table: str, kept: str) -> list[str]:
    """Statements that take the guard away; for a flush between tests, and to install it again."""
    on_table = f' ON "{table}"' if vendor == "postgresql" else ""
    return [f'DROP TRIGGER IF EXISTS "{name}"{on_table}' for name in trigger_names(vendor, table, kept)]


def install(connection: BaseDatabaseWrapper) -> None:
    """Guard every kept table that exists; safe to run again."""
    existing = set(connection.introspection.table_names())
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(_POSTGRESQL_FUNCTION)
        for table, kept in tables().items():
            if table in existing:
                for sql in (*drop_sql(connection.vendor, table, kept), *create_sql(connection.vendor, table, kept)):
                    cursor.execute(sql)


def missing(connection: BaseDatabaseWrapper) -> list[str]:
    """The triggers that should be there and are not (or that PostgreSQL would skip for a replica session)."""
    sql = (
        "SELECT tgname FROM pg_trigger WHERE tgenabled = 'A'"
        if connection.vendor == "postgresql"
        else "SELECT name FROM sqlite_master WHERE type = 'trigger'"
    )
    with connection.cursor() as cursor:
        cursor.execute(sql)
        present = {row[0] for row in cursor.fetchall()}
    existing = set(connection.introspection.table_names())
    here = {table: kept for table, kept in tables().items() if table in existing}
    required = (name for table, kept in here.items() for name in trigger_names(connection.vendor, table, kept))
    return [name for name in required if name not in present]


# restrict_violation is of class 23, so Django raises IntegrityError as for a constraint.
_POSTGRESQL_FUNCTION = """
CREATE OR REPLACE FUNCTION kept_rows() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION '% is kept: % is refused', TG_TABLE_NAME, TG_OP USING ERRCODE = 'restrict_violation';
END $$
"""


def _postgresql(table: str, kept: str) -> Iterator[str]:
    row, whole = trigger_names("postgresql", table, kept)
    events = "UPDATE OR DELETE" if kept == APPEND_ONLY else "DELETE"
    yield f'CREATE TRIGGER "{row}" BEFORE {events} ON "{table}" FOR EACH ROW EXECUTE FUNCTION kept_rows()'
    # TRUNCATE passes by triggers for each row.
    yield f'CREATE TRIGGER "{whole}" BEFORE TRUNCATE ON "{table}" FOR EACH STATEMENT EXECUTE FUNCTION kept_rows()'
    for name in (row, whole):  # also for a session that calls itself a replica
        yield f'ALTER TABLE "{table}" ENABLE ALWAYS TRIGGER "{name}"'


def _sqlite(table: str, kept: str) -> Iterator[str]:
    def refuse(event: str, when: str = "") -> str:
        name = f"{table}_kept_{event.lower()}"
        fires = "INSERT" if event == "REPLACE" else event
        return (
            f'CREATE TRIGGER "{name}" BEFORE {fires} ON "{table}" {when} '
            f"BEGIN SELECT RAISE(ABORT, '{table} is kept: {event} is refused'); END"
        )

    yield refuse("DELETE")
    if kept == APPEND_ONLY:
        yield refuse("UPDATE")
    # INSERT OR REPLACE deletes the old row without firing DELETE triggers, unless the connection has recursive_triggers
    # on, which is up to whoever opens the file.
    yield refuse("REPLACE", f'WHEN EXISTS (SELECT 1 FROM "{table}" WHERE id = NEW.id)')  # noqa: S608  # our own table names
