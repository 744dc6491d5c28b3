"""What the models of what is kept have in common."""

from decimal import Decimal
from typing import Any, ClassVar

from django.db import models

from reels import append_only
from reels.domain import ledger


def choices(words: Any) -> list[tuple[str, str]]:
    """The members of a StrEnum as model choices."""
    return [(word.value, word.value.replace("_", " ")) for word in words]


class Kept(models.Model):
    """A row whose changes are told in a history and which is never removed."""

    kept: ClassVar[str] = append_only.NEVER_DELETED
    hidden_columns: ClassVar[frozenset[str]] = frozenset()  # columns that never go into a history

    class Meta:
        abstract = True


class Added(models.Model):
    """A row that is added and never changed."""

    kept: ClassVar[str] = append_only.APPEND_ONLY
    hidden_columns: ClassVar[frozenset[str]] = frozenset()

    class Meta:
        abstract = True


def columns(row: models.Model) -> dict[str, Any]:
    """The row's columns in the form in which a history tells them: all but the hidden ones and the id."""
    hidden: frozenset[str] = getattr(row, "hidden_columns", frozenset())
    fields = [f for f in row._meta.concrete_fields if not f.primary_key and f.column not in hidden]
    return {str(f.column): ledger.plain(_as_stored(f, getattr(row, f.attname))) for f in fields}


def _as_stored(field: Any, value: Any) -> Any:
    """The value as the database gives it back: a decimal with all the places of its column."""
    value = field.to_python(value)
    if isinstance(field, models.DecimalField) and value is not None:
        return value.quantize(Decimal(1).scaleb(-field.decimal_places))
    return value


def exact_length(**options: Any) -> "models.DecimalField[Any, Any]":
    """A length in the unit that the column's name says, to a thousandth."""
    return models.DecimalField(max_digits=9, decimal_places=3, **options)
