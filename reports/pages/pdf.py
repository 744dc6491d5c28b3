"""Documents to look at, and a page to drop one on."""

import re
from collections.abc import Iterable

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods

from inspections.access import setup_values_for_read
from inspections.domain.practice import LARGEST_SEED, Difficulty, practice_reel
from inspections.pages.paging import MOST_COUNTED
from inspections.pages.reel.history import Told, entry_in_words
from inspections.queries.parameters import parameters_json, parameters_of_type
from reels.access import readable_history, readable_reels, reel_for_read, reel_type
from reels.errors import NotFound, Refused
from reels.models import Reel
from reels.pages.answers import page, reader
from reels.pages.plain import PlainForm
from reports import access
from reports.domain.verdicts import CheckResult
from reports.errors import FleetTooLarge, NoDocument
from reports.pages.drift import on_paper
from reports.pages.reel_drift import DriftAsOf, evidence_in_words
from reports.pdf.facts import HistoryLine
from reports.queries import documents as queries
from reports.services.checking import check_document

PDF = "application/pdf"
MOST_LABELS = 200  # on one sheet or several
AT_ONCE = 500  # entries of a history held at a time
DAY = forms.DateInput(attrs={"type": "date"})
NUMBER = re.compile("[0-9]{1,4}")


def document(content: bytes, name: str) -> HttpResponse:
    """A PDF as an answer, shown in the browser."""
    return HttpResponse(
        content, content_type=PDF, headers={"Content-Disposition": f'inline; filename="{name}"'}
    )  # fmt: skip


def refusal(refused: Refused | str) -> HttpResponse:
    return HttpResponse(str(refused), status=409, content_type="text/plain; charset=utf-8")


@page
def inspection_record(request: HttpRequest, inspection_id: int) -> HttpResponse:
    """The document of an inspection as it was kept last; ?number= gives an earlier one."""
    typed = request.GET.get("number", "")
    try:
        number = int(typed) if NUMBER.fullmatch(typed) else None
        kept = access.document_for_read(inspection_id, reader(request), timezone.now(), number)
    except NoDocument as refused:
        return refusal(refused)
    answer = document(bytes(kept.content), f"inspection-{inspection_id}-{kept.number}.pdf")
    answer.headers["ETag"] = f'"{kept.digest}"'
    return answer


@page
def worksheet(request: HttpRequest, code: str) -> HttpResponse:
    from reports.pdf.sheets import worksheet as blank

    shown = reel_type(code)
    content = blank.worksheet(
        dict(parameters_json(shown)), parameters_of_type(shown), shown.reference_side, at=timezone.now()
    )  # fmt: skip
    return document(content, f"worksheet-{shown.code}.pdf")


@page
def practice(request: HttpRequest, code: str, difficulty: str, seed: int, part: str) -> HttpResponse:
    """A practice reel on paper, or its answers."""
    from reports.pdf.sheets.practice import practice_answers, practice_sheet

    shown, sheets = reel_type(code), {"sheet": practice_sheet, "answers": practice_answers}
    if part not in sheets or difficulty not in set(Difficulty) or seed > LARGEST_SEED:
        raise NotFound(what="practice sheet", key=request.path)
    reel = practice_reel(parameters_of_type(shown), Difficulty(difficulty), seed)
    content = sheets[part](reel, dict(parameters_json(shown)), shown.reference_side, at=timezone.now())
    return document(content, f"practice-{part}-{shown.code}-{difficulty}-{seed}.pdf")


@page
def setup_card(request: HttpRequest, setup_id: int) -> HttpResponse:
    from reports.pdf.sheets.setup import setup_card as card

    at = timezone.now()
    values = setup_values_for_read(setup_id, reader(request), at)
    return document(card(queries.setup_card_of(values, at), at=at), f"setup-card-{values.pk}.pdf")


@page
def reel_history(request: HttpRequest, serial: str) -> HttpResponse:
    from reports.pdf.sheets import history

    at, person = timezone.now(), reader(request)
    reel = reel_for_read(serial, person, at)
    lines = [
        history_line(entry_in_words(each, person.length_unit)) for each in readable_history(reel).iterator(AT_ONCE)
    ]
    content = history.reel_history(reel.serial, queries.reel_facts(reel), lines, at=at, clocks=reel.site.time_zone)
    return document(content, f"history-{reel.pk}.pdf")


