"""Safety notices: the list of them, the page of each with its reels, and the acts on them."""

from collections.abc import Iterator
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from inspections.access import maintains_anything, may_for_all, require_for_all
from inspections.domain.act_fields import SafetyNoticeFields
from inspections.domain.words import Act, NoticedState
from inspections.models import NoticedReel, SafetyNotice
from inspections.pages.count.forms import ReasonForm
from inspections.pages.paging import counted_if_few, page_by_place
from inspections.queries.safety_notices import noticed_reels, safety_notices
from inspections.services import safety_notices as services
from reels import access
from reels.pages.act_fields import form_of, reel_types_offered
from reels.pages.acts import ActView
from reels.pages.answers import page, reader, show
from reels.pages.formats import Badge
from reports.pages.written import csv_answer

SIZE = 50
STANDS = Badge(word="Stands", icon="held", tone="stop")
LIFTED = Badge(word="Lifted", icon="checked", tone="quiet")
BADGE = {
    NoticedState.HELD: Badge(word="Held", icon="held", tone="stop"),
    NoticedState.HELD_BEFORE: Badge(word="Held before", icon="held", tone="doing",
                                    means="Another hold is on it; once that ends, the notice holds it."),
    NoticedState.RELEASED: Badge(word="Let go", icon="checked", tone="good"),
    NoticedState.NOT_HELD: Badge(word="Not held by it", icon="checked", tone="quiet"),
}  # fmt: skip
COLUMNS = ("reel", "reel_type", "site", "noticed_at", "state", "released_at", "released_by", "release_reason")


@page
def notices(request: HttpRequest) -> HttpResponse:
    """Every notice, the newest first."""
    person, at = reader(request), timezone.now()
    rows = safety_notices()
    pages = page_by_place(rows, ("-id",), request.GET, SIZE, _shown, total=counted_if_few(rows))
    about = {"pages": pages, "may_issue": maintains_anything(person, at), "section": "board"}
    return show(request, "reports/safety_notices.html", about)


@page
def notice(request: HttpRequest, notice_id: int) -> HttpResponse:
    """One notice with the reels that one may see, and what became of each."""
    person, at = reader(request), timezone.now()
    row = access.one(safety_notices(), "safety notice", pk=notice_id)
    reels = noticed_reels(row, person, at)
    pages = page_by_place(reels, ("id",), request.GET, SIZE, _reel, total=counted_if_few(reels))
    may_lift = row.lifted_at is None and may_for_all(person, row, at, *services.MAY_LIFT)
    about = {**_shown(row), "pages": pages, "may_lift": may_lift, "run": services.task_of(row), "section": "board"}
    return show(request, "reports/safety_notice.html", about)


@never_cache
@require_safe
def notice_csv(request: HttpRequest, notice_id: int) -> HttpResponseBase:
    """The same reels, all of them."""
    person, at = reader(request), timezone.now()
    row = access.one(safety_notices(), "safety notice", pk=notice_id)
    return csv_answer(COLUMNS, _as_written(noticed_reels(row, person, at)), f"safety-notice-{row.pk}.csv")


def _as_written(rows: Any) -> Iterator[tuple[object, ...]]:
    for each in rows.iterator(chunk_size=500):
        hold = each.hold
        ended = (hold.ended_at.isoformat(), hold.ended_by.full_name, hold.end_reason) if hold and hold.ended_at else (
            "", "", "")  # fmt: skip
        yield (
            each.reel.serial,
            each.reel.type.code,
            each.reel.site.code,
            each.noticed_at.isoformat(),
            each.state,
            *ended,
        )


def _shown(row: SafetyNotice) -> dict[str, Any]:
    return {"row": row, "badge": LIFTED if row.lifted_at else STANDS}


def _reel(row: NoticedReel) -> dict[str, Any]:
    return {"row": row, "badge": BADGE[row.state]}


class IssueNoticeView(ActView):
    """How many reels it holds, and which, is asked before it is done."""

    title, button = "Issue a safety notice", "Issue the notice"
    says = (
        "It holds every reel to which all that you name applies: those there are now, one act each, and any that comes "
        "to be covered later (received, counted, given another cable), until it is lifted. Setup values in force are "
        "withdrawn. Before it is done you are told how many reels these are, and which."
    )
    form_class = form_of(SafetyNoticeFields)
    template_name = "reels/form.html"
    issued: SafetyNotice | None = None

    def require_allowed(self) -> None:
        if not maintains_anything(self.person, self.at):
            require_for_all(self.person, SafetyNotice(), self.at, Act.MAINTAIN)

    def form_options(self) -> dict[str, Any]:
        sites = access.readable_sites(self.person, self.at).values_list("code", "name")
        return {"offered": {"reel_type": ("every type", reel_types_offered()), "site": ("every site", sites)}}

    def do(self, data: dict[str, Any]) -> None:
        self.issued = services.issue(facts=SafetyNoticeFields(**data), actor=self.actor, at=self.at)
        self.message = f"Safety notice {self.issued.reference} stands. Its reels are being held."

    def done_at(self) -> str:
        return reverse("safety-notice", args=[self.issued.pk]) if self.issued else reverse("safety-notices")

    def context(self) -> dict[str, Any]:
        return {"section": "board"}


class LiftNoticeView(ActView):
    title, button = "Lift the safety notice", "Lift it"
    says = (
        "It covers no reel any more, and the reels that it holds are let go. One with a stop finding, or received not "
        "sound meanwhile, stays held."
    )
    form_class = ReasonForm
    template_name = "reels/form.html"
    notice: SafetyNotice

    def find(self, notice_id: int) -> None:  # type: ignore[override]  # the address names the notice
        self.notice = access.one(safety_notices(), "safety notice", pk=notice_id)

    def require_allowed(self) -> None:
        require_for_all(self.person, self.notice, self.at, *services.MAY_LIFT)

    def seen(self) -> str:
        return str(self.notice.lifted_at or "")

    def do(self, data: dict[str, Any]) -> None:
        services.lift(notice_id=self.notice.pk, reason=data["reason"], actor=self.actor, at=self.at)
        self.message = f"Safety notice {self.notice.reference} is lifted. Its reels are being let go."

    def done_at(self) -> str:
        return reverse("safety-notice", args=[self.notice.pk])

    def context(self) -> dict[str, Any]:
        return {"section": "board", "row": self.notice}
