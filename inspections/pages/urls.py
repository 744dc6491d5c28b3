"""Pages of reels, counts and practice; that of one reel stands in deploy/urls.py, after all other reel addresses."""

from django.urls import URLPattern, path
from django.views.generic import RedirectView

from inspections.pages import finding_list, findings, gauges
from inspections.pages.count import (
    deciding,
    gauge,
    inspection_page,
    photos,
    preparing,
    signing,
    third_reading,
    worksheet,
)
from inspections.pages.practice import exercises, readiness
from inspections.pages.reel import acts, index, setup_page

urlpatterns: list[URLPattern] = [
    path("", RedirectView.as_view(pattern_name="reels"), name="home"),
    path("reels", index.reels, name="reels"),
    path("reels/<path:serial>/count", preparing.BeginCountView.as_view(), name="count-begin"),
    path("reels/<path:serial>/cut", acts.CutView.as_view(), name="reel-cut"),
    path("reels/<path:serial>/event", acts.ReelEventView.as_view(), name="reel-event"),
    path("reels/<path:serial>/replacement", acts.ReplacementView.as_view(), name="reel-replacement"),
    path(
        "reels/<path:serial>/cable-events/<int:event_id>/reversal",
        acts.ReversalView.as_view(),
        name="reel-reversal",
    ),
    path("reels/<path:serial>/setup-values", acts.IssueView.as_view(), name="reel-issue"),
    path("reels/<path:serial>/installation", acts.InstallationView.as_view(), name="reel-installation"),
    path("reels/<path:serial>/removal", acts.RemovalView.as_view(), name="reel-removal"),
    path("reels/<path:serial>/hold", acts.HoldView.as_view(), name="reel-hold"),
    path("reels/<path:serial>/hold/end", acts.HoldEndView.as_view(), name="reel-hold-end"),
    path("reels/<path:serial>/move", acts.MoveView.as_view(), name="reel-move"),
    path("reels/<path:serial>/retirement", acts.RetirementView.as_view(), name="reel-retirement"),
    path("reels/<path:serial>/finding", findings.FindingView.as_view(), name="reel-finding"),
    path("inspections/<int:inspection_id>/finding", findings.CountFindingView.as_view(), name="count-finding"),
    path("findings", finding_list.findings, name="findings"),
    path("findings/<int:finding_id>/watch", findings.FindingLowerView.as_view(), name="finding-lower"),
    path("findings/<int:finding_id>/closing", findings.FindingCloseView.as_view(), name="finding-close"),
    path("findings/<int:finding_id>/photo", findings.finding_photo, name="finding-photo"),
    path("setup-values/<int:setup_id>", setup_page.setup_values, name="setup-values"),
    path("setup-values/<int:setup_id>/gauge", setup_page.GaugeView.as_view(), name="setup-gauge"),
    path("setup-values/<int:setup_id>/read-back", setup_page.SetterReadBackView.as_view(), name="setup-read-back"),
    path("setup-values/<int:setup_id>/confirmation", setup_page.ConfirmationView.as_view(), name="setup-confirmation"),
    path("setup-values/<int:setup_id>/check", setup_page.MachineCheckView.as_view(), name="setup-check"),
    path("setup-values/<int:setup_id>/withdrawal", setup_page.WithdrawalView.as_view(), name="setup-withdrawal"),
    path("gauges", gauges.wrap_gauges, name="gauges"),
    path("gauges/register", gauges.GaugeRegisterView.as_view(), name="gauge-register"),
    path("gauges/<path:serial>/calibration", gauges.GaugeCalibrationView.as_view(), name="gauge-calibration"),
    path("gauges/<path:serial>/machine", gauges.GaugeMoveView.as_view(), name="gauge-move"),
    path("practice", exercises.PracticeView.as_view(), name="practice"),
    path("practice/reels/<int:exercise_id>", exercises.PracticeStepView.as_view(), name="practice-reel"),
    path("practice/reels/<int:exercise_id>/answers", exercises.answers, name="practice-answers"),
    path("practice/people", readiness.people, name="practice-people"),
    path("practice/people/<int:person_id>", readiness.one_person, name="practice-person"),
    path("inspections/<int:inspection_id>", inspection_page.inspection, name="inspection"),
    path("inspections/<int:inspection_id>/worksheet", worksheet.TechnicianView.as_view(), name="worksheet-technician"),
    path("inspections/<int:inspection_id>/witness", worksheet.VerifierView.as_view(), name="worksheet-verifier"),
    path("inspections/<int:inspection_id>/gauge", gauge.GaugeTakingView.as_view(), name="count-gauge"),
    path("inspections/<int:inspection_id>/gauge/return", gauge.GaugeReturnView.as_view(), name="gauge-return"),
    path(
        "inspections/<int:inspection_id>/third-readings/<slug:point>/request",
        third_reading.ThirdAskView.as_view(),
        name="third-ask",
    ),
    path(
        "inspections/<int:inspection_id>/third-readings/<int:third_id>",
        third_reading.ThirdKeyView.as_view(),
        name="third-reading",
    ),
    path(
        "inspections/<int:inspection_id>/third-readings/<int:third_id>/end",
        third_reading.ThirdTakeBackView.as_view(),
        name="third-end",
    ),
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
