"""Drift for the analyst: the fleet's intervals ranked, a reel's evidence, and what becomes of flags."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from itertools import islice
from typing import Any
from urllib.parse import urlencode

from django import forms
from django.http import HttpRequest, HttpResponse, QueryDict
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.safestring import SafeString

from inspections import access
from inspections.domain.drift_records import SLIP_WORDS
from inspections.domain.words import Act
from inspections.models import DriftFlag
from inspections.pages.paging import Pages, one_page
from reels import access as reel_access
from reels.models import Person, Reel
from reels.pages.answers import page, reader, show
from reels.pages.figures import drawn
from reels.pages.formats import FOOT_M, Badge, counted, length, uncertain_length
from reports.domain.drift_figure import SLIP_LIKELY, CountPoint, Course, course_figure
from reports.domain.drift_rows import DriftRow, moment
from reports.domain.recount_words import percent, worth_in_words
from reports.errors import FleetTooLarge
from reports.models import AssessedInterval
from reports.services import assessing, drift_report
from reports.services.drift_evidence import CountEvidence, Evidence, evidence_of

SIZE = 50
AS_OF_SHOWN = 100
FLAGS_SHOWN = 50
LEAST = {"even": 0.5, "all": 0.0}  # the least probability that a choice shows; flagged ones without one
LEAST_FOR_A_FIGURE = 2
FLAGGED = Badge(word="Flagged", icon="referred", tone="stop")
SLIP = Badge(word="Probably a slip", icon="again", tone="doing")
OPEN = Badge(word="Looked into", icon="half", tone="doing")
CLOSED = Badge(word="Closed", icon="checked", tone="good")


class DriftFilter(forms.Form):
    site = forms.ChoiceField(label="Site", required=False)
    type = forms.ChoiceField(label="Reel type", required=False)
    show = forms.ChoiceField(
        label="Intervals", required=False, choices=[("", "flagged"), ("even", "at least even odds"), ("all", "all")]
    )
    as_of = forms.DateField(label="As of the end of", required=False, widget=forms.DateInput(attrs={"type": "date"}))

    def __init__(self, data: QueryDict, sites: Iterable[tuple[str, str]], types: Iterable[str]) -> None:
        super().__init__(data, auto_id="filter-%s", label_suffix="")
        offered: dict[str, list[tuple[str, str]]] = {
            "site": [("", "every site"), *sites],
            "type": [("", "every type"), *((each, each) for each in types)],
        }
        for name, choices in offered.items():
            field: Any = self.fields[name]
            field.choices = choices
        self.is_valid()

    @property
    def chosen(self) -> dict[str, Any]:
        """The filters that are set and make sense."""
        return {name: value for name, value in self.cleaned_data.items() if value}


@dataclass(frozen=True, slots=True, kw_only=True)
class Interval:
    """A pair of neighbouring counts; lengths and probabilities in words."""

    reel: str
    from_at: datetime
    to_at: datetime
    p: str
    p_then: str
    change: str
    logged: str
    cut: str
    badge: Badge | None
    explanation: str
    assign: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class FlagRow:
    row: DriftFlag
    badge: Badge


@dataclass(frozen=True, slots=True, kw_only=True)
class FleetDrift:
    filter: DriftFilter
    pages: Pages
    flags: list[FlagRow]
    behind: int
    as_of: date | None
    refused: str
    export: str


@page
def fleet_drift(request: HttpRequest) -> HttpResponse:
    shown = fleet_drift_of(request.GET, reader(request), timezone.now())
    return show(request, "reports/drift.html", {"drift": shown, "section": "drift"})


def fleet_drift_of(asked: QueryDict, person: Person, at: datetime) -> FleetDrift:
    """The ranked intervals of the reels that the person may see, with the flags that somebody looks into."""
    readable = reel_access.readable_reels(person, at)
    sites = reel_access.readable_sites(person, at).values_list("code", "name")
    form = DriftFilter(asked, list(sites), reel_access.reel_types().values_list("code", flat=True))
    chosen = form.chosen
    names = {"site": "site__code", "type": "type__code"}
    reels = readable.filter(**{names[name]: chosen[name] for name in names if name in chosen})
    as_of, refused, behind = chosen.get("as_of"), "", 0
    if as_of:
        pages, refused = _as_of(reels, as_of, chosen, person)
    else:
        behind = assessing.bring_nearly_up_to_date(at=at)
        pages = _today(reels, asked, chosen, person)
    flags = drift_report.flags_matching(access.readable_flags(person, at), {"state": "open"})
    export = {name: str(chosen[name]) for name in ("site", "type", "as_of") if name in chosen} | {"format": "csv"}
    return FleetDrift(
        filter=form, pages=pages, flags=[_flag_row(row) for row in flags.order_by("id")[:FLAGS_SHOWN]], behind=behind,
        as_of=as_of, refused=refused, export=f"/api/v1/reports/drift?{urlencode(export)}",
    )  # fmt: skip


def _today(reels: Any, asked: QueryDict, chosen: dict[str, Any], person: Person) -> Pages:
    flagged_from = drift_report.flag_at()
    least = LEAST.get(chosen.get("show", ""), flagged_from)

    def shown(row: AssessedInterval) -> Interval:
        return _interval(row, row.assessment.reel.serial, person.length_unit, flagged_from)

    kept = {name: str(value) for name, value in chosen.items()}
    return one_page(drift_report.ranked(reels, least), asked, SIZE, shown, kept=kept)


def _as_of(reels: Any, as_of: date, chosen: dict[str, Any], person: Person) -> tuple[Pages, str]:
    """The first intervals as of a day; nothing but why, where the fleet is too large for a page."""
    nothing = Pages(rows=[], number=1, of=1, total=0, earlier="", later="")
    try:
        assessing.require_small_fleet()
    except FleetTooLarge as refused:
        return nothing, str(refused)
    report = drift_report.report_as_of(reels, datetime.combine(as_of, time.max, tzinfo=UTC))
    least = LEAST.get(chosen.get("show", ""), report.flag_at)
    found = list(islice((row for row in report.rows if row.p_unlogged_cut >= least), AS_OF_SHOWN))
    rows = [_interval(row, row.reel, person.length_unit, report.flag_at) for row in found]
    return Pages(rows=rows, number=1, of=1, total=len(rows), earlier="", later=""), ""


def _interval(row: DriftRow | AssessedInterval, serial: str, unit: str, flagged_from: float) -> Interval:
    is_flagged = row.p_unlogged_cut >= flagged_from
    ends = urlencode({"from": moment(row.from_at), "to": moment(row.to_at)})
    return Interval(
        reel=serial, from_at=row.from_at, to_at=row.to_at, p=percent(row.p_unlogged_cut),
        p_then=percent(row.p_when_counted),
        change=_signed(row.observed_change_m, unit),
        logged=length(row.logged_cut_m, unit) if row.logged_cut_m else "none",
        cut=f"{length(row.cut_m, unit)}, between {length(row.cut_low_m, unit)} and {length(row.cut_high_m, unit)}",
        badge=FLAGGED if is_flagged else None, explanation=row.explanation,
        assign=f"{reverse('flag-assign', args=[serial])}?{ends}",
    )  # fmt: skip


def _signed(metres: float, unit: str) -> str:
    sign = "+" if metres > 0 else "−" if metres < 0 else ""
    return sign + length(abs(metres), unit)


def _flag_row(row: DriftFlag) -> FlagRow:
    return FlagRow(row=row, badge=CLOSED if row.closed_at else OPEN)


# One reel -----------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class CountLine:
    belief: Any
    counted: str
    inferred: str
    badge: Badge | None
    slip: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ReelDrift:
    reel: Reel
    finding: str
    recount: str
    figure: SafeString | None
    counts: list[CountLine]
    cuts: list[tuple[datetime, str]]
    intervals: list[Interval]
    flags: list[FlagRow]
    may_assign: bool


@page
def reel_drift(request: HttpRequest, serial: str) -> HttpResponse:
    shown = reel_drift_of(serial, reader(request), timezone.now())
    return show(request, "reports/reel_drift.html", {"drift": shown, "reel": shown.reel}, shown.reel.site)


def reel_drift_of(serial: str, person: Person, at: datetime) -> ReelDrift:
    """The evidence on one reel. Raises NotFound when the person may not see it."""
    reel = reel_access.reel_for_read(serial, person, at)
    assessing.bring_reel_up_to_date(reel, at=at)
    found, unit = evidence_of(reel), person.length_unit
    intervals = [_interval(row, reel.serial, unit, found.flag_at) for row in found.rows]
    finding = _finding(found, intervals)
    enough = len(found.counts) >= LEAST_FOR_A_FIGURE
    return ReelDrift(
        reel=reel,
        finding=finding,
        recount=worth_in_words(found.recount),
        figure=drawn(course_figure(_course(found, unit), finding), "course") if enough else None,
        counts=[_count_line(each, unit) for each in reversed(found.counts)],
        cuts=[(cut.at, length(cut.length_m, unit)) for cut in reversed(found.cuts)],
        intervals=intervals[::-1],
        flags=[_flag_row(row) for row in reversed(found.flags)],
        may_assign=Act.MAINTAIN in access.acts_held(person, reel, at),
    )


def _finding(found: Evidence, intervals: list[Interval]) -> str:
    """What there is to see, in a sentence."""
    if len(found.counts) < LEAST_FOR_A_FIGURE:
        return f"There are {len(found.counts)} counts on record; a loss shows between two." if found.counts else (
            "There is no count on record yet.")  # fmt: skip
    flagged = [each for each in intervals if each.badge]
    slips = sum(each.belief.p_slip >= SLIP_LIKELY for each in found.counts)
    also = f" {counted(slips, 'count')} probably hold{'s' if slips == 1 else ''} a slip." if slips else ""
    if not flagged:
        likeliest = max(found.rows, key=lambda row: row.p_unlogged_cut)
        return (
            f"Between {len(found.counts)} counts nothing is flagged; the likeliest loss has a probability of "
            f"{percent(likeliest.p_unlogged_cut)}.{also}"
        )
    first = max(flagged, key=lambda each: each.from_at)
    more = f" {counted(len(flagged), 'interval')} are flagged in all." if len(flagged) > 1 else ""
    return (
        f"Between {_day(first.from_at)} and {_day(first.to_at)} an unlogged loss is probable ({first.p}): "
        f"{first.cut}.{more}{also}"
    )


def _day(at: datetime) -> str:
    """A day at the site, as pages write it."""
    return date_format(timezone.localtime(at), "j M Y")


def _course(found: Evidence, unit: str) -> Course:
    times = 1.0 if unit == "m" else 1 / float(FOOT_M)
    return Course(
        unit=unit,
        counts=tuple(
            CountPoint(at=each.belief.at, counted=each.counted_m * times, inferred=each.inferred_m * times,
                       p_slip=each.belief.p_slip)
            for each in found.counts
        ),
        cuts=tuple(cut.at for cut in found.cuts),
        replaced=found.replaced_at,
        flagged=tuple((row.from_at, row.to_at) for row in found.rows if row.p_unlogged_cut >= found.flag_at),
    )  # fmt: skip


def _count_line(each: CountEvidence, unit: str) -> CountLine:
    is_slip = each.belief.p_slip >= SLIP_LIKELY
    return CountLine(
        belief=each.belief, counted=uncertain_length(each.length, unit),
        inferred=length(round(each.inferred_m, 1), unit),
        badge=SLIP if is_slip else None, slip=SLIP_WORDS[each.belief.likeliest_slip] if is_slip else "",
    )  # fmt: skip


# One flag -----------------------------------------------------------------------------------------------------------


@page
def flag(request: HttpRequest, flag_id: int) -> HttpResponse:
    person, at = reader(request), timezone.now()
    row = reel_access.one(access.readable_flags(person, at), "flag", pk=flag_id)
    maintains = Act.MAINTAIN in access.acts_held(person, row.reel, at)
    may = {"maintains": maintains, "may_look": maintains or row.assigned_to_id == person.pk}
    shown = {
        "flag": row,
        "badge": _flag_row(row).badge,
        "p": percent(float(row.p_unlogged_cut)),
        "reel": row.reel,
        **may,
    }
    return show(request, "reports/flag.html", {**shown, "section": "drift"}, row.reel.site)
