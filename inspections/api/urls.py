from django.urls import URLPattern, URLResolver, path

from inspections.api import (
    count_views,
    exports,
    import_views,
    reel_views,
    rise_views,
    setup_views,
    surprise_views,
    working_views,
)
from reels.api import converters  # noqa: F401  # registers the kinds of path parts

REEL = "reels/<serial:serial>"
INSPECTION = "inspections/<id:inspection_id>"
SETUP = "setup-values/<id:setup_id>"

urlpatterns: list[URLPattern | URLResolver] = [
    path("workings", working_views.Workings.as_view()),
    path("reel-types/<code:code>/layer-rise", rise_views.LayerRise.as_view()),
    path("reels", reel_views.Reels.as_view()),
    path(REEL, reel_views.ReelDetail.as_view()),
    path(f"{REEL}/cable-events", reel_views.CableEvents.as_view()),
    path(f"{REEL}/cable-events/<id:event_id>/reversal", reel_views.CableEventReversal.as_view()),
    path(f"{REEL}/installation", reel_views.Installation.as_view()),
    path(f"{REEL}/removal", reel_views.Removal.as_view()),
    path(f"{REEL}/hold", reel_views.Hold.as_view()),
    path(f"{REEL}/hold/end", reel_views.HoldEnd.as_view()),
    path(f"{REEL}/move", reel_views.Move.as_view()),
    path(f"{REEL}/retirement", reel_views.Retirement.as_view()),
    path(f"{REEL}/inspections", count_views.ReelInspections.as_view()),
    path(f"{REEL}/setup-values", setup_views.Issue.as_view()),
    path("inspections", count_views.Inspections.as_view()),
    path(INSPECTION, count_views.InspectionDetail.as_view()),
    path(f"{INSPECTION}/keyings", count_views.Keyings.as_view()),
    path(f"{INSPECTION}/readings", count_views.Readings.as_view()),
    path(f"{INSPECTION}/help", count_views.Help.as_view()),
    path(f"{INSPECTION}/release", count_views.Release.as_view()),
    path(f"{INSPECTION}/fresh-reading", count_views.FreshReading.as_view()),
    path(f"{INSPECTION}/cancellation", count_views.Cancellation.as_view()),
    path(f"{INSPECTION}/plausibility", surprise_views.Plausibility.as_view()),
    path(f"{INSPECTION}/surprise", surprise_views.Surprise.as_view()),
    path(f"{INSPECTION}/sign-offs", count_views.SignOffs.as_view()),
    path(f"{INSPECTION}/signatures/export", exports.Signatures.as_view()),
    path(f"{INSPECTION}/void", count_views.Void.as_view()),
    path(f"{INSPECTION}/void/confirmation", count_views.VoidConfirmation.as_view()),
    path("imports", import_views.Imports.as_view()),
    path("setup-values", setup_views.SetupValuesList.as_view()),
    path(SETUP, setup_views.SetupValuesDetail.as_view()),
    path(f"{SETUP}/gauge-return", setup_views.GaugeReturn.as_view()),
    path(f"{SETUP}/read-backs", setup_views.ReadBacks.as_view()),
    path(f"{SETUP}/confirmations", setup_views.Confirmations.as_view()),
    path(f"{SETUP}/checks", setup_views.Checks.as_view()),
    path(f"{SETUP}/withdrawal", setup_views.Withdrawal.as_view()),
    path("authorisations", setup_views.Authorisations.as_view()),
    path("authorisations/<id:authorisation_id>/end", setup_views.AuthorisationEnd.as_view()),
]
