from django.urls import URLPattern, URLResolver, include, path
from django.views.generic import RedirectView

from inspections.pages import deciding, photos, preparing, signing, views, worksheet

urlpatterns: list[URLPattern | URLResolver] = [
    path("", RedirectView.as_view(pattern_name="reels"), name="home"),
    path("reels", views.reels, name="reels"),
    path("reels/<path:serial>/count", preparing.BeginCountView.as_view(), name="count-begin"),
    path("", include("inspections.pages.desk_urls")),
    path("", include("inspections.pages.practice_urls")),
    path("inspections/<int:inspection_id>", views.inspection, name="inspection"),
    path("inspections/<int:inspection_id>/worksheet", worksheet.TechnicianView.as_view(), name="worksheet-technician"),
    path("inspections/<int:inspection_id>/witness", worksheet.VerifierView.as_view(), name="worksheet-verifier"),
    path("inspections/<int:inspection_id>/draft", worksheet.keep, name="worksheet-keep"),
    path("inspections/<int:inspection_id>/stamp", worksheet.stamp, name="worksheet-stamp"),
    path("inspections/<int:inspection_id>/drawing/<slug:role>", worksheet.drawing, name="worksheet-drawing"),
    path("inspections/<int:inspection_id>/photos/<int:photo_id>", photos.photo, name="photo"),
    path("inspections/<int:inspection_id>/result", signing.ResultView.as_view(), name="result"),
    path("inspections/<int:inspection_id>/help", deciding.HelpView.as_view(), name="help"),
    path("inspections/<int:inspection_id>/referral", deciding.ReferralView.as_view(), name="referral"),
    path("inspections/<int:inspection_id>/cancel", deciding.CancelView.as_view(), name="cancel"),
    path("inspections/<int:inspection_id>/void", deciding.VoidView.as_view(), name="void"),
]
