"""Where everything is mounted: pages at the root, the API under /api/v1/, the framework's administration to look at."""

from django.contrib import admin
from django.urls import URLPattern, URLResolver, include, path

from deploy.watching import probes
from reels.api.reference import Reference
from reports.pages import reel

api_v1: list[URLPattern | URLResolver] = [
    path("", include("reels.api.urls")),
    path("", include("inspections.api.urls")),
    path("", include("reports.api.urls")),
]

urlpatterns: list[URLPattern | URLResolver] = [
    path("healthz", probes.healthz),
    path("readyz", probes.readyz),
    path("metrics", probes.show_metrics),
    path("api/v1/", include((api_v1, "v1"))),
    path("reference", Reference.as_view(), name="reference"),
    path("admin/", admin.site.urls),
    path("", include("reels.pages.urls")),
    path("", include("reports.pages.urls")),
    path("", include("inspections.pages.urls")),
    # After every other address of reels, because a serial number may hold a stroke.
    path("reels/<path:serial>", reel.reel, name="reel"),
]

handler400 = "deploy.problems.bad_request"
handler403 = "deploy.problems.permission_denied"
handler404 = "deploy.problems.page_not_found"
handler500 = "deploy.problems.server_error"
