"""A reel's drift: a finding in a sentence, the figure, and all of it as tables; today, or as of a day."""

from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.safestring import SafeString

from inspections import access
from inspections.domain import drift
from inspections.domain.drift.records import SLIP_WORDS
from inspections.domain.words import Act
from reels import access as reel_access
from reels.domain.drawing import Picture
from reels.domain.words import LengthUnit, counted
from reels.models import Reel, Site
from reels.pages.answers import page, reader, show
from reels.pages.figures import drawn
from reels.pages.filters import DayFilter, Filter
from reels.pages.formats import Badge, count_words, day_words, length, uncertain_length
from reports.domain.drift_figure import NARROW, SLIP_LIKELY, CountPoint, Course, course_figure
from reports.domain.drift_rows import end_of
from reports.domain.recount_words import percent, worth_in_words
from reports.errors import FleetTooLarge
from reports.pages.interval_rows import FlagRow, Interval, flag_row, interval_of, with_flags
from reports.services import assessments
from reports.services.drift_evidence import CountEvidence, Evidence, evidence_of

LEAST_FOR_A_FIGURE = 2
SLIP = Badge(word="Probably a slip", icon="again", tone="doing")


class DriftAsOf(Filter):
    as_of = DayFilter("As of the end of")

    @property
    def day(self) -> date | None:
        """The day that is asked for, if it is one."""
        day: date | None = self.cleaned_data.get("as_of")
        return day


@dataclass(frozen=True, slots=True, kw_only=True)
class CountLine:
    """A count in words. number: of the reel's counts, the oldest 1; points of the figure lead to it."""

    number: int
    at: datetime
    count: str
    counted: str
    inferred: str
    badge: Badge | None
    slip: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ReelEvidence:
    """What is to be said of a reel's drift, in words. picture, narrow: None where there are too few counts for one.

    intervals: all of them; `telling` are those that say something.
    """

    finding: str
    recount: str
    picture: Picture | None
    narrow: Picture | None
    counts: list[CountLine]
    cuts: list[tuple[datetime, str]]
    intervals: list[Interval]
    flags: list[FlagRow]

    @property
    def telling(self) -> list[Interval]:
        return [each for each in self.intervals if each.assign]

    @property
    def others(self) -> list[Interval]:
        return [each for each in self.intervals if not each.assign]


@page
def reel_drift(request: HttpRequest, serial: str) -> HttpResponse:
    person, at = reader(request), timezone.now()
    reel = reel_access.reel_for_read(serial, person, at)
    form, refused, evidence = DriftAsOf(request.GET), "", None
    try:
        evidence = evidence_in_words(reel, form.day, person.length_unit, at)
    except FleetTooLarge as too_large:
        refused = str(too_large)
    is_kept = form.day is None and assessments.known_rates() is not None
    may_assign = is_kept and Act.MAINTAIN in access.acts_held(person, reel, at)
    shown = {
        "filter": form,
        "evidence": evidence,
        "figures": figures_of(evidence) if evidence else [],
        "may_assign": may_assign,
        "refused": refused,
    }
    return show(request, "reports/reel_drift.html", {"drift": shown, "reel": reel}, reel.site)


def figures_of(evidence: ReelEvidence) -> list[tuple[str, SafeString]]:
    """For a desk screen and for a phone, of which the style sheet shows one; none of too few counts."""
    pictures = (("wide", evidence.picture), ("narrow", evidence.narrow))
    return [(name, drawn(picture, f"course-{name}")) for name, picture in pictures if picture]


def evidence_in_words(reel: Reel, day: date | None, unit: str, at: datetime) -> ReelEvidence:
    """A reel's evidence today, or as of a day, lengths in a unit. Raises FleetTooLarge as of a day."""
    as_of = end_of(day) if day else None
    if as_of is None:
        assessments.bring_reel_up_to_date(reel, at=at)
    rates_known = as_of is not None or assessments.known_rates() is not None
    return in_words(evidence_of(reel, as_of), reel, unit, as_of, rates_known=rates_known)


