"""Inspections as a Django app: every act of a reel ends with its status row being kept."""

from django.apps import AppConfig


class InspectionsConfig(AppConfig):
    name = "inspections"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from inspections.services.status_rows import keep_status  # noqa: PLC0415  # not before models are ready
        from reels.services.history import AT_THE_END_OF_ACTS  # noqa: PLC0415

        AT_THE_END_OF_ACTS.append(keep_status)
