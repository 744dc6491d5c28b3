"""Inspections as a Django app: every act of a reel ends with its status row being kept."""

from collections.abc import Sequence
from typing import Any

from django.apps import AppConfig
from django.core import checks


class InspectionsConfig(AppConfig):
    name = "inspections"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from inspections.services.status_rows import keep_status  # noqa: PLC0415  # not before models are ready
        from reels.services.history import AT_THE_END_OF_ACTS  # noqa: PLC0415

        AT_THE_END_OF_ACTS.append(keep_status)
        checks.register(check_status_rows, checks.Tags.database)


def check_status_rows(databases: Sequence[str] | None = None, **_: Any) -> list[checks.CheckMessage]:
    """`manage.py check --database default`: no reel is without a status row, or has one of an older history."""
    from inspections.queries.status import reels_behind  # noqa: PLC0415  # not before models are ready

    return [
        checks.Error(
            f"{behind} reels have no status row of their last act in database {using!r}: lists are wrong about them.",
            hint="Run `manage.py rebuild_status`, as after every upgrade.",
            id="inspections.E001",
        )
        for using in databases or ()
        if (behind := reels_behind().using(using).count())
    ]  # fmt: skip
