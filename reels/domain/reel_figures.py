"""What is drawn of a reel: its section at the scale line with a reading on it, and the circle of the crossover."""

import math
from collections.abc import Iterator
from dataclasses import dataclass

from reels.domain.drawing import Bar, Disc, Look, Picture, Shape, Trace, Words
from reels.domain.words import Parity, Side, counted

ROW = math.sqrt(3) / 2  # height of a nested layer, in cable diameters; figures are to no scale
GREATEST_UNIT = 11.0  # points a cable diameter takes at most
MARGIN = 46.0
FOOT = 30.0
HEAD = 16.0
FLANGE = 5.0


@dataclass(frozen=True, slots=True, kw_only=True)
class DrumSection:
    """As much of a reel type as its figures need.

    wraps_odd_layer, wraps_even_layer: wraps of a full layer, 2 or more; max_layers: 1 or more.
    """

    anchor_side: Side
    wraps_odd_layer: int
    wraps_even_layer: int
    max_layers: int
    arc_from_deg: float
    arc_to_deg: float

    def capacity(self, layer: int) -> int:
        """Wraps that the layer holds."""
        return self.wraps_odd_layer if Parity.of(layer) is Parity.ODD else self.wraps_even_layer

    @property
    def width(self) -> float:
        """Between the flanges, in cable diameters."""
        shifted = self.wraps_odd_layer == self.wraps_even_layer  # equal layers nest half a diameter apart
        return max(self.wraps_odd_layer, self.wraps_even_layer) + (0.5 if shifted else 0)

    def centre(self, layer: int, wrap: int) -> float:
        """How far from the anchor side a wrap lies, in cable diameters; wraps are numbered from the anchor side."""
        spare = self.width - self.capacity(layer)
        shifted = self.wraps_odd_layer == self.wraps_even_layer
        first = (spare if Parity.of(layer) is Parity.EVEN else 0) if shifted else spare / 2
        return first + wrap - 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class DrawnCount:
    """A count as it is drawn, with what was read beside it.

    layers: full ones, 0 or more; wraps: of the part layer on top, none of it when 0; taken_off: of those wraps.
    scales: the readings at the left and right flange as they were keyed, "" where none was. open_side: the flange that
    the part layer has not reached, "" where that is not known.
    """

    layers: int
    wraps: int
    taken_off: int = 0
    scales: tuple[str, str] = ("", "")
    open_side: str = ""


def reel_section(drum: DrumSection, count: DrawnCount, *, width: float, height: float) -> Picture:
    """The reel at the scale line, as installed, looking forward; layers above the core, the part layer on top.

    width, height: the most that it may take, in points.
    """
    rows = max(count.layers + (count.wraps > 0), 1)
    unit = min(
        (width - 2 * MARGIN) / drum.width, (height - FOOT - HEAD) / ((rows - 1) * ROW + 2.2), GREATEST_UNIT
    )  # fmt: skip
    frame = _SectionFrame(drum, unit, width, FOOT + HEAD + unit * ((rows - 1) * ROW + 2.2))
    return Picture(
        width=width,
        height=frame.height,
        title="The reel at the scale line",
        description=_section_in_words(drum, count),
        shapes=(*frame.body(), *_wraps(frame, count), *frame.labels(count)),
        text_size=7,
    )


@dataclass(frozen=True, slots=True)
class _SectionFrame:
    """Where the drum lies on the paper."""

    drum: DrumSection
    unit: float
    width: float
    height: float

    @property
    def left(self) -> float:
        return (self.width - self.drum.width * self.unit) / 2

    @property
    def right(self) -> float:
        return self.left + self.drum.width * self.unit

    def at(self, layer: int, wrap: int) -> tuple[float, float]:
        along = self.drum.centre(layer, wrap) * self.unit
        x = self.left + along if self.drum.anchor_side is Side.LEFT else self.right - along
        return x, FOOT + self.unit * ((layer - 1) * ROW + 0.5)

    def body(self) -> Iterator[Shape]:
        flange_height = self.height - HEAD - FOOT + 6
        yield Bar(self.left - FLANGE, FOOT - 6, FLANGE, flange_height, Look.FLANGE)
        yield Bar(self.right, FOOT - 6, FLANGE, flange_height, Look.FLANGE)
        yield Bar(self.left, FOOT - 6, self.right - self.left, 6, Look.CORE)

    def labels(self, count: DrawnCount) -> Iterator[Shape]:
        anchor = self.drum.anchor_side
        for side, x, scale in (
            (Side.LEFT, self.left - FLANGE / 2, count.scales[0]),
            (Side.RIGHT, self.right + FLANGE / 2, count.scales[1]),
        ):
            roles = [word for word, at in (("anchor", anchor), ("open", count.open_side)) if at == side]
            yield Words(x, FOOT - 17, side.value, bold=True)
            yield Words(x, FOOT - 26, f"{' and '.join(roles)} side" if roles else "")
            if scale:
                yield Words(x, self.height - HEAD + 5, f"scale {scale}")
        yield Words((self.left + self.right) / 2, FOOT - 17, "core")
        tip = self.right - 8 if anchor is Side.LEFT else self.left + 8
        back = self.left + 8 if anchor is Side.LEFT else self.right - 8
        yield from _arrow(back, tip, self.height - HEAD + 7, "layer 1 began this way")


