"""Whether a document still stands, for whoever holds it: without a login, and nothing else is told."""

from datetime import datetime
from typing import Any

from django.contrib.auth.decorators import login_not_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from inspections.domain.validity import Validity
from reports.queries.standing import standing_of_record, standing_of_values


@login_not_required
@never_cache
@require_safe
def record_stands(request: HttpRequest, digest: str, **_said: Any) -> HttpResponse:
    """Of a signed count. What the document's code says besides its digest is for its holder, and is not looked at."""
    at = timezone.now()
    return _told(request, standing_of_record(digest, at), at)


@login_not_required
@never_cache
@require_safe
def values_stand(request: HttpRequest, digest: str, setup_id: int) -> HttpResponse:
    """Of setup values from a count."""
    at = timezone.now()
    return _told(request, standing_of_values(digest, setup_id, at), at)


def _told(request: HttpRequest, word: Validity | None, at: datetime) -> HttpResponse:
    if word is None:
        raise Http404
    return render(request, "reports/stands.html", {"word": word, "at": at})