@page
def reel_label(request: HttpRequest, serial: str) -> HttpResponse:
    """A label for one reel."""
    reel = reel_for_read(serial, reader(request), timezone.now())
    return label_document([reel], request, f"label-{reel.pk}.pdf")


@page
def labels(request: HttpRequest) -> HttpResponse:
    """A sheet of labels for all reels in service that one may see, or those of one site (?site=CODE)."""
    reels = readable_reels(reader(request), timezone.now()).filter(retired_at__isnull=True).order_by("serial")
    if site := request.GET.get("site", ""):
        reels = reels.filter(site__code=site)
    chosen = list(reels.select_related("type")[: MOST_LABELS + 1])
    if not 0 < len(chosen) <= MOST_LABELS:
        count = f"more than {MOST_LABELS}" if chosen else "no"
        why_none = (
            f"There are {count} reels to print labels for; 1 to {MOST_LABELS} are printed at a time. Choose a site."
        )
        return refusal(why_none)
    return label_document(chosen, request, "labels.pdf")


def label_document(reels: Iterable[Reel], request: HttpRequest, name: str) -> HttpResponse:
    from reports.pdf.sheets.labels import label_sheet

    return document(label_sheet([queries.label_of(each, request) for each in reels], at=timezone.now()), name)


def history_line(each: Told) -> HistoryLine:
    by = f"{each.by}, {each.via}" if each.via else each.by
    return HistoryLine(
        seq=each.seq, at=each.at, act="\n".join([each.title, *each.remarks]), by=by, digest=each.digest
    )  # fmt: skip


# Drift --------------------------------------------------------------------------------------------------------------


@page
def fleet_drift(request: HttpRequest) -> HttpResponse:
    from reports.pdf.sheets import drift

    at = timezone.now()
    try:
        report = on_paper(request.GET, reader(request), at)
    except FleetTooLarge as refused:
        return refusal(refused)
    as_of, shown = f"{report.as_of or ''}", len(report.intervals)
    if report.total is None:
        left_out = f"More than {MOST_COUNTED - shown}"
    else:
        left_out = f"{report.total - shown}" if report.total > shown else ""
    content = drift.fleet_drift(report.intervals, filters=report.filters, left_out=left_out, as_of=as_of, at=at)
    return document(content, "drift.pdf")


@page
def reel_drift(request: HttpRequest, serial: str) -> HttpResponse:
    """One reel's evidence, today or as of a day."""
    from reports.pdf.sheets import drift

    at, person, day = timezone.now(), reader(request), DriftAsOf(request.GET).day
    reel = reel_for_read(serial, person, at)
    try:
        report = evidence_in_words(reel, day, person.length_unit, at)
    except FleetTooLarge as refused:
        return refusal(refused)
    sheet = drift.CourseSheet(
        reel=reel.serial,
        finding=report.finding,
        picture=report.picture,
        lines=report.intervals,
        counts=[(each.at, each.count, each.counted, each.inferred, each.slip) for each in report.counts],
        cuts=report.cuts,
        clocks=reel.site.time_zone,
    )
    return document(drift.reel_drift(sheet, as_of=f"{day or ''}", at=at), f"drift-{reel.pk}.pdf")


# Checking one -------------------------------------------------------------------------------------------------------


class Dropped(PlainForm):
    file = forms.FileField(label="Document", widget=forms.ClearableFileInput(attrs={"accept": PDF}))


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def check(request: HttpRequest) -> HttpResponse:
    """A page to drop a document on: is it what it says?"""
    from reports.pdf.examination import MAX_BYTES

    form = Dropped()
    findings: tuple[CheckResult, ...] = ()
    if request.method == "POST":
        form = Dropped(request.POST, request.FILES)
        if form.is_valid():
            findings = check_document(form.cleaned_data["file"].read(MAX_BYTES + 1))
    status = 422 if form.is_bound and not form.is_valid() else 200
    return render(request, "reports/check.html", {"form": form, "findings": findings}, status=status)
