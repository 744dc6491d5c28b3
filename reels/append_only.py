"""Rows that the database itself keeps: triggers that refuse what the service never does.

A model says `kept = APPEND_ONLY` (rows are added, and never changed or removed) or `kept = NEVER_DELETED`. The
triggers are installed again after every migration, because SQLite drops them without a word when it remakes a table.
"""

from collections.abc import Iterator
from typing import Any

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
    return [name for name, _ in _triggers(vendor, table, kept)]


def create_sql(vendor: str, table: str, kept: str) -> list[str]:
    """Statements that guard one table."""
    statements = [sql for _, sql in _triggers(vendor, table, kept)]
    if vendor == "postgresql":  # also for a session that calls itself a replica
        names = trigger_names(vendor, table, kept)
        statements += [f'ALTER TABLE "{table}" ENABLE ALWAYS TRIGGER "{name}"' for name in names]
        if is_finite := _form_on_postgresql(table):
            statements.append(f'ALTER TABLE "{table}" ADD CONSTRAINT "{table}_kept_form" {is_finite}')
    return statements


def drop_sql(vendor: str, table: str, kept: str) -> list[str]:
    """Statements that take the guard away; for a flush between tests, and to install it again."""
    on_table = f' ON "{table}"' if vendor == "postgresql" else ""
    statements = [f'DROP TRIGGER IF EXISTS "{name}"{on_table}' for name in trigger_names(vendor, table, kept)]
    if vendor == "postgresql":
        statements.append(f'ALTER TABLE "{table}" DROP CONSTRAINT IF EXISTS "{table}_kept_form"')
    return statements


def install(connection: BaseDatabaseWrapper) -> None:
    """Guard every kept table that exists; safe to run again."""
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(f"CREATE OR REPLACE FUNCTION kept_rows() RETURNS trigger LANGUAGE plpgsql AS $${_BODY}$$")
        for table, kept in _tables_here(connection).items():
            for sql in (*drop_sql(connection.vendor, table, kept), *create_sql(connection.vendor, table, kept)):
                cursor.execute(sql)


def _tables_here(connection: BaseDatabaseWrapper) -> dict[str, str]:
    existing = set(connection.introspection.table_names())
    return {table: kept for table, kept in tables().items() if table in existing}


def faults(connection: BaseDatabaseWrapper) -> list[str]:
    """What is not as `install` leaves it, in words: guards that are gone or say something else, and what is not ours.

    A trigger, view or rule that is not ours can change what is written, or show something else than what is stored.
    """
    vendor = connection.vendor
    required = {} if vendor == "postgresql" else dict(ALSO_OURS)
    for table, kept in _tables_here(connection).items():
        required |= {name: _as_told(vendor, sql) for name, sql in _triggers(vendor, table, kept)}
        if vendor == "postgresql" and (is_finite := _form_on_postgresql(table)):
            required[f"{table}_kept_form"] = _as_told(vendor, is_finite)
    with connection.cursor() as cursor:
        cursor.execute(_POSTGRESQL_PRESENT if vendor == "postgresql" else _SQLITE_PRESENT)
        present = cursor.fetchall()
        names = {name for name, _, _ in present}
        differing = [f"{name} is missing" for name in required if name not in names]
        for name, kind, sql in present:
            if name not in required:
                differing.append(f"{kind} {name} is not of this service")
            elif sql != required[name]:
                differing.append(f"{name} is not as it was installed")
        if vendor == "postgresql":
            differing += _faults_of_function(cursor)
    return differing


def _faults_of_function(cursor: Any) -> list[str]:
    cursor.execute("SELECT prosrc, prosecdef, proconfig FROM pg_proc WHERE proname = 'kept_rows'")
    right = [(_BODY, False, None)]
    return [] if cursor.fetchall() == right else ["the function kept_rows is not as it was installed"]


# Triggers of other tables, as they are created on SQLite: each says here what it installs.
ALSO_OURS: dict[str, str] = {}

_SQLITE_PRESENT = "SELECT name, type, sql FROM sqlite_master WHERE type IN ('trigger', 'view')"
# By their definitions; one that PostgreSQL would skip for a replica session counts as missing. What belongs to an
# extension, such as the views of one that counts queries, is the database's.
_POSTGRESQL_PRESENT = """
SELECT tgname, 'trigger', CASE WHEN tgenabled = 'A' THEN pg_get_triggerdef(t.oid, true) ELSE 'off' END
  FROM pg_trigger t WHERE NOT tgisinternal
UNION ALL
SELECT relname, 'view', '' FROM pg_class c JOIN pg_namespace n ON n.oid = relnamespace
 WHERE relkind IN ('v', 'm') AND nspname NOT IN ('pg_catalog', 'information_schema')
   AND NOT EXISTS (SELECT 1 FROM pg_depend d WHERE d.objid = c.oid AND d.deptype = 'e')
UNION ALL
SELECT rulename, 'rule', '' FROM pg_rules WHERE schemaname NOT IN ('pg_catalog', 'information_schema')
UNION ALL
SELECT conname, 'constraint', pg_get_constraintdef(oid, true) FROM pg_constraint WHERE conname LIKE '%\\_kept\\_form'
UNION ALL
SELECT evtname, 'event trigger', '' FROM pg_event_trigger
"""

