from django.urls import URLPattern, URLResolver, path

from reels.api import converters  # noqa: F401  # registers <id:…>
from reports.api import agreement, drift, exports, monthly, pdf, recounts, verifications

urlpatterns: list[URLPattern | URLResolver] = [
    path("reports/drift", drift.FleetDriftEndpoint.as_view()),
    path("reports/monthly", monthly.MonthlyEndpoint.as_view()),
    path("reports/agreement", agreement.AgreementEndpoint.as_view()),
    path("reports/recounts", recounts.RecountListEndpoint.as_view()),
    path("exports", exports.ExportListEndpoint.as_view()),
    path("exports/<uuid:task>", exports.ExportEndpoint.as_view()),
    path("evidence", exports.EvidenceListEndpoint.as_view()),
    path("evidence/<uuid:task>", exports.EvidenceEndpoint.as_view()),
    path("register/history/export", exports.RegisterExportEndpoint.as_view()),
    path("verifications", verifications.VerificationListEndpoint.as_view()),
    path("reels/<serial:serial>/drift", drift.ReelDriftEndpoint.as_view()),
    path("drift-flags", drift.FlagListEndpoint.as_view()),
    path("drift-flags/<id:flag_id>/assignment", drift.FlagAssignmentEndpoint.as_view()),
    path("drift-flags/<id:flag_id>/finding", drift.FlagFindingEndpoint.as_view()),
    path("drift-flags/<id:flag_id>/ending", drift.FlagEndingEndpoint.as_view()),
    path("reels/<serial:serial>/label.pdf", pdf.ReelLabelEndpoint.as_view()),
    path("inspections/<id:inspection_id>/record.pdf", pdf.InspectionDocumentEndpoint.as_view()),
]
