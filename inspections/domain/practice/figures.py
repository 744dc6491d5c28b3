"""A practice reel as it looks at the bench: flange scales, scale line, both faces of the gauge, and the crossover.

What is to be read stands in no title, description or label, and never in a colour alone.
Source: the drawings are our own; what they show is common practice, no published source.
"""

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from inspections.domain.practice.reels import PracticeDrum, PracticeReel, halves_decide, levels_of
from inspections.domain.practice.stand import PracticeStand
from inspections.domain.reading import RuleParameters
from reels.domain.drawing import Bar, Disc, Look, Picture, Shape, Trace, Words
from reels.domain.reel_figures import ROW, DrumSection, ReferenceFrame
from reels.domain.words import Graduation, Parity, Side

WIDEST = 496.0  # points; as wide as a printed page takes
GREATEST_UNIT = 11.0  # points that a cable diameter takes across the drum at most
FLANGE = 5.0
EDGE = 22.0  # beside a flange
EDGE_OF_NARROW = 94.0  # beside a flange whose name has no room under the drum
NARROW = 180.0  # points between the flanges; two names need more
TIGHT = 260.0  # and so do they with the anchor side on the same line
TEXT = 9.0
TEXT_SMALL = 8.0  # of the crossover, which a page shows larger
TEXT_ALONG = 11.0  # of the views that run along the drum, which a phone shows smaller


@dataclass(frozen=True, slots=True)
class BenchReel:
    """What is looked at: the cable as it lies on a drum of a type. widest: points that it takes across, at most."""

    parameters: RuleParameters
    cable: PracticeDrum
    drum: DrumSection
    widest: float = WIDEST

    @property
    def levels(self) -> Mapping[Side, int]:
        """Level of cable at each flange."""
        return levels_of(self.parameters, self.cable)

    @property
    def capacity(self) -> int:
        """Wraps that the counted layer holds when it is full."""
        return self.parameters.capacity(self.cable.layer)

    @property
    def sides(self) -> tuple[Side, Side]:
        """The flanges at the left and at the right of whoever faces the scale line."""
        return self.drum.side_at_left, self.drum.side_at_left.other


def bench_figures(practised: PracticeReel, drum: DrumSection) -> dict[str, Picture]:
    """Every view, by name, in the order of the job: plates, flanges, line, gauge_odd, gauge_even, crossover."""
    reel = BenchReel(practised.parameters, practised.drum, drum)
    return {
        "plates": serial_plates(practised.stand),
        "flanges": flange_scales(reel),
        "line": scale_line(reel),
        "gauge_odd": gauge_laid_on(reel, Parity.ODD),
        "gauge_even": gauge_laid_on(reel, Parity.EVEN),
        "crossover": crossover_seen(reel),
    }


# The data plates ----------------------------------------------------------------------------------------------------

PLATE_WIDTH, PLATE_HEIGHT = 132.0, 46.0


def serial_plates(stand: PracticeStand) -> Picture:
    """The data plate of the reel, and beside it the one of the wrap gauge that lies there."""
    gap, foot = 20.0, 20.0
    shapes: list[Shape] = []
    for n, (of, serial) in enumerate((("the reel", stand.plate), ("the wrap gauge", stand.gauge))):
        x = 2 + n * (PLATE_WIDTH + gap)
        middle = x + PLATE_WIDTH / 2
        shapes += [
            Bar(x, foot, PLATE_WIDTH, PLATE_HEIGHT, Look.OUTLINE),
            Words(middle, foot + 29, "serial"), Words(middle, foot + 12, serial, bold=True),
            Words(middle, 6, f"on {of}"),
        ]  # fmt: skip
    return Picture(
        width=2 * PLATE_WIDTH + gap + 4, height=foot + PLATE_HEIGHT + 2, text_size=TEXT_ALONG, shapes=tuple(shapes),
        title="Data plates", description="The data plate on the reel, and the one on the wrap gauge beside it.",
    )  # fmt: skip


# The flange scales --------------------------------------------------------------------------------------------------

STEP = 13.5  # points from one graduation to the next
STRIP = 30.0  # a scale with its numbers
CABLE = 4  # wraps that are drawn beside each flange
FOOT = 34.0  # below the cable at the flanges
MARGIN_LEVELS = 2  # graduations drawn below and above the cable


