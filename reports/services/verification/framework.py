"""What the framework keeps beside the records, compared with what the code defines."""

from collections.abc import Iterator
from functools import cache

from django.apps import apps
from django.contrib.auth import get_permission_codename
from django.contrib.auth.models import Group, Permission
from django.contrib.contenttypes.models import ContentType
from django.db import connection
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.recorder import MigrationRecorder

from reels.models import Person


def framework_faults() -> Iterator[tuple[str, str]]:
    """Each row of the framework that is not as the code has it: where it is and why, in words.

    Names and times in these rows are read by nobody, and kinds and permissions of models of before give nothing.
    """
    yield from _migrations()
    yield from _kinds_and_permissions()
    yield from _given_past_the_authorisations()


def _migrations() -> Iterator[tuple[str, str]]:
    """What is noted as migrated is what there is."""
    known = _known_migrations()
    for app, name in sorted(known ^ set(MigrationRecorder(connection).applied_migrations())):
        where = f"migration {app}.{name}"
        yield where, "it is not noted as done" if (app, name) in known else "it is noted as done, and there is none"


@cache
def _known_migrations() -> frozenset[tuple[str, str]]:
    return frozenset(MigrationLoader(None).disk_migrations)


def _kinds_and_permissions() -> Iterator[tuple[str, str]]:
    """Each model has its content type, and that its permissions."""
    kinds = {(each.app_label, each.model): each.pk for each in ContentType.objects.all()}
    permissions = set(Permission.objects.values_list("content_type", "codename"))
    for model in apps.get_models():
        meta = model._meta
        kind = kinds.get((meta.app_label, str(meta.model_name)))
        if kind is None:
            yield f"content type of {meta.label}", "it is gone"
        for action in meta.default_permissions:
            if kind and (kind, get_permission_codename(action, meta)) not in permissions:
                yield f"permission to {action} {meta.label}", "it is gone"


def _given_past_the_authorisations() -> Iterator[tuple[str, str]]:
    """Who may do what, authorisations and postings say; nobody is in a group or has a permission of the framework."""
    for model in (Group, Group.permissions.through, Person.groups.through, Person.user_permissions.through):
        if row := model._default_manager.first():
            yield f"{model._meta.db_table} {row.pk}", "this service gives no rights by groups or permissions"
