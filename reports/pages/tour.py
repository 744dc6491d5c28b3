"""The guided tour, for whoever is new. It may be read before one logs in: it says as whom to."""

from typing import Any

from django.conf import settings
from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse

from reels.pages.answers import page, show
from reports.services import tour


def offered(_request: HttpRequest) -> dict[str, Any]:
    """For every page: whether there is a tour to lead to."""
    return {"tour_offered": bool(settings.TOUR_FILE)}


@login_not_required
@page
def whole(request: HttpRequest) -> HttpResponse:
    return show(request, "reports/tour.html", {"tour": tour.tour()})


@login_not_required
@page
def part(request: HttpRequest, slug: str) -> HttpResponse:
    whole_tour, role = tour.role_tour(slug)
    is_them = request.user.get_username() == role.username
    return show(request, "reports/tour_part.html", {"tour": whole_tour, "role": role, "is_them": is_them})
