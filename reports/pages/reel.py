"""The page of a reel: what inspections shows of it, with the course of its cable drawn in."""

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone

from inspections.pages.reel.page import reel_page
from reels.pages.answers import page, reader, show
from reports.pages.reel_drift import figures_of, in_words
from reports.services import assessments
from reports.services.drift_evidence import evidence_of


@page
def reel(request: HttpRequest, serial: str) -> HttpResponse:
    person, at = reader(request), timezone.now()
    shown = reel_page(serial, person, at)
    row = shown["reel"]
    evidence = in_words(
        evidence_of(row),
        row,
        person.length_unit,
        rates_known=bool(assessments.known_rates()),
        told_at=reverse("reel-drift", args=[row.serial]),
    )
    about = {
        "page": shown,
        "reel": row,
        "finding": evidence.finding,
        "figures": figures_of(evidence),
        "section": "reels",
    }
    return show(request, "reports/reel.html", about, row.site)