def _arrow(start: float, tip: float, y: float, words: str) -> Iterator[Shape]:
    middle, half = (start + tip) / 2, 50
    way = 1 if tip > start else -1
    yield Words(middle, y - 2, words)
    if abs(tip - start) / 2 > half + 14:  # room beside the words
        near, far = middle + way * half, tip - way * 20
        yield Trace(((near, y), (far, y)), Look.MARK)
        yield Trace(((far, y), (far - way * 4, y + 2), (far - way * 4, y - 2)), Look.MARK, closed=True)


def _wraps(frame: _SectionFrame, count: DrawnCount) -> Iterator[Shape]:
    radius = frame.unit / 2 * 0.94
    for layer in range(1, count.layers + 1):
        for wrap in range(1, frame.drum.capacity(layer) + 1):
            yield Disc(*frame.at(layer, wrap), radius, Look.WRAP)
    top = count.layers + 1
    from_anchor = Parity.of(top) is Parity.ODD  # odd layers run away from the anchor side
    for n in range(1, count.wraps + 1):
        x, y = frame.at(top, n if from_anchor else frame.drum.capacity(top) + 1 - n)
        taken = n > count.wraps - count.taken_off
        yield Disc(x, y, radius, Look.TAKEN_OFF if taken else Look.PART_WRAP)
        if taken:
            arm = radius * 0.5
            yield Trace(((x - arm, y - arm), (x + arm, y + arm)), Look.MARK)
            yield Trace(((x - arm, y + arm), (x + arm, y - arm)), Look.MARK)


def _section_in_words(drum: DrumSection, count: DrawnCount) -> str:
    part = f"{counted(count.wraps, 'wrap')} on the part layer above them" if count.wraps else "no part layer"
    which = "the one with a cross is" if count.taken_off == 1 else f"the {count.taken_off} with a cross are"
    crossed = f", of which {which} taken off" if count.taken_off else ""
    left, right = (scale or "not read" for scale in count.scales)
    return (
        f"{counted(count.layers, 'full layer')} and {part}{crossed}. Anchor side {drum.anchor_side}; "
        f"flange scales: left {left}, right {right}.{f' Open side {count.open_side}.' if count.open_side else ''}"
    )


def crossover_circle(
    drum: DrumSection, reference_side: str, *, half: str = "", degrees: float | None = None
) -> Picture:
    """The drum from the reference side: the scale line at 0°, the two halves, and the arc that takes a wrap off.

    half or degrees: where the crossover was seen; nowhere on a blank sheet.
    """
    size, radius = 150.0, 46.0
    x, y = size / 2, size / 2 + 4
    arc = _arc(x, y, radius + 5, drum.arc_from_deg, drum.arc_to_deg)
    shapes: list[Shape] = [
        Trace(arc, Look.ARC),
        Disc(x, y, radius, Look.OUTLINE),
        Disc(x, y, radius * 0.3, Look.CORE),
        Trace(((x, y), (x + radius + 16, y)), Look.SCALE_LINE, dashed=True),
        Words(x + radius + 18, y - 2, "0°", "start"),
        Words(x, y + radius + 14, "first half"),
        Words(x, y - radius - 18, "second half"),
        Words(x, y - radius - 28, f"seen from the {reference_side}" if reference_side else ""),
    ]
    shapes += _crossover(x, y, radius, half, degrees)
    return Picture(
        width=size,
        height=size,
        title="Where the crossover lies",
        description=_circle_in_words(drum, half, degrees),
        shapes=tuple(shape for shape in shapes if not (isinstance(shape, Words) and not shape.text)),
    )


def _crossover(x: float, y: float, radius: float, half: str, degrees: float | None) -> Iterator[Shape]:
    if degrees is not None:
        spot = _on_circle(x, y, radius, degrees)
        yield Disc(*spot, 4, Look.PART_WRAP)
        yield Words(*_on_circle(x, y - 2, radius * 0.72, degrees), f"{degrees:g}°", bold=True)
    elif half in ("first", "second"):
        up = 1 if half == "first" else -1
        yield Trace(_arc(x, y, radius * 0.8, 15 if up > 0 else 195, 165 if up > 0 else 345), Look.PART_WRAP)
        yield Words(x, y + up * radius * 0.55 - 2, half, bold=True)


def _on_circle(x: float, y: float, radius: float, degrees: float) -> tuple[float, float]:
    turn = math.radians(degrees)
    return x + radius * math.cos(turn), y + radius * math.sin(turn)


def _arc(x: float, y: float, radius: float, start: float, end: float) -> tuple[tuple[float, float], ...]:
    steps = max(2, math.ceil((end - start) / 5))
    return tuple(_on_circle(x, y, radius, start + (end - start) * i / steps) for i in range(steps + 1))


def _circle_in_words(drum: DrumSection, half: str, degrees: float | None) -> str:
    seen = "Nothing is marked."
    if degrees is not None:
        seen = f"The crossover is at {degrees:g}°."
    elif half == "unclear":
        seen = "The crossover is on the scale line, or can't be told."
    elif half:
        seen = f"The crossover is in the {half} half."
    return (
        f"Angles go counter-clockwise from the scale line. {seen} From {drum.arc_from_deg:g}° to "
        f"{drum.arc_to_deg:g}° a wrap is taken off."
    )
