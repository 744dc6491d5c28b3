"""The board, the audit of sign-offs, repeatability, drift, notices, and the tour."""

from django.urls import URLPattern, URLResolver, path

from reports.pages import agreement, audit, board, drift, flag_acts, notices, recounts, reel_drift, tour

urlpatterns: list[URLPattern | URLResolver] = [
    path("tour", tour.whole, name="tour"),
    path("tour/<slug:slug>", tour.part, name="tour-part"),
    path("account/notices", notices.NoticesView.as_view(), name="notices"),
    path("board", board.board, name="board"),
    path("audit", audit.audit, name="audit"),
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
]
