"""The pages to look at: the list of reels, an inspection. That of a reel is in reports, which draw its cable."""

from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from inspections.pages.inspection_page import inspection_page
from inspections.pages.reel_list import reel_list
from reels.pages.answers import page, reader, show


@page
def reels(request: HttpRequest) -> HttpResponse:
    shown = reel_list(request.GET, reader(request), timezone.now())
    return show(request, "inspections/reels.html", {"list": shown, "section": "reels"})


@page
def inspection(request: HttpRequest, inspection_id: int) -> HttpResponse:
    shown = inspection_page(inspection_id, reader(request), timezone.now())
    about = {"page": shown, "inspection": shown.inspection, "reel": shown.inspection.reel}
    return show(request, "inspections/inspection.html", about, shown.inspection.reel.site)
