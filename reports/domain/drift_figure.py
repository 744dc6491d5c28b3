"""A reel's cable over time: what was counted, what was logged, what is inferred, and where a loss is flagged."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from reels.domain.drawing import Disc, Look, Picture, Shape, Trace, Words

WIDTH, HEIGHT = 720.0, 320.0
LEFT, RIGHT, TOP, FOOT = 58.0, 16.0, 34.0, 64.0
STEPS = (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000)  # between marks of the scale
MOST_MARKS = 6
SLIP_LIKELY = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class CountPoint:
    """A count as a length, the length that is inferred for its moment, and how probable a slip is."""

    at: datetime
    counted: float
    inferred: float
    p_slip: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """What is drawn; lengths in `unit`. flagged: pairs of neighbouring counts between which a loss is flagged."""

    unit: str
    counts: tuple[CountPoint, ...]
    cuts: tuple[datetime, ...] = ()
    replaced: tuple[datetime, ...] = ()
    flagged: tuple[tuple[datetime, datetime], ...] = ()


def course_figure(course: Course, finding: str) -> Picture:
    """The course as a drawing. counts: two or more; finding: what it shows, in a sentence."""
    frame = _CourseFrame.around(course)
    return Picture(
        width=WIDTH,
        height=HEIGHT,
        title="Cable on the drum over time",
        description=finding,
        shapes=(*frame.scale(course.unit), *frame.times(), *_events(frame, course), *_line(frame, course),
                *_counts(frame, course.counts), *_key()),
        text_size=11,
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class _CourseFrame:
    """Where times and lengths lie on the paper."""

    begin: datetime
    end: datetime
    low: float
    high: float
    step: float

    @classmethod
    def around(cls, course: Course) -> "_CourseFrame":
        """The frame that holds every count, its scale beginning and ending on a mark."""
        values = [value for each in course.counts for value in (each.counted, each.inferred)]
        spread = max(max(values) - min(values), 1.0)
        step = next((each for each in STEPS if spread / each <= MOST_MARKS - 2), STEPS[-1])
        low = (min(values) - 0.15 * step) // step * step
        high = -(-(max(values) + 0.15 * step) // step) * step
        times = [each.at for each in course.counts]
        return cls(min(times), max(*times, min(times) + timedelta(days=1)), low, high, step)

    def x(self, at: datetime) -> float:
        share = (at - self.begin) / (self.end - self.begin)
        return LEFT + min(max(share, 0.0), 1.0) * (WIDTH - LEFT - RIGHT)

    def y(self, length: float) -> float:
        return FOOT + (length - self.low) / (self.high - self.low) * (HEIGHT - FOOT - TOP)

    def scale(self, unit: str) -> Iterator[Shape]:
        for place in range(round((self.high - self.low) / self.step) + 1):
            value = self.low + place * self.step
            yield Trace(((LEFT - 4, self.y(value)), (WIDTH - RIGHT, self.y(value))), Look.GRID)
            yield Words(LEFT - 8, self.y(value) - 4, f"{value:g} {unit}", "end")

    def times(self) -> Iterator[Shape]:
        for place in range(5):
            at = self.begin + (self.end - self.begin) * place / 4
            anchor = ("start", "middle", "middle", "middle", "end")[place]
            yield Words(self.x(at), FOOT - 30, f"{at:%d %b %Y}".lstrip("0"), anchor)


def _events(frame: _CourseFrame, course: Course) -> Iterator[Shape]:
    for at in course.cuts:
        x = frame.x(at)
        yield Trace(((x, FOOT), (x, HEIGHT - TOP)), Look.SCALE_LINE, dashed=True)
        yield Trace(((x, HEIGHT - TOP), (x - 4, HEIGHT - TOP + 7), (x + 4, HEIGHT - TOP + 7)), Look.MARK, closed=True)
    for at in course.replaced:
        x = frame.x(at)
        yield Trace(((x, FOOT), (x, HEIGHT - TOP)), Look.SCALE_LINE)
        yield Words(x, HEIGHT - TOP - 12, "new cable", "start", bold=True)
    for first, last in course.flagged:
        left, right = frame.x(first), max(frame.x(last), frame.x(first) + 3)
        yield Trace(((left, FOOT + 8), (left, FOOT + 3), (right, FOOT + 3), (right, FOOT + 8)), Look.ARC)
        yield Words(min(max((left + right) / 2, LEFT + 30), WIDTH - RIGHT - 30), FOOT - 10, "loss flagged", bold=True)


def _line(frame: _CourseFrame, course: Course) -> Iterator[Shape]:
    """The inferred course, broken where the cable was replaced."""
    piece: list[tuple[float, float]] = []
    before: datetime | None = None
    for each in course.counts:
        if before and any(before < at <= each.at for at in course.replaced):
            yield Trace(tuple(piece), Look.PART_WRAP)
            piece = []
        piece.append((frame.x(each.at), frame.y(each.inferred)))
        before = each.at
    yield Trace(tuple(piece), Look.PART_WRAP)


def _counts(frame: _CourseFrame, counts: Sequence[CountPoint]) -> Iterator[Shape]:
    for each in counts:
        yield from _count(frame.x(each.at), frame.y(each.counted), is_slip=each.p_slip >= SLIP_LIKELY)


def _count(x: float, y: float, *, is_slip: bool) -> Iterator[Shape]:
    if not is_slip:
        yield Disc(x, y, 3.2, Look.PART_WRAP)
        return
    yield Disc(x, y, 5, Look.TAKEN_OFF)
    yield Trace(((x - 3, y - 3), (x + 3, y + 3)), Look.MARK)
    yield Trace(((x - 3, y + 3), (x + 3, y - 3)), Look.MARK)


def _key() -> Iterator[Shape]:
    """What the shapes mean, at the foot."""
    y = 7.0
    yield from _count(LEFT, y + 4, is_slip=False)
    yield Words(LEFT + 10, y, "count", "start")
    yield from _count(LEFT + 70, y + 4, is_slip=True)
    yield Words(LEFT + 80, y, "count, probably a slip", "start")
    yield Trace(((LEFT + 224, y + 4), (LEFT + 248, y + 4)), Look.PART_WRAP)
    yield Words(LEFT + 254, y, "inferred", "start")
    yield Trace(((LEFT + 320, y), (LEFT + 316, y + 7), (LEFT + 324, y + 7)), Look.MARK, closed=True)
    yield Words(LEFT + 330, y, "logged cut", "start")
    yield Trace(((LEFT + 412, y + 7), (LEFT + 412, y + 2), (LEFT + 432, y + 2), (LEFT + 432, y + 7)), Look.ARC)
    yield Words(LEFT + 438, y, "loss flagged", "start")