# restrict_violation is of class 23, so Django raises IntegrityError as for a constraint.
_BODY = """
BEGIN
    RAISE EXCEPTION '% is kept: % is refused', TG_TABLE_NAME, TG_OP USING ERRCODE = 'restrict_violation';
END """


def _as_told(vendor: str, sql: str) -> str:
    """The statement as the database tells it of a trigger that it has."""
    return sql.replace('"', "").replace("UPDATE OR DELETE", "DELETE OR UPDATE") if vendor == "postgresql" else sql


def _triggers(vendor: str, table: str, kept: str) -> Iterator[tuple[str, str]]:
    """Each by its name."""
    yield from (_postgresql if vendor == "postgresql" else _sqlite)(table, kept)


def _postgresql(table: str, kept: str) -> Iterator[tuple[str, str]]:
    events = "UPDATE OR DELETE" if kept == APPEND_ONLY else "DELETE"
    name = f"{table}_kept"
    yield name, f'CREATE TRIGGER "{name}" BEFORE {events} ON "{table}" FOR EACH ROW EXECUTE FUNCTION kept_rows()'
    # TRUNCATE passes by triggers for each row.
    name = f"{table}_kept_whole"
    yield name, f'CREATE TRIGGER "{name}" BEFORE TRUNCATE ON "{table}" FOR EACH STATEMENT EXECUTE FUNCTION kept_rows()'


def _sqlite(table: str, kept: str) -> Iterator[tuple[str, str]]:
    def refuse(what: str, event: str, when: str = "") -> tuple[str, str]:
        name = f"{table}_kept_{what.lower().replace(' ', '_')}"
        return name, (
            f'CREATE TRIGGER "{name}" BEFORE {event} ON "{table}" {when} '
            f"BEGIN SELECT RAISE(ABORT, '{table} is kept: {what} is refused'); END"
        )

    yield refuse("DELETE", "DELETE")
    if kept == APPEND_ONLY:
        yield refuse("UPDATE", "UPDATE")
    # INSERT OR REPLACE deletes the old row without firing DELETE triggers, unless the connection has recursive_triggers
    # on, which is up to whoever opens the file.
    yield refuse("REPLACE", "INSERT", f'WHEN EXISTS (SELECT 1 FROM "{table}" WHERE id = NEW.id)')  # noqa: S608  # our own table names
    # SQLite takes any value in any column; these take the one form in which the service writes them.
    is_odd = " OR ".join(_odd_values(table))
    if is_odd:
        yield refuse("NEW FORM", "INSERT", f"WHEN {is_odd}")
        if kept != APPEND_ONLY:
            yield refuse("OTHER FORM", "UPDATE", f"WHEN {is_odd}")


DAY = "[0-9]" * 4 + ("-" + "[0-9]" * 2) * 2
TIME = "[0-9]" * 2 + (":" + "[0-9]" * 2) * 2


def _odd_values(table: str) -> Iterator[str]:
    """For each column, the condition on SQLite that a new value is in another form than the service writes."""
    for field in _model(table)._meta.concrete_fields:
        new = f'NEW."{field.column}"'
        match field.get_internal_type():
            case "DateTimeField":
                yield f"({new} NOT GLOB '{DAY} {TIME}' AND {new} NOT GLOB '{DAY} {TIME}.{'[0-9]' * 6}')"
            case "DateField":
                yield f"{new} NOT GLOB '{DAY}'"
            case "CharField" | "TextField" | "SlugField" | "JSONField" | "GenericIPAddressField":
                yield f"typeof({new}) NOT IN ('text', 'null')"
            case "BinaryField":
                yield f"typeof({new}) NOT IN ('blob', 'null')"
            case "DecimalField":
                yield f"typeof({new}) NOT IN ('integer', 'real', 'null')"
            case _ if not field.primary_key:
                yield f"typeof({new}) NOT IN ('integer', 'null')"


def _form_on_postgresql(table: str) -> str:
    """That no time is without end; of everything else, a type has one form. Nothing for a table without times.

    NOT VALID: rows that are there are not read at every migration; the check of all records reads them.
    """
    kinds = ("DateTimeField", "DateField")
    moments = [f.column for f in _model(table)._meta.concrete_fields if f.get_internal_type() in kinds]
    are_finite = " AND ".join(f'isfinite("{column}")' for column in moments)
    return f"CHECK ({are_finite}) NOT VALID" if moments else ""


def _model(table: str) -> Any:
    models = apps.get_models(include_auto_created=True)
    return next(model for model in models if model._meta.db_table == table)
