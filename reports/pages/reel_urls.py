"""A reel's page. It comes after every other address of reels, because a serial number may hold a stroke."""

from django.urls import URLPattern, URLResolver, path

from reports.pages import reel

urlpatterns: list[URLPattern | URLResolver] = [path("reels/<path:serial>", reel.reel, name="reel")]