def levels_drawn(reel: BenchReel) -> tuple[int, int]:
    """The lowest and the highest graduation that is drawn of a scale."""
    return max(0, min(reel.levels.values()) - MARGIN_LEVELS - 1), max(reel.levels.values()) + MARGIN_LEVELS


def flange_scales(reel: BenchReel) -> Picture:
    """Both flanges from the side, each with its scale and the cable that lies against it."""
    levels = reel.levels
    low, high = levels_drawn(reel)
    width, foot = 288.0, FOOT
    height = foot + (high - low) * STEP + 20
    shapes: list[Shape] = []
    for side, x, way in zip(reel.sides, (STRIP + 20, width - STRIP - 20), (1, -1), strict=True):
        shapes.append(Bar(min(x, x + way * FLANGE), foot - 6, FLANGE, height - 14 - foot + 6, Look.FLANGE))
        shapes += _scale(reel, side, (x, way, foot), (low, high))
        shapes += _cable_beside(x + way * FLANGE, way, foot, levels[side] - low)
        shapes.append(Words(x - way * 10, 8, f"{side} flange", bold=True))
    shapes += _below(width, foot, is_core=low == 0)
    return Picture(
        width=width, height=height, text_size=TEXT, shapes=tuple(shapes),
        title="Both flanges, with their scales",
        description="At each flange the scale, and beside it the cable, layer upon layer. A graduation stands at the "
        "top of the layer with its number. A scale with strokes across it is worn and can't be read.",
    )  # fmt: skip


def _scale(reel: BenchReel, side: Side, place: tuple[float, int, float], shown: tuple[int, int]) -> Iterator[Shape]:
    (x, way, foot), (low, high) = place, shown
    if side is reel.cable.worn_side:
        for level in range(high - low):
            y = foot + level * STEP
            yield Trace(((x - way * 3, y + 2), (x - way * STRIP * 0.8, y + STEP - 2)), Look.MARK)
            yield Trace(((x - way * 3, y + STEP - 2), (x - way * STRIP * 0.8, y + 2)), Look.MARK)
        return
    by_side = reel.parameters.graduation is Graduation.BY_SIDE
    carries = Parity.ODD if side is reel.parameters.anchor_side else Parity.EVEN
    for level in range(low, high + 1):
        if by_side and Parity.of(level) is not carries:
            continue
        y = foot + (level - low) * STEP
        yield Trace(((x, y), (x - way * 9, y)), Look.MARK)
        yield Words(x - way * 12, y - 3, f"{level}", "end" if way > 0 else "start")


def _cable_beside(x: float, way: int, foot: float, rows: int) -> Iterator[Shape]:
    """Rows of wraps, the top of each at its graduation."""
    radius = STEP / 2
    for row in range(rows):
        first = radius * (1 + row % 2)  # nested: every other row lies half a wrap further in
        for wrap in range(CABLE):
            yield Disc(x + way * (first + wrap * STEP), foot + row * STEP + radius, radius * 0.94, Look.WRAP)


def _below(width: float, foot: float, *, is_core: bool) -> Iterator[Shape]:
    left, right = STRIP + 20 + FLANGE, width - STRIP - 20 - FLANGE
    if is_core:
        yield Bar(left, foot - 6, right - left, 6, Look.CORE)
        yield Words(width / 2, 8, "core")
    else:
        yield Trace(((left, foot), (right, foot)), Look.MARK, dashed=True)
        yield Words(width / 2, 8, "more layers below")


# Along the scale line -----------------------------------------------------------------------------------------------

FOOT_OF_ROW = 25.0  # below the cable along the line


def scale_line(reel: BenchReel) -> Picture:
    """The drum at the scale line, as whoever faces it sees it, with the wraps to be counted on top."""
    row = Row(reel)
    foot = row.foot
    top = foot + row.rise * (2 + reel.cable.heaped_by) + row.unit
    shapes = [*row.flanges(foot, top + 6), *row.below(foot), *row.counted(foot + row.rise)]
    shapes += row.heap(foot + 2 * row.rise)
    return Picture(
        width=row.width, height=top + 14, text_size=TEXT_ALONG, shapes=(*shapes, *row.names()),
        title="Along the scale line",
        description="The drum at the scale line between its two flanges: the layer on top, over the layer below it. "
        "Each circle is one wrap.",
    )  # fmt: skip


