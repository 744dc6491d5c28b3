"""What the database holds of a row, by value and type, beside what Django reads of it.

SQLite keeps what it is given: `''` where there is no time yet, another spelling of an instant, a number as text. Django
reads these as if they were usual; SQL, which sorts and filters, takes them for something else. So a row counts as read
only if the database holds it as the service itself would write it. PostgreSQL has one form for each value of a type.
"""

import hashlib
import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager
from typing import Any

from django.core.exceptions import ObjectDoesNotExist
from django.db import DatabaseError, connection, models

from reels.domain.ledger import Break
from reels.models import HistoryEntry

# What reading a row raises that holds what no row of its kind can hold, such as a day that is none.
UNREADABLE = (ArithmeticError, AttributeError, LookupError, ObjectDoesNotExist, TypeError, ValueError)


CHUNK = 400  # rows of one query; SQLite takes no more than a thousand values in one


class BreakFound(Exception):
    """Carries the first break out to where the checking began."""

    def __init__(self, where: str, why: str) -> None:
        super().__init__(where, why)
        self.broken = Break(where=where, why=why)


@contextmanager
def readable(where: str) -> Iterator[None]:
    """What cannot be read is a break there, told in one line."""
    try:
        yield
    except (*UNREADABLE, DatabaseError) as unreadable:
        why = str(unreadable).partition("\n")[0]
        raise BreakFound(where, f"something of it cannot be read: {why}") from unreadable


def check_stored(model: type[Any]) -> None:
    """That rows which no history tells are at least stored as they are read. Raises BreakFound."""
    rows = model._base_manager.order_by("pk").defer(*(f.name for f in model._meta.fields if f.name == "content"))
    last = 0
    while some := list(rows.filter(pk__gt=last)[:CHUNK]):
        require_written_as_usual(some)
        last = some[-1].pk


def require_written_as_usual(rows: Sequence[models.Model]) -> None:
    """Raises BreakFound for the first that the database holds otherwise than the service would write it."""
    if otherwise := stored_otherwise(rows):
        row, why = otherwise
        raise BreakFound(f"{row._meta.verbose_name} {row.pk}", why)


def stored_otherwise(rows: Sequence[models.Model]) -> tuple[models.Model, str] | None:
    """The first of some rows of one table that the database holds otherwise than it would be written, and how.

    A table of the same columns, in memory, says what the database makes of values that are written to it. Columns that
    were not read are not looked at; of those that hold bytes, the type alone. Three queries.
    """
    if connection.vendor != "sqlite" or not rows:
        return None
    table = rows[0]._meta.db_table
    unread = rows[0].get_deferred_fields()
    fields: list[Any] = [each for each in rows[0]._meta.concrete_fields if each.attname not in unread]
    names = [f'"{each.column}"' for each in fields]
    forms = ", ".join(
        f"typeof({name})" if isinstance(each, models.BinaryField) else f"quote({name})"
        for each, name in zip(fields, names, strict=True)
    )
    with connection.cursor() as cursor:
        cursor.execute("SELECT name, type FROM pragma_table_info(%s)", [table])
        types = dict(cursor.fetchall())
        ids = ", ".join(["%s"] * len(rows))
        cursor.execute(f'SELECT id, {forms} FROM "{table}" WHERE id IN ({ids})', [row.pk for row in rows])  # noqa: S608  # our own names
        held = {row_id: values for row_id, *values in cursor.fetchall()}
    declared = [f"{name} {types[each.column]}" for each, name in zip(fields, names, strict=True)]
    expected = _as_written(fields, declared, forms, rows)
    for row, values in zip(rows, expected, strict=True):
        for field, is_held, would_be in zip(fields, held[row.pk], values, strict=True):
            if is_held != would_be:
                return row, f"its {field.column} is stored as {is_held}; the service writes {would_be}"
    return None


def stored_digests(model: type[models.Model], ids: Sequence[int]) -> Iterator[tuple[int, bytes]]:
    """The id of each row of these that is there, with the SHA-256 of all that the database holds of it."""
    fields = model._meta.concrete_fields
    forms = ", ".join(_held_form(field) for field in fields)
    is_bulky = model is not HistoryEntry and any(isinstance(field, models.BinaryField) for field in fields)
    at_once = CHUNK // 20 if is_bulky else CHUNK
    with connection.cursor() as cursor:
        for start in range(0, len(ids), at_once):
            some = ids[start : start + at_once]
            marks = ", ".join(["%s"] * len(some))
            cursor.execute(f'SELECT id, {forms} FROM "{model._meta.db_table}" WHERE id IN ({marks})', some)  # noqa: S608  # our own names
            for row_id, *values in cursor.fetchall():
                yield row_id, _digest(values)


def _held_form(field: Any) -> str:
    """Of a column: its value with its type, as text; of bytes the type, and they themselves."""
    name = f'"{field.column}"'
    if isinstance(field, models.BinaryField):
        return f"typeof({name}), {name}" if connection.vendor == "sqlite" else name
    return f"quote({name})" if connection.vendor == "sqlite" else f"{name}::text"


def _digest(values: Sequence[Any]) -> bytes:
    whole = hashlib.sha256()
    for value in values:
        content = value.encode() if isinstance(value, str) else value
        whole.update(b"-" if content is None else b"%d:" % len(content))
        whole.update(content or b"")
    return whole.digest()


def _as_written(
    fields: Sequence[Any], declared: Sequence[str], forms: str, rows: Sequence[models.Model]
) -> list[tuple[str, ...]]:
    with closing(sqlite3.connect(":memory:")) as scratch:
        scratch.execute(f"CREATE TABLE written ({', '.join(declared)})")
        marks = ", ".join(["?"] * len(fields))
        values = ([_prepared(field, row) for field in fields] for row in rows)
        scratch.executemany(f"INSERT INTO written VALUES ({marks})", values)  # noqa: S608  # nothing but marks
        return list(scratch.execute(f"SELECT {forms} FROM written ORDER BY rowid"))  # noqa: S608  # our own names


def _prepared(field: Any, row: models.Model) -> Any:
    value = getattr(row, field.attname)
    if isinstance(field, models.BinaryField):
        return None if value is None else b""
    return field.get_db_prep_save(value, connection)
