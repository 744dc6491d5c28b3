"""The monthly report in words: its parts as tables, alike for the page and for the document."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo

from inspections.domain.drift.records import Ending
from inspections.domain.findings import ReelPart
from inspections.domain.words import Act
from inspections.pages.words import STATUS
from reels.domain.words import counted
from reels.pages.formats import length
from reels.pages.pieces import address_of
from reports.domain.monthly import CableLost, CountsMade, Ends, FlagsEnded, Held, MonthlyFigures, Period, together
from reports.pdf.facts import PartLine, ReportPart
from reports.services.monthly import MonthlyReport

HOLDS_SHOWN = 50
MOMENT = timedelta(microseconds=1)  # before the end, which is the first of the next day
ENDINGS = {
    Ending.LATE_LOGGED_CUT: "Closed: a cut that was logged late",
    Ending.MISCOUNT: "Closed: a miscount",
    Ending.CONFIRMED_LOSS: "Closed: a loss, confirmed",
    Ending.UNEXPLAINED: "Closed: unexplained",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Wording:
    """In which unit lengths are said, and by which clocks days are."""

    unit: str
    clock: tzinfo

    def day(self, at: datetime) -> str:
        local = at.astimezone(self.clock)
        return f"{local.day} {local:%b %Y}"

    def metres(self, metres: float) -> str:
        return length(metres, self.unit, places=1)


def parts_of(report: MonthlyReport, unit: str) -> list[ReportPart]:
    """The parts, in the order in which somebody would ask."""
    figures, wording = report.figures, Wording(unit=unit, clock=report.clock)
    return [
        _reels(figures, wording), _counts(figures.counts), _cable(figures.lost, wording), _flags(figures.flags),
        _values(figures), *_inferred(figures.lost, wording), _findings(figures), _holds(figures.holds, wording),
        _ends(report.ends, report.period, wording),
    ]  # fmt: skip


def _part(key: str, title: str, columns: Sequence[str], rows: Sequence[Sequence[str]], shares: Sequence[float],
          *, says: str = "", none: str = "", addresses: Sequence[str] = ()) -> ReportPart:  # fmt: skip
    lines = [
        PartLine(head=row[0], cells=list(zip(columns[1:], row[1:], strict=True)), address=address)
        for row, address in zip(rows, addresses or [""] * len(rows), strict=True)
    ]
    return ReportPart(key=key, title=title, says=says, columns=columns, shares=shares, lines=lines, none=none)


def _numbers(key: str, title: str, rows: Sequence[tuple[str, int | str]], *, says: str = "") -> ReportPart:
    return _part(key, title, ("What", "Number"), [(what, f"{n}") for what, n in rows], (3, 1), says=says)


def _reels(figures: MonthlyFigures, wording: Wording) -> ReportPart:
    then, now = figures.at_end, figures.now
    rows = [
        (badge.word, f"{then.reels[status]}", f"{now.reels[status]}")
        for status, badge in STATUS.items() if then.reels[status] or now.reels[status]
    ]  # fmt: skip
    rows.append(("All reels", f"{then.total}", f"{now.total}"))
    rows.append(("Count due", f"{then.due}", f"{now.due}"))
    says = (
        f"At the end of {wording.day(then.at - MOMENT)}, and now, {wording.day(now.at)}; by when things happened, as "
        "far as it is recorded today. A reel is told at the site where it is now."
    )
    return _part("reels", "Reels by status", ("Status", "At the end", "Now"), rows, (2, 1, 1), says=says)


def _counts(made: CountsMade) -> ReportPart:
    return _numbers("counts", "Counts", [
        ("Counts done and signed", made.signed), ("Of these, entered from paper", made.from_paper),
        ("Counts brought in from older records", made.brought_in),
        ("Counts voided since", made.voided), ("Counts cancelled", made.cancelled),
        ("Readings that were read again", made.rereads), ("Counts with such a reading", made.reread),
        ("Counts referred", made.referred), ("Of these, to be read again by decision", made.released_to_read),
        ("Of these, accepted as proposed", made.released_as_proposed),
    ])  # fmt: skip


def _cable(lost: CableLost, wording: Wording) -> ReportPart:
    rows: list[tuple[str, int | str]] = [
        ("Logged cuts", lost.cuts), ("Cut, by the log", length(lost.cut_m, wording.unit)),
        ("Cables replaced", lost.replaced),
    ]  # fmt: skip
    if lost.inferred is None:
        says = "Unlogged cuts: not assessed yet."
        rows.append(("Unlogged, as inferred", "not assessed"))
    else:
        value, low, high = (wording.metres(each) for each in together(lost.inferred))
        assessed = wording.day(lost.assessed_at) if lost.assessed_at else ""
        says = (
            f"Unlogged cuts as the fleet was assessed on {assessed}: flagged intervals whose later count was done in "
            "the period. Suspected, not proven."
        )
        rows.append(("Unlogged, as inferred", f"{value}, between {low} and {high}" if lost.inferred else "none"))
    return _numbers("cable", "Cable lost", rows, says=says)


def _inferred(lost: CableLost, wording: Wording) -> Iterator[ReportPart]:
    if not lost.inferred:
        return
    rows = [
        (each.reel, f"{wording.day(each.from_at)} to {wording.day(each.to_at)}", wording.metres(each.cut_m),
         f"{wording.metres(each.low_m)} to {wording.metres(each.high_m)}")
        for each in lost.inferred
    ]  # fmt: skip
    addresses = [address_of("reel-drift", each.reel) for each in lost.inferred]
    yield _part("inferred", "Unlogged cuts that are suspected", ("Reel", "Between the counts of", "Lost",
                "90 % interval"), rows, (1, 2, 1, 1.5), addresses=addresses,
                says="Flagged intervals, each with the length that would be missing.")  # fmt: skip


def _flags(flags: FlagsEnded) -> ReportPart:
    return _numbers("flags", "Drift flags", [
        ("Raised", flags.raised), *((words, flags.closed[ending]) for ending, words in ENDINGS.items()),
        ("Under review at the end", flags.still_open),
    ])  # fmt: skip


def _findings(figures: MonthlyFigures) -> ReportPart:
    rows = [
        (each.kind, ReelPart(each.part).spoken, each.severity, f"{each.recorded}", f"{each.closed}",
         f"{each.still_open}")
        for each in figures.findings
    ]  # fmt: skip
    columns = ("Kind", "Part", "Severity", "Recorded", "Closed", "Open at the end")
    says = "Recorded and closed in the period; open at its end, whenever they were recorded."
    return _part("findings", "Findings", columns, rows, (2, 1.5, 1, 1, 1, 1.2), says=says if rows else "",
                 none="No finding was recorded or closed, and none was open.")  # fmt: skip


def _holds(holds: Sequence[Held], wording: Wording) -> ReportPart:
    still = sum(each.until is None for each in holds)
    rows = [
        (each.what, wording.day(each.since), wording.day(each.until) if each.until else "goes on",
         f"{each.days:.1f}", each.reason)
        for each in holds[:HOLDS_SHOWN]
    ]  # fmt: skip
    says = f"{counted(len(holds), 'hold')}, {sum(each.days for each in holds):.1f} days together in the period; "
    says += f"{still} still on today."
    if len(holds) > HOLDS_SHOWN:
        says += f" The {HOLDS_SHOWN} longest are shown here, and all of them in the CSV file."
    columns = ("Held", "Since", "Until", "Days in the period", "Reason")
    return _part("holds", "Holds", columns, rows, (1, 1, 1, 0.8, 3), says=says if holds else "",
                 none="Nothing was held.")  # fmt: skip


def _values(figures: MonthlyFigures) -> ReportPart:
    moved = figures.values
    return _numbers("values", "Setup values", [
        ("Issued", moved.issued), ("Confirmed", moved.confirmed), ("Withdrawn", moved.withdrawn),
    ])  # fmt: skip


def _ends(ends: Sequence[Ends], period: Period, wording: Wording) -> ReportPart:
    rows = [
        (each.person, Act(each.act).verb, each.reel_type or "every type", each.site or "every site",
         f"{wording.day(each.at)}{', ended early' if each.is_early else ''}")
        for each in ends
    ]  # fmt: skip
    columns = ("Person", "Authorised to", "Reel type", "Site", "Ends")
    next_words = period.next.in_words
    return _part(
        "authorisations", "Authorisations that end", columns, rows, (1.5, 1, 1, 1.2, 1.5),
        says=f"In the period, or in the next ({next_words}), where no other one for the same goes on.",
        none=f"None ends in the period or the next ({next_words}), as far as you may see.",
    )  # fmt: skip
