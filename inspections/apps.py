"""Inspections as a Django app: every act of a reel ends with its status row being kept."""

from typing import Any

from django.apps import AppConfig
from django.db import connections
from django.db.models.signals import post_migrate

from inspections import names_index
from reels.append_only import ALSO_OURS


class InspectionsConfig(AppConfig):
    name = "inspections"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from inspections.services.life import look_if_limited  # noqa: PLC0415
        from inspections.services.safety_notices import hold_what_came  # noqa: PLC0415  # not before models are ready
        from inspections.services.status_rows import keep_others, keep_status  # noqa: PLC0415  # not before models are ready
        from reels.services.history import AT_THE_END_OF_ACTS, BEFORE_THE_END_OF_ACTS  # noqa: PLC0415

        BEFORE_THE_END_OF_ACTS.append(hold_what_came)
        AT_THE_END_OF_ACTS.extend((keep_status, keep_others, look_if_limited))
        ALSO_OURS.update({name: f"CREATE TRIGGER {name} {does}" for name, does in names_index.TRIGGERS.items()})
        post_migrate.connect(install_names_index, dispatch_uid="inspections.install_names_index")


def install_names_index(using: str, **_: Any) -> None:
    """After every migration: SQLite drops a table's triggers without a word when it remakes the table."""
    names_index.install(connections[using])
