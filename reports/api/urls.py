from django.urls import URLPattern, URLResolver, path

from reels.api import converters  # noqa: F401  # registers <id:…>
from reports.api import agreement, drift, pdf, recounts

urlpatterns: list[URLPattern | URLResolver] = [
    path("reports/drift", drift.FleetDrift.as_view()),
    path("reports/agreement", agreement.AgreementFigures.as_view()),
    path("reports/recounts", recounts.Recounts.as_view()),
    path("reels/<serial:serial>/drift", drift.ReelDrift.as_view()),
    path("drift-flags", drift.Flags.as_view()),
    path("drift-flags/<id:flag_id>/assignment", drift.FlagAssignment.as_view()),
    path("drift-flags/<id:flag_id>/finding", drift.FlagFinding.as_view()),
    path("drift-flags/<id:flag_id>/ending", drift.FlagEnding.as_view()),
    path("inspections/<id:inspection_id>/record.pdf", pdf.InspectionDocument.as_view()),
]
