from django.urls import URLPattern, URLResolver, include, path

from reels.api import converters  # noqa: F401  # registers <id:…>
from reports.pages import pdf

urlpatterns: list[URLPattern | URLResolver] = [
    path("", include("reports.pages.desk_urls")),
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
    path("documents/drift.pdf", pdf.fleet_drift, name="drift-document"),
    path("documents/drift/<path:serial>.pdf", pdf.reel_drift, name="reel-drift-document"),
    path("documents/histories/<path:serial>.pdf", pdf.reel_history, name="reel-history"),
]
