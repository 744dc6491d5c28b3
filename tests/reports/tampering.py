"""What whoever owns the database may do past the guards, and what checking the records then says."""

import json
from collections.abc import Callable
from datetime import date, timedelta
from decimal import Decimal
from typing import Any
from uuid import UUID

import pytest
from django.db import IntegrityError, connection, models, transaction

from reels import append_only
from reels.domain import ledger
from reels.models import Chain, HistoryEntry, Reel
from reports.services.verification import check_records
from tests import stories
from tests.builders import NOW, Cast, administrator


def drop_guards() -> None:
    """What whoever owns the database can do: after this nothing keeps a row from being changed."""
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
        for table, kept in append_only.tables().items():
            for sql in append_only.drop_sql(connection.vendor, table, kept):
                cursor.execute(sql)
        if connection.vendor == "postgresql":
            cursor.execute("SET CONSTRAINTS ALL DEFERRED")


@pytest.fixture
def story(db):
    """A row in every kept table, and nothing that stops whoever owns the database."""
    stories.one_of_each(Cast())
    assert check_records().broken is None
    drop_guards()


def broken_by(tamper: Callable[..., Any], *what: Any, **columns: Any) -> str:
    """What is found after tampering, which is undone afterwards; "" when nothing is, or the database refused it."""
    try:
        with transaction.atomic():
            tamper(*what, **columns)
            broken = check_records().broken
            transaction.set_rollback(True)
    except IntegrityError as refused:
        return f"refused: {refused}"
    return str(broken or "")


def other(field: Any, value: Any) -> Any:
    """Another value that the column takes."""
    match value:
        case None:
            return other(field, field.to_python(BLANK[field.get_internal_type()]))
        case bool():
            return not value
        case int() | Decimal():
            return value + 1
        case date():
            return value + timedelta(days=1)
        case str():
            return value[:-1] + ("x" if value[-1:] != "x" else "y")
        case dict() | list():
            return [value]
        case UUID():
            return UUID(int=value.int ^ 1)
    content = bytearray(value)
    content[len(content) // 2] ^= 1
    return bytes(content)


BLANK: dict[str, Any] = {
    "BooleanField": False,
    "ForeignKey": 1, "OneToOneField": 1, "PositiveSmallIntegerField": 1, "PositiveIntegerField": 1,
    "DateTimeField": NOW, "DecimalField": Decimal(1), "JSONField": {}, "CharField": "", "TextField": "",
}  # fmt: skip


def edit(row: models.Model, column: str, value: Any) -> None:
    assert type(row)._base_manager.filter(pk=row.pk).update(**{column: value}) == 1


def delete(row: models.Model) -> None:
    type(row)._base_manager.filter(pk=row.pk)._raw_delete("default")


def rewritten(chain: Chain, change: Callable[[dict[str, Any]], None]) -> None:
    """The whole chain written anew, every digest with it, as only the database's owner can."""
    prev = ledger.FIRST_PREV
    for row in chain.entries.order_by("seq"):
        entry = json.loads(bytes(row.content))
        change(entry)
        entry["prev"] = prev
        content = ledger.canonical(entry)
        digest = ledger.digest(content)
        HistoryEntry.objects.filter(pk=row.pk).update(content=content, prev=prev, digest=digest)
        prev = digest
    edit(chain, "head", prev)


def exchange(one: models.Model, two: models.Model, *columns: str) -> None:
    """Two rows exchange columns; by way of values that are nobody's, where they must be unique."""
    own, theirs = ({name: getattr(row, name) for name in columns} for row in (one, two))
    spare = {"digest": "0" * 64} if "digest" in columns else {"person_id": administrator().pk}
    type(one)._base_manager.filter(pk=one.pk).update(**spare)
    type(two)._base_manager.filter(pk=two.pk).update(**own)
    type(one)._base_manager.filter(pk=one.pk).update(**theirs)


def kept_and_told(row: models.Model, **columns: Any) -> None:
    """A row's columns changed, and its whole history written anew so that it tells the same."""
    edited = type(row)._base_manager.filter(pk=row.pk)
    edited.update(**columns)
    told = {
        name: ledger.plain(value) for name, value in columns.items() if name not in getattr(row, "hidden_columns", ())
    }

    def tell(entry: dict[str, Any]) -> None:
        for each in entry["changes"]:
            if (each["table"], each["id"]) == (row._meta.db_table, row.pk):
                each["after"].update(told)

    rewritten(Reel.objects.get().chain, tell)
