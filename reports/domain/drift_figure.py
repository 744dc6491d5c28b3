"""A reel's cable over time: what was counted, what was logged, what is inferred, and where a loss is flagged."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from statistics import median

from reels.domain.drawing import Bar, Disc, Look, Picture, Shape, Trace, Words
from reports.domain.drift_rows import DriftRow

WIDTH, HEIGHT = 720.0, 320.0
NARROW = 330.0  # fits a phone without its words growing too small
LEFT, RIGHT, TOP, FOOT = 58.0, 16.0, 34.0, 64.0
KEY_LINE = 15.0
# A count that lies further from the inferred course than this many times what counts usually do marks no scale: it
# stands at the edge with its value. Half of it would put one ordinary count in twenty there.
FAR = 6.0
LEAST_FAR = 1.0  # of the unit
STEPS = (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000)  # between marks of the scale
MOST_MARKS = 6
SLIP_LIKELY = 0.5
SMALL_WIDTH, SMALL_HEIGHT, SMALL_EDGE = 150.0, 44.0, 4.0
AROUND = timedelta(days=200)  # what a small figure shows before and after its interval: some ten counts to each side
LEAST_SPREAD_M = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class CountPoint:
    """A count as a length, the length that is inferred for its moment, and how probable a slip is.

    u: standard uncertainty of a length. address and label: where the count is told in full, and how that is read out.
    """

    at: datetime
    counted: float
    inferred: float
    p_slip: float
    u: float = 0.0
    address: str = ""
    label: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """What is drawn; lengths in `unit`. flagged: pairs of neighbouring counts between which a loss is flagged."""

    unit: str
    counts: tuple[CountPoint, ...]
    cuts: tuple[datetime, ...] = ()
    replaced: tuple[datetime, ...] = ()
    flagged: tuple[tuple[datetime, datetime], ...] = ()


def course_figure(course: Course, finding: str, width: float = WIDTH) -> Picture:
    """The course as a drawing. counts: two or more; finding: what it shows, in a sentence; width: in points."""
    key, lines = _key(width)
    frame = _CourseFrame.around(course, width, FOOT + (lines - 1) * KEY_LINE)
    return Picture(
        width=width,
        height=HEIGHT,
        title="Cable on the drum over time",
        description=finding,
        shapes=(*_band(frame, course), *frame.scale(course.unit), *frame.times(), *_events(frame, course),
                *_line(frame, course), *_counts(frame, course), *key),
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
    width: float
    foot: float

    @classmethod
    def around(cls, course: Course, width: float, foot: float) -> "_CourseFrame":
        """The frame that holds the inferred course and all counts near it, its scale beginning and ending on a mark."""
        usual = median(abs(each.counted - each.inferred) for each in course.counts)
        far = max(FAR * usual, LEAST_FAR)
        values = [each.inferred + sign * each.u for each in course.counts for sign in (-1, 1)]
        values += [each.counted for each in course.counts if abs(each.counted - each.inferred) <= far]
        spread = max(max(values) - min(values), 1.0)
        step = next((each for each in STEPS if spread / each <= MOST_MARKS - 2), STEPS[-1])
        low = (min(values) - 0.15 * step) // step * step
        high = -(-(max(values) + 0.15 * step) // step) * step
        times = [each.at for each in course.counts]
        return cls(min(times), max(*times, min(times) + timedelta(days=1)), low, high, step, width, foot)

    def x(self, at: datetime) -> float:
        share = (at - self.begin) / (self.end - self.begin)
        return LEFT + min(max(share, 0.0), 1.0) * (self.width - LEFT - RIGHT)

    def y(self, length: float) -> float:
        return self.foot + (length - self.low) / (self.high - self.low) * (HEIGHT - self.foot - TOP)

    def scale(self, unit: str) -> Iterator[Shape]:
        for place in range(round((self.high - self.low) / self.step) + 1):
            value = self.low + place * self.step
            yield Trace(((LEFT - 4, self.y(value)), (self.width - RIGHT, self.y(value))), Look.GRID)
            yield Words(LEFT - 8, self.y(value) - 4, f"{value:g} {unit}", "end")

    def times(self) -> Iterator[Shape]:
        last = 4 if self.width >= WIDTH else 2
        for place in range(last + 1):
            at = self.begin + (self.end - self.begin) * place / last
            anchor = "start" if place == 0 else "end" if place == last else "middle"
            yield Words(self.x(at), self.foot - 30, f"{at:%d %b %Y}".lstrip("0"), anchor)


def _events(frame: _CourseFrame, course: Course) -> Iterator[Shape]:
    for at in course.cuts:
        x = frame.x(at)
        yield Trace(((x, frame.foot), (x, HEIGHT - TOP)), Look.SCALE_LINE, dashed=True)
        yield Trace(((x, HEIGHT - TOP), (x - 4, HEIGHT - TOP + 7), (x + 4, HEIGHT - TOP + 7)), Look.MARK, closed=True)
    for at in course.replaced:
        x = frame.x(at)
        yield Trace(((x, frame.foot), (x, HEIGHT - TOP)), Look.SCALE_LINE)
        yield Words(x, HEIGHT - TOP - 12, "new cable", "start", bold=True)
    for first, last in course.flagged:
        left, right, foot = frame.x(first), max(frame.x(last), frame.x(first) + 3), frame.foot
        yield Trace(((left, foot + 8), (left, foot + 3), (right, foot + 3), (right, foot + 8)), Look.ARC)
        middle = min(max((left + right) / 2, LEFT + 30), frame.width - RIGHT - 30)
        yield Words(middle, foot - 10, "loss flagged", bold=True)


def _pieces(course: Course) -> Iterator[list[CountPoint]]:
    """The counts of one cable each."""
    piece: list[CountPoint] = []
    for each in course.counts:
        if piece and any(piece[-1].at < at <= each.at for at in course.replaced):
            yield piece
            piece = []
        piece.append(each)
    yield piece


def _line(frame: _CourseFrame, course: Course) -> Iterator[Shape]:
    """The inferred course, broken where the cable was replaced."""
    for piece in _pieces(course):
        yield Trace(tuple((frame.x(each.at), frame.y(each.inferred)) for each in piece), Look.PART_WRAP)


def _band(frame: _CourseFrame, course: Course) -> Iterator[Shape]:
    """One standard uncertainty to both sides of the inferred course."""
    for piece in _pieces(course):
        above = [(frame.x(each.at), frame.y(each.inferred + each.u)) for each in piece]
        below = [(frame.x(each.at), frame.y(each.inferred - each.u)) for each in reversed(piece)]
        yield Trace((*above, *below), Look.BAND, closed=True)


def _counts(frame: _CourseFrame, course: Course) -> Iterator[Shape]:
    for each in course.counts:
        x, is_slip = frame.x(each.at), each.p_slip >= SLIP_LIKELY
        if frame.low <= each.counted <= frame.high:
            yield from _count(x, frame.y(each.counted), is_slip=is_slip, of=each)
        else:
            yield from _outlier(frame, x, each, course.unit, is_slip=is_slip)


def _outlier(frame: _CourseFrame, x: float, each: CountPoint, unit: str, *, is_slip: bool) -> Iterator[Shape]:
    """A count beyond the scale: at its edge, with a mark that points there and its value."""
    out = 1 if each.counted > frame.high else -1
    y = frame.y(frame.high if out > 0 else frame.low) - 10 * out
    yield from _count(x, y, is_slip=is_slip, of=each)
    yield Trace(((x - 4, y + 6 * out), (x + 4, y + 6 * out), (x, y + 11 * out)), Look.MARK, closed=True)
    is_right = x > frame.width / 2
    yield Words(x - 9 if is_right else x + 9, y - 4, f"{each.counted:.1f} {unit}", "end" if is_right else "start")


def _count(x: float, y: float, *, is_slip: bool, of: CountPoint | None = None) -> Iterator[Shape]:
    leads = (of.address, of.label) if of else ("", "")
    if not is_slip:
        yield Disc(x, y, 3.2, Look.PART_WRAP, *leads)
        return
    yield Disc(x, y, 5, Look.TAKEN_OFF, *leads)
    yield Trace(((x - 3, y - 3), (x + 3, y + 3)), Look.MARK)
    yield Trace(((x - 3, y + 3), (x + 3, y - 3)), Look.MARK)


def _line_sign(x: float, y: float) -> Iterator[Shape]:
    yield Trace(((x, y), (x + 16, y), (x + 16, y + 8), (x, y + 8)), Look.BAND, closed=True)
    yield Trace(((x, y + 4), (x + 16, y + 4)), Look.PART_WRAP)


def _cut_sign(x: float, y: float) -> Iterator[Shape]:
    yield Trace(((x + 5, y), (x + 1, y + 7), (x + 9, y + 7)), Look.MARK, closed=True)


def _flag_sign(x: float, y: float) -> Iterator[Shape]:
    yield Trace(((x, y + 7), (x, y + 2), (x + 16, y + 2), (x + 16, y + 7)), Look.ARC)


# What the shapes mean: words, the width that sign and words take, the width of the sign, and the sign.
_KEY: tuple[tuple[str, float, float, Callable[[float, float], Iterator[Shape]]], ...] = (
    ("count", 64, 14, lambda x, y: _count(x + 5, y + 4, is_slip=False)),
    ("count, probably a slip", 140, 14, lambda x, y: _count(x + 5, y + 4, is_slip=True)),
    ("inferred ± standard uncertainty", 200, 22, _line_sign),
    ("logged cut", 84, 14, _cut_sign),
    ("loss flagged", 96, 22, _flag_sign),
)


def _key(width: float) -> tuple[list[Shape], int]:
    """What the shapes mean, at the foot, and over how many lines."""
    places: list[tuple[float, int]] = []
    begin = LEFT if width >= WIDTH else RIGHT
    x, line = begin, 0
    for _, taken, *_ in _KEY:
        if x > begin and x + taken > width:
            x, line = begin, line + 1
        places.append((x, line))
        x += taken
    shapes: list[Shape] = []
    for (words, _, wide, sign), (left, of_line) in zip(_KEY, places, strict=True):
        y = 7.0 + (line - of_line) * KEY_LINE
        shapes += [*sign(left, y), Words(left + wide, y, words, "start")]
    return shapes, line + 1


# One interval of a list, small --------------------------------------------------------------------------------------


def small_figure(rows: Sequence[DriftRow], place: int, words: tuple[str, str], *, with_loss: bool) -> Picture:
    """How the counted length went around one interval, whose time is shaded.

    rows: intervals of the reel in order of time; place: of the one meant. words: title and description. with_loss: with
    the length that was left if there was a loss, as an upright line over its 90 % interval. A count beyond what the
    rest needs stands at the edge. Lengths in metres from the count before the interval; nothing is marked on a scale.
    """
    of = rows[place]
    before, after = _unbroken(rows, place)
    run = [*before, of, *after]
    level = -sum(each.observed_change_m for each in before)
    points = [(run[0].from_at, level)]
    for each in run:
        level += each.observed_change_m
        points.append((each.to_at, level))
    left = [-of.logged_cut_m - cut for cut in (of.cut_low_m, of.cut_high_m)] if with_loss else []
    frame = _SmallFrame.around(points, [0.0, of.observed_change_m, *left])
    first, last = frame.x(of.from_at), frame.x(of.to_at)
    shapes: list[Shape] = [
        Bar(first, 0, max(last - first, 2.0), SMALL_HEIGHT, Look.BAND),
        Trace(tuple((frame.x(at), frame.y(length)) for at, length in points), Look.PART_WRAP),
        *(Disc(x, frame.y(y), 2.4, Look.PART_WRAP) for x, y in ((first, 0.0), (last, of.observed_change_m))),
    ]
    if left:
        high, low = (frame.y(each) for each in left)
        shapes += [Trace(((x, y), (x + 6, y)), Look.ARC) for x, y in ((last - 3, high), (last - 3, low))]
        shapes.append(Trace(((last, high), (last, low)), Look.ARC))
    title, description = words
    return Picture(width=SMALL_WIDTH, height=SMALL_HEIGHT, title=title, description=description, shapes=tuple(shapes))


def _unbroken(rows: Sequence[DriftRow], place: int) -> tuple[list[DriftRow], list[DriftRow]]:
    """The intervals before and after, as far as they are near and follow without a gap, which another cable makes."""
    first = last = place
    while first > 0 and rows[first - 1].to_at == rows[first].from_at >= rows[place].from_at - AROUND:
        first -= 1
    while last + 1 < len(rows) and rows[last + 1].from_at == rows[last].to_at <= rows[place].to_at + AROUND:
        last += 1
    return list(rows[first:place]), list(rows[place + 1 : last + 1])


@dataclass(frozen=True, slots=True)
class _SmallFrame:
    begin: datetime
    end: datetime
    low: float
    high: float

    @classmethod
    def around(cls, points: list[tuple[datetime, float]], needed: list[float]) -> "_SmallFrame":
        """needed: lengths that must be within; others as far as they are no further from these than these spread."""
        low, high = min(needed), max(needed)
        spread = max(high - low, LEAST_SPREAD_M)
        near = [length for _, length in points if low - spread <= length <= high + spread]
        middle = (low + high) / 2
        low, high = min(low, middle - spread / 2, *near), max(high, middle + spread / 2, *near)
        begin, end = points[0][0], points[-1][0]
        return cls(begin, max(end, begin + timedelta(days=1)), low, high)

    def x(self, at: datetime) -> float:
        return SMALL_EDGE + (at - self.begin) / (self.end - self.begin) * (SMALL_WIDTH - 2 * SMALL_EDGE)

    def y(self, length: float) -> float:
        share = (min(max(length, self.low), self.high) - self.low) / (self.high - self.low)
        return SMALL_EDGE + share * (SMALL_HEIGHT - 2 * SMALL_EDGE)
