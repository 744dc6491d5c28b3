"""The wiring as a Django app, so that its checks run with every command."""

from django.apps import AppConfig
from django.core.checks import register

from deploy import checks


class DeployConfig(AppConfig):
    name = "deploy"

    def ready(self) -> None:
        register(checks.production_is_safe)
