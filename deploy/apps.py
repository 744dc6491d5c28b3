"""The wiring as a Django app, so that its checks run with every command."""

from django.apps import AppConfig
from django.core.checks import register
from django.db.backends.signals import connection_created

from deploy import checks
from deploy.watching import log


class DeployConfig(AppConfig):
    name = "deploy"

    def ready(self) -> None:
        register(checks.production_is_safe)
        connection_created.connect(log.watch_queries)
