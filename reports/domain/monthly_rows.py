"""The monthly report as the rows of a file: one figure a row, in metres, days and numbers of records."""

from collections.abc import Iterable, Iterator
from datetime import datetime
from typing import NamedTuple

from reports.domain.drift_rows import moment
from reports.domain.monthly import CableLost, CountsMade, Ends, MonthlyFigures, StandingAt, ValuesMoved, together


class FigureRow(NamedTuple):
    """part: of the report; name: of the figure, or what it is about; from_at, to_at: RFC 3339 in UTC."""

    part: str
    name: str
    value: str
    low: str = ""
    high: str = ""
    unit: str = "records"
    from_at: str = ""
    to_at: str = ""
    words: str = ""


def figure_rows(figures: MonthlyFigures, ends: Iterable[Ends]) -> Iterator[FigureRow]:
    """Every figure of the report, in its order."""
    yield from _standing("reels_at_end", figures.at_end)
    yield from _standing("reels_now", figures.now)
    for part, numbers in (("counts", figures.counts), ("setup_values", figures.values)):
        yield from _numbers(part, numbers)
    for kind in figures.findings:
        about = f"{kind.part} / {kind.kind} / {kind.severity}"
        for name in ("recorded", "closed", "still_open"):
            yield FigureRow(f"findings_{name}", about, f"{getattr(kind, name)}")
    yield FigureRow("flags", "raised", f"{figures.flags.raised}")
    for ending, number in figures.flags.closed.items():
        yield FigureRow("flags", f"closed_{ending}", f"{number}")
    yield FigureRow("flags", "still_open", f"{figures.flags.still_open}")
    yield from _lost(figures.lost)
    for hold in figures.holds:
        yield FigureRow("holds", hold.what, f"{hold.days:.2f}", unit="days", from_at=moment(hold.since),
                        to_at=_moment(hold.until), words=hold.reason)  # fmt: skip
    for each in ends:
        about = f"{each.act} / {each.reel_type or 'every type'} / {each.site or 'every site'}"
        yield FigureRow("authorisations_that_end", each.person, "1", to_at=moment(each.at),
                        words=f"{about} / ended early" if each.is_early else about)  # fmt: skip


def _standing(part: str, standing: StandingAt) -> Iterator[FigureRow]:
    at = moment(standing.at)
    for status, number in standing.reels.items():
        yield FigureRow(part, status.value, f"{number}", unit="reels", to_at=at)
    yield FigureRow(part, "count_due", f"{standing.due}", unit="reels", to_at=at)


def _numbers(part: str, numbers: CountsMade | ValuesMoved) -> Iterator[FigureRow]:
    for name in numbers.__slots__:
        yield FigureRow(part, name, f"{getattr(numbers, name)}")


def _lost(lost: CableLost) -> Iterator[FigureRow]:
    yield FigureRow("cable", "cuts", f"{lost.cuts}")
    yield FigureRow("cable", "cut", f"{lost.cut_m:.3f}", unit="metres")
    yield FigureRow("cable", "replaced", f"{lost.replaced}")
    if lost.inferred is None:
        yield FigureRow("cable", "inferred", "", unit="metres", words="not assessed")
        return
    value, low, high = together(lost.inferred)
    yield FigureRow("cable", "inferred", f"{value:.1f}", f"{low:.1f}", f"{high:.1f}", "metres",
                    words=f"assessed at {_moment(lost.assessed_at)}")  # fmt: skip
    for each in lost.inferred:
        yield FigureRow("inferred", each.reel, f"{each.cut_m:.1f}", f"{each.low_m:.1f}", f"{each.high_m:.1f}", "metres",
                        moment(each.from_at), moment(each.to_at))  # fmt: skip


def _moment(at: datetime | None) -> str:
    return moment(at) if at else ""
