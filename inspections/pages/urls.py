from django.urls import URLPattern, URLResolver, path
from django.views.generic import RedirectView

from inspections.pages import views

urlpatterns: list[URLPattern | URLResolver] = [
    path("", RedirectView.as_view(pattern_name="reels"), name="home"),
    path("reels", views.reels, name="reels"),
    path("reels/<path:serial>", views.reel, name="reel"),  # a serial number may hold a stroke
    path("inspections/<int:inspection_id>", views.inspection, name="inspection"),
]
