from collections.abc import Sequence
from typing import Any

from django.apps import AppConfig
from django.conf import settings
from django.core import checks
from django.db import connections
from django.db.migrations.executor import MigrationExecutor
from django.db.models.signals import post_migrate

from reels import append_only


class ReelsConfig(AppConfig):
    name = "reels"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        post_migrate.connect(guard_tables, dispatch_uid="reels.guard_tables")
        checks.register(check_guards, checks.Tags.database)
        checks.register(checkpoint_key_is_there)


def guard_tables(using: str, **_: Any) -> None:
    """After every migration: SQLite drops a table's triggers without a word when it remakes the table."""
    append_only.install(connections[using])


def check_guards(databases: Sequence[str] | None = None, **_: Any) -> list[checks.CheckMessage]:
    """`manage.py check --database default`: the guards that keep records are there, as installed, and no others."""
    return [
        checks.Error(
            f"Records are not guarded as they should be in database {using!r}: {'; '.join(faults)}.",
            hint="Run `manage.py migrate`; it installs the guards again. Find out who changed them.",
            id="reels.E001",
        )
        for using in databases or ()
        if not _waits_for_migrations(using)  # which install the guards as they are now
        if (faults := append_only.faults(connections[using]))
    ]


def _waits_for_migrations(using: str) -> bool:
    executor = MigrationExecutor(connections[using])
    return bool(executor.migration_plan(executor.loader.graph.leaf_nodes()))


def checkpoint_key_is_there(app_configs: Sequence[AppConfig] | None = None, **_: Any) -> list[checks.CheckMessage]:
    """Outside the demo, which makes its own, the key must be there, or no checkpoint is made."""
    if settings.WRAPLEDGER_ENV == "demo":
        return []
    from reels.errors import CheckpointKeyMissing  # noqa: PLC0415  # not before models are ready
    from reels.services.checkpoint_key import checkpoint_key  # noqa: PLC0415

    try:
        checkpoint_key()
    except CheckpointKeyMissing as missing:
        return [checks.Warning(str(missing), hint="Run `manage.py make_checkpoint_key`.", id="reels.W001")]
    return []
