"""The tour, notices, board, audit, repeatability, drift, and documents."""

from django.urls import URLPattern, path

from reels.api import converters  # noqa: F401  # registers <id:…>
from reports.pages import (
    agreement,
    audit,
    board,
    drift,
    flag_acts,
    notices,
    pdf,
    recounts,
    reel_drift,
    tour,
    verification,
)

urlpatterns: list[URLPattern] = [
    path("tour", tour.whole, name="tour"),
    path("tour/<slug:slug>", tour.part, name="tour-part"),
    path("account/notices", notices.NoticesView.as_view(), name="notices"),
    path("board", board.board, name="board"),
    path("audit", audit.audit, name="audit"),
    path("audit/verification", verification.VerificationView.as_view(), name="verification"),
    path("audit.csv", audit.audit_csv, name="audit-csv"),
    path("repeatability", agreement.repeatability, name="repeatability"),
    path("repeatability.csv", agreement.repeatability_csv, name="repeatability-csv"),
    path("repeatability-pairs.csv", agreement.pairs_csv, name="repeatability-pairs"),
    path("repeatability.pdf", agreement.repeatability_pdf, name="repeatability-pdf"),
    path("drift", drift.fleet_drift, name="drift"),
    path("drift/recounts", recounts.recounts, name="recounts"),
    path("drift/recounts.csv", recounts.recounts_csv, name="recounts-csv"),
    path("reels/<path:serial>/drift", reel_drift.reel_drift, name="reel-drift"),
    path("reels/<path:serial>/drift/flag", flag_acts.AssignView.as_view(), name="flag-assign"),
    path("drift/flags/<int:flag_id>", drift.flag, name="flag"),
    path("drift/flags/<int:flag_id>/assignment", flag_acts.ReassignView.as_view(), name="flag-reassign"),
    path("drift/flags/<int:flag_id>/finding", flag_acts.LookIntoView.as_view(), name="flag-finding"),
    path("drift/flags/<int:flag_id>/ending", flag_acts.CloseView.as_view(), name="flag-ending"),
    path("inspections/<id:inspection_id>/record.pdf", pdf.inspection_record, name="inspection-record"),
    path("documents", pdf.documents, name="documents-page"),
    path("documents/check", pdf.check, name="check-document"),
    path("documents/inspections.zip", pdf.bundle, name="documents"),
    path("documents/worksheets/<slug:code>.pdf", pdf.worksheet, name="worksheet"),
    path(
        "documents/practice/<slug:code>/<slug:difficulty>/<int:seed>/<slug:part>.pdf",
        pdf.practice,
        name="practice-sheet",
    ),
    path("documents/setup-cards/<id:setup_id>.pdf", pdf.setup_card, name="setup-card"),
    path("documents/labels.pdf", pdf.labels, name="labels"),
    path("documents/labels/<path:serial>.pdf", pdf.reel_label, name="reel-label"),
    path("documents/drift.pdf", pdf.fleet_drift, name="drift-document"),
    path("documents/drift/<path:serial>.pdf", pdf.reel_drift, name="reel-drift-document"),
    path("documents/histories/<path:serial>.pdf", pdf.reel_history, name="reel-history"),
]
