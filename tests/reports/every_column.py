"""Other values for each column of each table, written by SQL as whoever owns the database can, and who finds them."""

from collections.abc import Iterator
from typing import Any

from django.apps import apps
from django.db import DatabaseError, connection, models, transaction
from django.db.migrations.recorder import MigrationRecorder

from inspections.models import Exercise
from reels.models import Reel
from reports.models import AssessedInterval, Assessment, FleetAssessment, NoticeChoice
from reports.services import assessments
from reports.services.verification import CheckUnderWay, check_more, end_check
from tests import stories
from tests.builders import NOW, Cast, later
from tests.reports.tampering import BLANK, other

BLANKS: dict[str, Any] = {
    **BLANK, "FloatField": 0.5, "DateField": NOW.date(), "BigIntegerField": 1, "IntegerField": 1, "BinaryField": b"x",
    "PositiveBigIntegerField": 1, "GenericIPAddressField": "192.0.2.1", "EmailField": "", "UUIDField": "",
    "SlugField": "", "BigAutoField": 1, "AutoField": 1,
}  # fmt: skip


def every_model() -> list[Any]:
    """Of every table that Django knows of, that of the migrations included."""
    return [*apps.get_models(include_auto_created=True), MigrationRecorder.Migration]


def one_row_in_every_table() -> None:
    """Records of every kind, what is worked out from them, and what else there is."""
    cast = Cast()
    stories.one_of_each(cast)
    stories.import_count(Reel.objects.get(), at=later(days=100))
    assessments.bring_up_to_date(at=later(days=101))
    for model in every_model():
        if getattr(model, "kept", None) or model in GIVES_RIGHTS or model._base_manager.exists():
            continue
        model._base_manager.create(**{
            field.name: _sample(field) for field in model._meta.concrete_fields
            if not isinstance(field, models.AutoField | models.BigAutoField)
        })  # fmt: skip


# Any row in these is a break: nobody's rights come from groups, and no node is flagged that the report does not flag.
GIVES_RIGHTS = [model for model in every_model() if model._meta.db_table in {
    "auth_group", "auth_group_permissions", "reels_person_groups", "reels_person_user_permissions",
    "inspections_flaggedreel",
}]  # fmt: skip


# Told by a digest, or worked out from a history when that is replayed.
LOOKED_AT_WITH_CHAINS = (Exercise, NoticeChoice, Assessment, AssessedInterval, FleetAssessment)


def _sample(field: Any) -> Any:
    if field.is_relation:
        return None if field.null else field.related_model._base_manager.latest("pk")
    if field.null:
        return None
    return field.get_default() if field.has_default() else BLANKS.get(field.get_internal_type(), "x")


class Tampered:
    """What is found when one column of one row is written anew; chains that it is not in are checked once, before."""

    def __init__(self) -> None:
        self.before = CheckUnderWay()
        while check_more(self.before, 50):
            pass
        assert self.before.result.broken is None

    def is_found(self, model: Any, *columns: tuple[Any, Any]) -> bool | None:
        """columns: fields and their new values. None: the database refused it, or holds the same as before."""
        row = model._base_manager.order_by("pk").last()
        table, key_column = model._meta.db_table, model._meta.pk.column
        where = f'FROM "{table}" WHERE "{key_column}" = %s'
        key = model._meta.pk.get_db_prep_value(row.pk, connection)
        try:
            with transaction.atomic(), connection.cursor() as cursor:
                forms = ", ".join(_form(field) for field, _ in columns)
                cursor.execute(f"SELECT {forms} {where}", [key])
                was = cursor.fetchone()
                for field, value in columns:
                    sql = f'UPDATE "{table}" SET "{field.column}" = %s WHERE "{key_column}" = %s'  # noqa: S608  # our own
                    cursor.execute(sql, [value, key])
                cursor.execute(f"SELECT {forms} {where}", [key])
                found = None if cursor.fetchone() == was else self._finds(model)
                transaction.set_rollback(True)
        except DatabaseError:
            return None
        return found

    def _finds(self, model: Any) -> bool:
        check = CheckUnderWay()
        if getattr(model, "kept", None) or model in LOOKED_AT_WITH_CHAINS:
            while check_more(check, 50):
                pass
        else:
            check.ids, check.lengths = self.before.ids, self.before.lengths
            check.result.entries = self.before.result.entries
        if check.result.broken is None:
            end_check(check)
        return check.result.broken is not None


def _form(field: Any) -> str:
    return f'quote("{field.column}")' if connection.vendor == "sqlite" else f'"{field.column}"::text'


def plausible(model: Any, field: Any) -> Any:
    """Another value that the column takes, as the driver takes it."""
    row = model._base_manager.order_by("pk").last()
    value = getattr(row, field.attname)
    if value is None:
        value = field.to_python(BLANKS.get(field.get_internal_type(), "")) if not field.is_relation else 0
    changed = value + 0.25 if isinstance(value, float) else other(field, value)
    if field.get_internal_type() == "GenericIPAddressField":
        changed = "192.0.2.99"
    return field.get_db_prep_save(changed, connection)


def odd_values(model: Any, field: Any) -> Iterator[Any]:
    """Nothing, an empty text, other types, other spellings of the same and times without end."""
    yield None
    yield from ("", "x", 7, "7", 7.5, "infinity", "-infinity", "NaN", "2026-W10-1T09:00:00", "2999-01-01 00:00:00+00")
    row = model._base_manager.order_by("pk").last()
    value = getattr(row, field.attname)
    if hasattr(value, "isoformat"):
        yield from (value.isoformat(), f"{value:%Y-%m-%d %H:%M}", f"{value:%Y-%m-%d %H:%M:%S}+02:00")
    if isinstance(value, str) and value:
        yield from (value.upper(), f"{value} ", value.encode())
    if isinstance(value, bool):
        yield from (2, "true")