class Row:
    """Where the top of the cable lies across the paper."""

    def __init__(self, reel: BenchReel) -> None:
        self.reel = reel
        self.drum = reel.drum
        self.unit = min(GREATEST_UNIT, (reel.widest - 2 * EDGE) / self.drum.width)
        self.is_narrow = self.drum.width * self.unit < NARROW
        edge = EDGE_OF_NARROW if self.is_narrow else EDGE
        self.unit = min(self.unit, (reel.widest - 2 * edge) / self.drum.width)
        across = self.drum.width * self.unit
        self.is_tight = across < TIGHT
        self.foot = FOOT_OF_ROW + self.is_tight * (TEXT_ALONG + 2)
        self.rise = self.unit * ROW
        self.radius = self.unit / 2 * 0.94
        self.left, self.right, self.width = edge, edge + across, across + 2 * edge
        # odd layers run away from the anchor side
        self.from_anchor = Parity.of(reel.cable.layer) is Parity.ODD

    def x(self, layer: int, wrap: int) -> float:
        """Of a wrap numbered from the anchor side."""
        return self.left + self.drum.across(layer, wrap) * self.unit

    def slot(self, n: int) -> float:
        """Of the n-th wrap of the counted layer, from where it began."""
        layer = self.reel.cable.layer
        return self.x(layer, n if self.from_anchor else self.drum.capacity(layer) + 1 - n)

    def flanges(self, foot: float, top: float) -> Iterator[Shape]:
        """Both flanges, up to a height."""
        yield Bar(self.left - FLANGE, foot - 6, FLANGE, top - foot + 6, Look.FLANGE)
        yield Bar(self.right, foot - 6, FLANGE, top - foot + 6, Look.FLANGE)

    def below(self, foot: float) -> Iterator[Shape]:
        """The layer under the counted one, or the core."""
        layer = self.reel.cable.layer - 1
        if layer == 0:
            yield Bar(self.left, foot + self.rise - 6, self.right - self.left, 6, Look.CORE)
            return
        for wrap in range(1, self.drum.capacity(layer) + 1):
            yield Disc(self.x(layer, wrap), foot + self.unit / 2, self.radius, Look.WRAP)

    def counted(self, foot: float) -> Iterator[Shape]:
        """The wraps to be counted."""
        for n in range(1, self.reel.cable.wraps + 1):
            yield Disc(self.slot(n), foot + self.unit / 2, self.radius, Look.PART_WRAP)

    def heap(self, foot: float) -> Iterator[Shape]:
        """Cable that lies too high where the layer began."""
        for row in range(self.reel.cable.heaped_by):
            for n in range(1, max(2, min(self.reel.cable.heaped_by - row + 1, self.reel.cable.wraps) + 1)):
                half = (self.slot(1) - self.slot(2)) / 2 * (row % 2 + 1) if self.reel.capacity > 1 else 0
                yield Disc(self.slot(n) - half, foot + row * self.rise + self.unit / 2, self.radius, Look.WRAP)

    def names(self) -> Iterator[Shape]:
        """The flanges, and which of them is the anchor side."""
        ends = (self.left - FLANGE, self.right + FLANGE)
        anchors = ("end", "start") if self.is_narrow else ("start", "end")
        for side, x, anchor in zip(self.reel.sides, ends, anchors, strict=True):
            is_anchor = side is self.drum.anchor_side
            role = ", anchor side" if is_anchor and not self.is_tight else ""
            yield Words(x, self.foot - 17, f"{side} flange{role}", anchor, bold=True)
            if is_anchor and self.is_tight:
                yield Words(x, self.foot - 30, "anchor side", anchor)


# The wrap gauge -----------------------------------------------------------------------------------------------------

NUMBERED = 5  # every fifth graduation of the gauge has its number


