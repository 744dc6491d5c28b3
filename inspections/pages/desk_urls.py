"""Acts on reels and setup values. They stand before a reel's page (reports/pages/reel_urls.py)."""

from django.urls import URLPattern, URLResolver, path

from inspections.pages import reel_acts, setup_page

urlpatterns: list[URLPattern | URLResolver] = [
    path("reels/<path:serial>/cut", reel_acts.CutView.as_view(), name="reel-cut"),
    path("reels/<path:serial>/replacement", reel_acts.ReplacementView.as_view(), name="reel-replacement"),
    path(
        "reels/<path:serial>/cable-events/<int:event_id>/reversal",
        reel_acts.ReversalView.as_view(),
        name="reel-reversal",
    ),
    path("reels/<path:serial>/setup-values", reel_acts.IssueView.as_view(), name="reel-issue"),
    path("reels/<path:serial>/installation", reel_acts.InstallationView.as_view(), name="reel-installation"),
    path("reels/<path:serial>/removal", reel_acts.RemovalView.as_view(), name="reel-removal"),
    path("reels/<path:serial>/hold", reel_acts.HoldView.as_view(), name="reel-hold"),
    path("reels/<path:serial>/hold/end", reel_acts.HoldEndView.as_view(), name="reel-hold-end"),
    path("reels/<path:serial>/move", reel_acts.MoveView.as_view(), name="reel-move"),
    path("reels/<path:serial>/retirement", reel_acts.RetirementView.as_view(), name="reel-retirement"),
    path("setup-values/<int:setup_id>", setup_page.setup_values, name="setup-values"),
    path("setup-values/<int:setup_id>/gauge", setup_page.GaugeView.as_view(), name="setup-gauge"),
    path("setup-values/<int:setup_id>/read-back", setup_page.SetterReadBackView.as_view(), name="setup-read-back"),
    path("setup-values/<int:setup_id>/confirmation", setup_page.ConfirmationView.as_view(), name="setup-confirmation"),
    path("setup-values/<int:setup_id>/check", setup_page.MachineCheckView.as_view(), name="setup-check"),
    path("setup-values/<int:setup_id>/withdrawal", setup_page.WithdrawalView.as_view(), name="setup-withdrawal"),
]
