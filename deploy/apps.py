"""The wiring as a Django app, so that its checks run with every command."""

from django.apps import AppConfig
from django.contrib.auth.signals import user_logged_in
from django.core.checks import register
from django.db.backends.signals import connection_created
from django.http import HttpRequest
from django.utils import timezone

from deploy import checks
from deploy.watching import log

BEGUN, SEEN = "begun_at", "seen_at"  # of a session, in seconds since 1970


class DeployConfig(AppConfig):
    name = "deploy"

    def ready(self) -> None:
        register(checks.production_is_safe)
        connection_created.connect(log.watch_queries)
        user_logged_in.connect(_begin_session)


def _begin_session(sender: object, request: HttpRequest, **_: object) -> None:
    now = timezone.now().timestamp()
    request.session.update({BEGUN: now, SEEN: now})