def gauge_laid_on(reel: BenchReel, face: Parity) -> Picture:
    """One face of the wrap gauge along the scale line, over the wraps."""
    row = Row(reel)
    foot = row.foot
    bar = foot + 2 * row.rise + row.unit + 4
    shapes: list[Shape] = [*row.flanges(foot, bar - 2), *_gauge(row, face, bar)]
    shapes += [*row.below(foot), *row.counted(foot + row.rise), *row.names()]
    return Picture(
        width=row.width, height=bar + 50, text_size=TEXT_ALONG, shapes=tuple(shapes),
        title=f"The gauge's {face} face, laid on",
        description=f"The {face} face of the wrap gauge along the scale line, over the wraps. It has a graduation for "
        f"each wrap, from one flange to the other; the first and every {NUMBERED}th have their number.",
    )  # fmt: skip


def _gauge(row: Row, face: Parity, y: float) -> Iterator[Shape]:
    capacity = row.reel.capacity
    counts_from_where_it_began = face is Parity.of(row.reel.cable.layer - 1)
    yield Bar(row.left - 4, y, row.right - row.left + 8, 30, Look.OUTLINE)
    for n in range(1, capacity + 1):
        x = row.slot(n if counts_from_where_it_began else capacity + 1 - n)
        is_numbered = n == 1 or n % NUMBERED == 0
        if is_numbered:
            yield Trace(((x, y), (x, y - row.rise * 2 - row.unit)), Look.GRID)
            yield Words(x, y + 16, f"{n}")
        yield Trace(((x, y), (x, y + (11 if is_numbered else 6))), Look.MARK)
    mark = row.drum.face_marks[face is Parity.EVEN]
    yield Words(row.left - 4, y + 36, f"{face} face{f': {mark}' if mark else ''}", "start", bold=True)


# The crossover ------------------------------------------------------------------------------------------------------

POINTER = 11.0  # how long the arrowhead is that marks the crossover


def crossover_seen(reel: BenchReel) -> Picture:
    """The drum from the reference side as it sits, with an arrowhead where the last turn crosses over."""
    frame = ReferenceFrame(reel.drum)
    shapes = (
        *frame.shapes(), _arrowhead(frame, reel.cable.crossover_deg),
        Words(frame.width / 2, frame.height - 7, "the arrowhead in the circle marks the crossover"),
        *([] if halves_decide(reel.parameters) else _degrees(frame)),
    )  # fmt: skip
    return Picture(
        width=frame.width, height=frame.height, text_size=TEXT_SMALL, shapes=shapes,
        title=f"The drum, seen from the {reel.drum.reference_side}",
        description=f"{frame.in_words()} An arrowhead within the circle points at the crossover.",
    )  # fmt: skip


def _degrees(frame: ReferenceFrame) -> Iterator[Shape]:
    """A scale of degrees within the circle, where the half alone decides nothing."""
    for degrees in range(0, 360, 10):
        inner = frame.radius - (8 if degrees % 30 == 0 else 4)
        yield Trace((frame.at(degrees, inner), frame.at(degrees, frame.radius)), Look.MARK)
        if degrees % 30 == 0 and degrees % 180:
            x, y = frame.at(degrees, frame.radius - 21)
            yield Words(x, y - 3, f"{degrees}")


def _arrowhead(frame: ReferenceFrame, degrees: float) -> Trace:
    tip, base = frame.at(degrees, frame.radius), frame.at(degrees, frame.radius - POINTER)
    across = ((base[1] - tip[1]) * 4 / POINTER, (tip[0] - base[0]) * 4 / POINTER)
    corners = ((base[0] + across[0], base[1] + across[1]), (base[0] - across[0], base[1] - across[1]))
    return Trace((tip, *corners), Look.MARK, closed=True)


# The mark -----------------------------------------------------------------------------------------------------------

MARK = "PRACTICE – not a record"


def practice_mark(width: float) -> Picture:
    """The band that stands on whatever is practice: slanting bars on both sides of the words."""
    height, slant, gap = 22.0, 8.0, 14.0
    bars = []
    middle = width / 2
    for i in range(math.floor(width / gap)):
        left = i * gap
        if abs(left + slant - middle) > 102:
            corners = ((left, 0.0), (left + 6, 0.0), (left + 6 + slant, height), (left + slant, height))
            bars.append(Trace(corners, Look.MARK, closed=True))
    return Picture(
        width=width, height=height, text_size=13, title=MARK, description=f"{MARK}.",
        shapes=(*bars, Words(middle, 6.5, MARK, bold=True)),
    )  # fmt: skip
