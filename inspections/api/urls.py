from django.urls import URLPattern, URLResolver, path

from inspections.api import (
    count_views,
    exports,
    import_views,
    plausibility_views,
    reel_views,
    rise_views,
    setup_views,
    working_views,
)
from reels.api import converters  # noqa: F401  # registers the kinds of path parts

REEL = "reels/<serial:serial>"
INSPECTION = "inspections/<id:inspection_id>"
SETUP = "setup-values/<id:setup_id>"

urlpatterns: list[URLPattern | URLResolver] = [
    path("workings", working_views.WorkingEndpoint.as_view()),
    path("reel-types/<code:code>/layer-rise", rise_views.LayerRiseEndpoint.as_view()),
    path("reels", reel_views.ReelListEndpoint.as_view()),
    path(REEL, reel_views.ReelDetailEndpoint.as_view()),
    path(f"{REEL}/cable-events", reel_views.CableEventListEndpoint.as_view()),
    path(f"{REEL}/cable-events/<id:event_id>/reversal", reel_views.CableEventReversalEndpoint.as_view()),
    path(f"{REEL}/installation", reel_views.InstallationEndpoint.as_view()),
    path(f"{REEL}/removal", reel_views.RemovalEndpoint.as_view()),
    path(f"{REEL}/hold", reel_views.HoldEndpoint.as_view()),
    path(f"{REEL}/hold/end", reel_views.HoldEndEndpoint.as_view()),
    path(f"{REEL}/move", reel_views.MoveEndpoint.as_view()),
    path(f"{REEL}/retirement", reel_views.RetirementEndpoint.as_view()),
    path(f"{REEL}/inspections", count_views.InspectionOpeningEndpoint.as_view()),
    path(f"{REEL}/setup-values", setup_views.SetupValuesIssueEndpoint.as_view()),
    path("inspections", count_views.InspectionListEndpoint.as_view()),
    path(INSPECTION, count_views.InspectionDetailEndpoint.as_view()),
    path(f"{INSPECTION}/keyings", count_views.KeyingEndpoint.as_view()),
    path(f"{INSPECTION}/readings", count_views.ReadingEndpoint.as_view()),
    path(f"{INSPECTION}/help", count_views.HelpEndpoint.as_view()),
    path(f"{INSPECTION}/release", count_views.ReleaseEndpoint.as_view()),
    path(f"{INSPECTION}/fresh-reading", count_views.FreshReadingEndpoint.as_view()),
    path(f"{INSPECTION}/cancellation", count_views.CancellationEndpoint.as_view()),
    path(f"{INSPECTION}/plausibility", plausibility_views.PlausibilityEndpoint.as_view()),
    path(f"{INSPECTION}/surprise", plausibility_views.OutlierAcceptanceEndpoint.as_view()),
    path(f"{INSPECTION}/sign-offs", count_views.SignOffEndpoint.as_view()),
    path(f"{INSPECTION}/signatures/export", exports.SignatureExportEndpoint.as_view()),
    path(f"{INSPECTION}/void", count_views.VoidEndpoint.as_view()),
    path(f"{INSPECTION}/void/confirmation", count_views.VoidConfirmationEndpoint.as_view()),
    path("imports", import_views.ImportEndpoint.as_view()),
    path("setup-values", setup_views.SetupValuesListEndpoint.as_view()),
    path(SETUP, setup_views.SetupValuesDetailEndpoint.as_view()),
    path(f"{SETUP}/gauge-return", setup_views.GaugeReturnEndpoint.as_view()),
    path(f"{SETUP}/read-backs", setup_views.ReadBackEndpoint.as_view()),
    path(f"{SETUP}/confirmations", setup_views.ConfirmationEndpoint.as_view()),
    path(f"{SETUP}/checks", setup_views.MachineCheckEndpoint.as_view()),
    path(f"{SETUP}/withdrawal", setup_views.WithdrawalEndpoint.as_view()),
    path("authorisations", setup_views.AuthorisationListEndpoint.as_view()),
    path("authorisations/<id:authorisation_id>/end", setup_views.AuthorisationEndEndpoint.as_view()),
]
