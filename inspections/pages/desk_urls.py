"""Acts on reels and setup values. They stand before a reel's page (reports/pages/reel_urls.py)."""

from django.urls import URLPattern, URLResolver, path

from inspections.pages import reel_acts, setup_page

urlpatterns: list[URLPattern | URLResolver] = [
    path("reels/<path:serial>/cut", reel_acts.Cut.as_view(), name="reel-cut"),
    path("reels/<path:serial>/replacement", reel_acts.Replacement.as_view(), name="reel-replacement"),
    path(
        "reels/<path:serial>/cable-events/<int:event_id>/reversal", reel_acts.Reversal.as_view(), name="reel-reversal"
    ),
    path("reels/<path:serial>/setup-values", reel_acts.Issue.as_view(), name="reel-issue"),
    path("reels/<path:serial>/installation", reel_acts.Installation.as_view(), name="reel-installation"),
    path("reels/<path:serial>/removal", reel_acts.Removal.as_view(), name="reel-removal"),
    path("reels/<path:serial>/hold", reel_acts.HoldPlaced.as_view(), name="reel-hold"),
    path("reels/<path:serial>/hold/end", reel_acts.HoldEnded.as_view(), name="reel-hold-end"),
    path("reels/<path:serial>/move", reel_acts.Move.as_view(), name="reel-move"),
    path("reels/<path:serial>/retirement", reel_acts.Retirement.as_view(), name="reel-retirement"),
    path("setup-values/<int:setup_id>", setup_page.setup_values, name="setup-values"),
    path("setup-values/<int:setup_id>/gauge", setup_page.Gauge.as_view(), name="setup-gauge"),
    path("setup-values/<int:setup_id>/read-back", setup_page.SetterReadBack.as_view(), name="setup-read-back"),
    path("setup-values/<int:setup_id>/confirmation", setup_page.Confirmation.as_view(), name="setup-confirmation"),
    path("setup-values/<int:setup_id>/check", setup_page.MachineChecked.as_view(), name="setup-check"),
    path("setup-values/<int:setup_id>/withdrawal", setup_page.Withdrawal.as_view(), name="setup-withdrawal"),
]