def in_words(
    evidence: Evidence, reel: Reel, unit: str, as_of: datetime | None = None, *, rates_known: bool, told_at: str = ""
) -> ReelEvidence:
    """Evidence in words, the newest first, by the days of the reel's site.

    rates_known: whether it is by the fleet's own rates; told_at: the page of the counts, if it is another.
    """
    intervals = [interval_of(row, reel.serial, unit, evidence.flag_at, reel.site) for row in evidence.rows]
    finding = _finding(evidence, intervals) + ("" if rates_known else drift.BY_GENERAL_RATES)
    enough = len(evidence.counts) >= LEAST_FOR_A_FIGURE
    course = _course(evidence, reel.site, unit, told_at)
    return ReelEvidence(
        finding=finding,
        recount=worth_in_words(evidence.recount),
        picture=course_figure(course, finding) if enough else None,
        narrow=course_figure(course, finding, NARROW) if enough else None,
        counts=[_count_line(number, each, unit) for number, each in enumerate(evidence.counts, 1)][::-1],
        cuts=[(cut.at, length(cut.length_m, unit)) for cut in reversed(evidence.cuts)],
        intervals=with_flags(intervals[::-1], evidence.flags if as_of is None else ()),
        flags=[flag_row(row, as_of) for row in reversed(evidence.flags)],
    )


def _finding(evidence: Evidence, intervals: list[Interval]) -> str:
    if len(evidence.counts) < LEAST_FOR_A_FIGURE:
        return "There is one count on record; a loss shows between two." if evidence.counts else (
            "There is no count on record yet.")  # fmt: skip
    flagged = [each for each in intervals if each.badge]
    slips = sum(each.posterior.p_slip >= SLIP_LIKELY for each in evidence.counts)
    also = f" {counted(slips, 'count')} probably hold{'s' if slips == 1 else ''} a slip." if slips else ""
    if not flagged:
        likeliest = max(evidence.rows, key=lambda row: row.p_unlogged_cut)
        return (
            f"Between {len(evidence.counts)} counts nothing is flagged; the likeliest loss has a probability of "
            f"{percent(likeliest.p_unlogged_cut)}.{also}"
        )
    first = max(flagged, key=lambda each: each.from_at)
    more = f" {counted(len(flagged), 'interval')} are flagged in all." if len(flagged) > 1 else ""
    days = " and ".join(day_words(at, first.site) for at in (first.from_at, first.to_at))
    return f"Between {days} an unlogged loss is probable ({first.p}): {first.cut}.{more}{also}"


def _course(evidence: Evidence, site: Site, unit: str, told_at: str) -> Course:
    metres = float(LengthUnit(unit).metres)
    return Course(
        unit=unit,
        counts=tuple(
            CountPoint(at=each.posterior.at.astimezone(site.zone), counted=each.counted_m / metres,
                       inferred=each.inferred_m / metres, p_slip=each.posterior.p_slip,
                       u=float(each.length.combined_u_m) / metres if each.length else 0.0,
                       address=f"{told_at}#count-{number}", label=_label(each, site, unit))
            for number, each in enumerate(evidence.counts, 1)
        ),
        cuts=tuple(cut.at for cut in evidence.cuts),
        replaced=evidence.replaced_at,
        flagged=tuple((row.from_at, row.to_at) for row in evidence.rows if row.p_unlogged_cut >= evidence.flag_at),
    )  # fmt: skip


def _label(each: CountEvidence, site: Site, unit: str) -> str:
    slip = ", probably a slip" if each.posterior.p_slip >= SLIP_LIKELY else ""
    return f"Count of {day_words(each.posterior.at, site)}: {length(each.counted_m, unit, places=1)}{slip}"


def _count_line(number: int, each: CountEvidence, unit: str) -> CountLine:
    posterior: Any = each.posterior
    is_slip = posterior.p_slip >= SLIP_LIKELY
    return CountLine(
        number=number, at=posterior.at, count=count_words(posterior.layers, posterior.wraps),
        counted=uncertain_length(each.length, unit), inferred=length(each.inferred_m, unit, places=1),
        badge=SLIP if is_slip else None, slip=SLIP_WORDS[posterior.likeliest_slip] if is_slip else "",
    )  # fmt: skip
