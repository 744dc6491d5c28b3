"""The wiring as a Django app, so that its checks run with every command."""

import secrets
from typing import Any

from django.apps import AppConfig
from django.contrib.auth.signals import user_logged_in
from django.core.checks import register
from django.db.backends.signals import connection_created
from django.http import HttpRequest
from django.utils import timezone

from deploy import checks
from deploy.watching import log
from reels.services import browsers

BEGUN, SEEN = "begun_at", "seen_at"  # of a session, in seconds since 1970
LOGGED_IN = "wrapledger.logged_in"  # of a request: as whom somebody logged in with it


class DeployConfig(AppConfig):
    name = "deploy"

    def ready(self) -> None:
        register(checks.production_is_safe)
        register(checks.production_has_its_keys, deploy=True)
        connection_created.connect(log.watch_queries)
        user_logged_in.connect(_begin_session)


def _begin_session(sender: object, request: HttpRequest, user: Any, **_: object) -> None:
    now = timezone.now().timestamp()
    request.session.update({BEGUN: now, SEEN: now, browsers.COUNTED_AS: secrets.token_urlsafe(16)})
    request.META[LOGGED_IN] = user.get_username()
