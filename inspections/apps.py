from django.apps import AppConfig


class InspectionsConfig(AppConfig):
    name = "inspections"
    default_auto_field = "django.db.models.BigAutoField"
