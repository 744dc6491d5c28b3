"""/healthz, /readyz and /metrics: for load balancers and whoever watches the service. Nobody logs in for them."""

import hmac
from datetime import timedelta
from functools import cache
from ipaddress import ip_address, ip_network
from pathlib import Path

from django.conf import settings
from django.contrib.auth.decorators import login_not_required
from django.db import DatabaseError, connection
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.recorder import MigrationRecorder
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from deploy.watching import metrics
from reels.queries import worker_seen_at

SILENT = timedelta(minutes=2)
OPENMETRICS = "text/plain; version=0.0.4; charset=utf-8"


@login_not_required
@never_cache
@require_safe
def healthz(request: HttpRequest) -> HttpResponse:
    """The process answers; it says nothing of anything else."""
    return JsonResponse({"alive": True})


@login_not_required
@never_cache
@require_safe
def readyz(request: HttpRequest) -> HttpResponse:
    """Whether requests may be sent here: 200, or 503 and why not."""
    states = {"database": database_state(), "migrations": migrations_state()}
    is_ready = set(states.values()) == {"ok"}
    # Without a worker acts and pages go on; only what it works out grows old.
    return JsonResponse({"ready": is_ready, **states, "worker": worker_state()}, status=200 if is_ready else 503)


@login_not_required
@never_cache
@require_safe
def show_metrics(request: HttpRequest) -> HttpResponse:
    """For those with the token, or who ask directly from an address of METRICS_FROM; to others it is not there."""
    if not (has_token(request) or is_near(request)):
        raise Http404
    return HttpResponse(metrics.exposition(), content_type=OPENMETRICS)


# What is asked --------------------------------------------------------------------------------------------------------


def database_state() -> str:
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
            if connection.vendor == "postgresql":
                cursor.execute("SELECT pg_is_in_recovery()")
                return "read only: a standby" if cursor.fetchone()[0] else "ok"
    except DatabaseError:
        return "does not answer"
    return "ok"


def migrations_state() -> str:
    """A newer service may have migrated further: this one goes on until it is replaced."""
    try:
        missing = on_disk() - set(MigrationRecorder(connection).applied_migrations())
    except DatabaseError:
        return "not known"
    return f"{len(missing)} are missing: run manage.py migrate" if missing else "ok"


def worker_state() -> str:
    try:
        at = worker_seen_at()
    except DatabaseError:
        return "not known"
    if at and timezone.now() - at < SILENT:
        return "ok"
    return f"none since {at:%Y-%m-%d %H:%M} UTC: start manage.py run_worker" if at else "none yet"


@cache
def on_disk() -> frozenset[tuple[str, str]]:
    """The migrations that this service came with."""
    loader = MigrationLoader(None, ignore_no_migrations=True)
    return frozenset(loader.disk_migrations)


def has_token(request: HttpRequest) -> bool:
    token = metrics_token(settings.METRICS_TOKEN_FILE)
    presented = request.headers.get("Authorization", "").removeprefix("Bearer ")
    return bool(token) and hmac.compare_digest(presented.encode(), token.encode())


@cache
def metrics_token(path: str) -> str:
    return Path(path).read_text(encoding="utf-8").strip() if path else ""


def is_near(request: HttpRequest) -> bool:
    """An address counts only when nothing passed the request on: a proxy's own address would let everybody in."""
    if "X-Forwarded-For" in request.headers or "Forwarded" in request.headers:
        return False
    try:
        address = ip_address(request.META.get("REMOTE_ADDR", ""))
    except ValueError:
        return False
    return any(address in ip_network(each) for each in settings.METRICS_FROM)
