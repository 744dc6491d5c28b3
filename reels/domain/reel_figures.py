"""What is drawn of a reel as it sits when installed, in two views: facing the scale line, and from the reference side.

Source: the drawings are our own; what they show is common practice, no published source.
"""

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from reels.domain.drawing import Bar, Disc, Look, Picture, Shape, Trace, Words
from reels.domain.words import LinePlace, Parity, Side, WindingSense, counted, where_halves_lie

ROW = math.sqrt(3) / 2  # height of a nested layer, in cable diameters; figures are to no scale
GREATEST_UNIT = 11.0  # points a cable diameter takes at most
MARGIN = 50.0
FOOT = 56.0
HEAD = 24.0
FLANGE = 5.0
NARROW = 130.0  # points between the flanges; the names of the flanges need more when they stand under them
LINE = 10.0  # from one line of words to the next
TEXT = 8.5
# What lies further up in the eyes of whoever faces the line; of a line at the bottom that is its nearer, aft side.
UPWARD = {"top": "forward", "bottom": "aft", "forward": "above", "aft": "above"}
HALF_NAMES = ("first half", "second half")
CROSSOVER_WORDS = {
    "first": "in the first half", "second": "in the second half", "unclear": "on the scale line, or can't be told",
}  # fmt: skip


def paper_degrees(place: str, reference_side: Side) -> int:
    """Where top, bottom, forward or aft lies on paper, counter-clockwise from its right edge, seen from a side.

    Seen from the right side of what carries the machine forward is to the right; from the left, to the left.
    """
    if place in ("top", "bottom"):
        return 90 if place == "top" else 270
    return 0 if (place == "forward") is (reference_side is Side.RIGHT) else 180


@dataclass(frozen=True, slots=True, kw_only=True)
class DrumSection:
    """As much of a reel type as its figures need.

    wraps_odd_layer, wraps_even_layer: wraps of a full layer, 2 or more; max_layers: 1 or more.
    scale_line_at: where the scale line sits as installed. reference_side: the side of what carries the machine from
    which angles are seen. winding_sense: the way the cable runs from its inner end, seen from there. face_marks,
    scale_marks: what the odd and the even face of a wrap gauge look like, and the scales of odd and of even numbers, in
    the type's own words, or "". arc_from_deg, arc_to_deg: where a crossover takes a wrap off.
    """

    anchor_side: Side
    wraps_odd_layer: int
    wraps_even_layer: int
    max_layers: int
    arc_from_deg: float
    arc_to_deg: float
    scale_line_at: LinePlace
    reference_side: Side
    winding_sense: WindingSense
    face_marks: tuple[str, str] = ("", "")
    scale_marks: tuple[str, str] = ("", "")

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

    @property
    def side_at_left(self) -> Side:
        """The flange at the left of whoever faces the scale line: the right one, where that means looking aft."""
        return Side.RIGHT if self.scale_line_at == "forward" else Side.LEFT

    @property
    def half_words(self) -> tuple[str, str]:
        """Which way the middle of the first half lies, and of the second: forward, aft, above or below."""
        return where_halves_lie(self.scale_line_at, self.reference_side)

    @property
    def counter_clockwise_is_up(self) -> bool:
        """Whether what goes round counter-clockwise goes up in the eyes of whoever faces the scale line."""
        return self.half_words[0] == UPWARD[self.scale_line_at]

    def across(self, layer: int, wrap: int) -> float:
        """How far from the flange at the left of the paper a wrap lies, in cable diameters."""
        along = self.centre(layer, wrap)
        return along if self.anchor_side is self.side_at_left else self.width - along


# Where the scale line sat of a count whose parameters do not say it: seen from that side, the first half then lies aft,
# as it was called.
FIRST_HALF_AFT = {Side.LEFT: LinePlace.BOTTOM, Side.RIGHT: LinePlace.TOP}


def drum_of(parameters: Mapping[str, Any], reference_side: str) -> DrumSection:
    """The drum of a reel type, from the parameters that an inspection keeps.

    reference_side: the type's, for parameters of a count that do not hold it.
    """
    side = Side(parameters.get("reference_side", reference_side))
    by_arc = WindingSense.CLOCKWISE if float(parameters["arc_from_deg"]) < 180 else WindingSense.COUNTER_CLOCKWISE
    return DrumSection(
        anchor_side=Side(parameters["anchor_side"]), max_layers=parameters["max_layers"],
        wraps_odd_layer=parameters["wraps_odd_layer"], wraps_even_layer=parameters["wraps_even_layer"],
        arc_from_deg=float(parameters["arc_from_deg"]), arc_to_deg=float(parameters["arc_to_deg"]),
        scale_line_at=LinePlace(parameters.get("scale_line_at", FIRST_HALF_AFT[side])), reference_side=side,
        winding_sense=WindingSense(parameters.get("winding_sense", by_arc)),
        face_marks=(parameters.get("odd_face_mark", ""), parameters.get("even_face_mark", "")),
        scale_marks=(parameters.get("odd_scale_mark", ""), parameters.get("even_scale_mark", "")),
    )  # fmt: skip


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


# Facing the scale line ----------------------------------------------------------------------------------------------

FACING = {
    "top": "Facing the scale line on top, from aft",
    "bottom": "Facing the scale line at the bottom, from aft",
    "forward": "Facing the scale line from forward, looking aft",
    "aft": "Facing the scale line from aft, looking forward",
}


def reel_section(drum: DrumSection, count: DrawnCount, *, width: float, height: float) -> Picture:
    """The reel cut at the scale line, as whoever faces that line sees it; the core lies deepest, the part layer on top.

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
        title="The reel, facing the scale line",
        description=_section_in_words(drum, count),
        shapes=(*frame.body(), *_wraps(frame, count), *frame.labels(count), *frame.cable(count)),
        text_size=TEXT,
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
        return self.left + self.drum.across(layer, wrap) * self.unit, FOOT + self.unit * ((layer - 1) * ROW + 0.5)

    def body(self) -> Iterator[Shape]:
        flange_height = self.height - HEAD - FOOT + 6
        yield Bar(self.left - FLANGE, FOOT - 6, FLANGE, flange_height, Look.FLANGE)
        yield Bar(self.right, FOOT - 6, FLANGE, flange_height, Look.FLANGE)
        yield Bar(self.left, FOOT - 6, self.right - self.left, 6, Look.CORE)

    def labels(self, count: DrawnCount) -> Iterator[Shape]:
        """The flanges with their roles and scale readings, and from where this is seen."""
        at_left = self.drum.side_at_left
        readings = dict(zip(Side, count.scales, strict=True))
        narrow = self.right - self.left < NARROW
        for side, x, way in ((at_left, self.left - FLANGE / 2, -1), (at_left.other, self.right + FLANGE / 2, 1)):
            roles = (("anchor side", self.drum.anchor_side), ("open side", count.open_side))
            outward = "end" if way < 0 else "start"
            anchor = outward if narrow else "middle"
            yield Words(x, FOOT - 6 - LINE, f"{side} flange", anchor, bold=True)
            for i, role in enumerate(role for role, at in roles if at == side):
                yield Words(x, FOOT - 6 - (2 + i) * LINE, role, anchor)
            if readings[side]:
                yield Words(x + way * FLANGE, self.height - HEAD - 7, f"scale {readings[side]}", outward)
        yield Words(self.width / 2, 5, FACING[self.drum.scale_line_at])

    def cable(self, count: DrawnCount) -> Iterator[Shape]:
        """How many layers and wraps there are, with a line to the first wrap of the part layer."""
        top = self.height - 9
        layers = counted(count.layers, "full layer")
        if not count.wraps:
            yield Words(self.width / 2, top, layers if count.layers else "no layer read yet")
            return
        x, y = self.at(count.layers + 1, _wrap_number(self.drum, count.layers + 1, 1))
        yield Trace(((x, y + self.unit / 2 + 1), (x, top - 3)), Look.SCALE_LINE)
        yield Words(self.width / 2, top, f"part layer: {counted(count.wraps, 'wrap')}, on {layers}")


def _wrap_number(drum: DrumSection, layer: int, n: int) -> int:
    """The number from the anchor side of a layer's n-th wrap: odd layers run away from the anchor side."""
    return n if Parity.of(layer) is Parity.ODD else drum.capacity(layer) + 1 - n


def _wraps(frame: _SectionFrame, count: DrawnCount) -> Iterator[Shape]:
    radius = frame.unit / 2 * 0.94
    for layer in range(1, count.layers + 1):
        for wrap in range(1, frame.drum.capacity(layer) + 1):
            yield Disc(*frame.at(layer, wrap), radius, Look.WRAP)
    top = count.layers + 1
    for n in range(1, count.wraps + 1):
        x, y = frame.at(top, _wrap_number(frame.drum, top, n))
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
    at_left = drum.side_at_left
    return (
        f"{FACING[drum.scale_line_at]}: the {at_left} flange is at the left, the {at_left.other} one at the right. "
        f"{counted(count.layers, 'full layer')} and {part}{crossed}. Anchor side {drum.anchor_side}; "
        f"flange scales: left {left}, right {right}.{f' Open side {count.open_side}.' if count.open_side else ''}"
    )


# From the reference side --------------------------------------------------------------------------------------------


def reference_view(drum: DrumSection, *, half: str = "", degrees: float | None = None) -> Picture:
    """The drum from the reference side, as it sits: up and forward, the scale line, both halves and the arc.

    half (first, second or unclear) or degrees: where the crossover was keyed; neither for whoever has still to key it.
    """
    frame = ReferenceFrame(drum)
    return Picture(
        width=frame.width,
        height=frame.height,
        title=f"The drum, seen from the {drum.reference_side}",
        description=frame.in_words(half, degrees),
        shapes=(*frame.shapes(half), *_crossover(frame, half, degrees)),
        text_size=TEXT,
    )


class ReferenceFrame:
    """Where the drum's circle lies on paper; angles are the drum's, counter-clockwise from the scale line."""

    width, height, x, y, radius = 250.0, 204.0, 125.0, 107.0, 50.0

    def __init__(self, drum: DrumSection) -> None:
        self.drum = drum
        self.line_deg = paper_degrees(drum.scale_line_at, drum.reference_side)

    def at(self, degrees: float, radius: float) -> tuple[float, float]:
        """A point at an angle of the drum and a distance from its axis."""
        turn = math.radians(self.line_deg + degrees)
        return self.x + radius * math.cos(turn), self.y + radius * math.sin(turn)

    def arc(self, start: float, end: float, radius: float) -> tuple[tuple[float, float], ...]:
        """Points along a circle from one angle of the drum to another."""
        steps = max(2, math.ceil((end - start) / 5))
        return tuple(self.at(start + (end - start) * i / steps, radius) for i in range(steps + 1))

    def shapes(self, marked: str = "") -> Iterator[Shape]:
        """All but the crossover. marked: the half in which it was keyed."""
        hub = self.radius * 0.3
        yield Trace(self.arc(self.drum.arc_from_deg, self.drum.arc_to_deg, self.radius + 5), Look.ARC)
        yield Disc(self.x, self.y, self.radius, Look.OUTLINE)
        yield Disc(self.x, self.y, hub, Look.CORE)
        yield Trace((self.at(0, hub), self.at(0, self.radius + 17)), Look.SCALE_LINE)
        yield Trace((self.at(180, hub), self.at(180, self.radius)), Look.SCALE_LINE, dashed=True)
        yield from self._way_round()
        yield from self._names(marked)
        yield from self._compass()
        yield Words(self.x, 5, f"seen from the {self.drum.reference_side} side")

    def _way_round(self) -> Iterator[Shape]:
        """The counter-clockwise arrow from the scale line."""
        radius, tip = self.radius + 12, 55
        yield Trace(self.arc(3, tip - 5, radius), Look.OUTLINE)
        yield Trace((self.at(tip, radius), self.at(tip - 6, radius + 3.5), self.at(tip - 6, radius - 3.5)),
                    Look.MARK, closed=True)  # fmt: skip

    def _names(self, marked: str) -> Iterator[Shape]:
        unclear = ("crossover?",) if marked == "unclear" else ()
        yield from self._beside(0, ("scale line", "0°", *unclear), away=20)
        yield from self._beside(180, ("180°",), away=8)
        for middle, name, word in zip((90, 270), HALF_NAMES, self.drum.half_words, strict=True):
            crossover = ("crossover",) if name.startswith(marked or "-") else ()
            yield from self._beside(middle, (f"{name}:", word, *crossover), away=15, bold=True)

    def _beside(self, degrees: float, lines: tuple[str, ...], *, away: float, bold: bool = False) -> Iterator[Shape]:
        """Words outside the circle, at an angle of the drum."""
        x, y = self.at(degrees, self.radius + away)
        way = round((x - self.x) / (self.radius + away)), round((y - self.y) / (self.radius + away))
        if way[0]:  # to the side: one line below the other, and a name of two words on two lines
            first = y - 3 + LINE * (len(lines) - 1) / 2
            anchor = "start" if way[0] > 0 else "end"
            yield from (Words(x, first - LINE * i, line, anchor, bold) for i, line in enumerate(lines))
        else:
            joined = (" ".join(lines[:2]), *lines[2:])
            first = y + (LINE * (len(joined) - 1) if way[1] > 0 else -6)
            yield from (Words(x, first - LINE * i, line, bold=bold) for i, line in enumerate(joined))

    def _compass(self) -> Iterator[Shape]:
        """Arrows that say which way is up and which way is forward."""
        way = 1 if paper_degrees("forward", self.drum.reference_side) == 0 else -1
        x, y, arm = (18.0 if way > 0 else self.width - 18), 22.0, 24.0
        yield Trace(((x, y + arm), (x, y), (x + way * arm, y)), Look.OUTLINE)
        yield Trace(((x, y + arm + 6), (x - 3, y + arm), (x + 3, y + arm)), Look.MARK, closed=True)
        tip = x + way * arm
        yield Trace(((tip + way * 6, y), (tip, y + 3), (tip, y - 3)), Look.MARK, closed=True)
        yield Words(x, y + arm + 9, "up")
        yield Words(x + way * 5, y - 10, "forward", "start" if way > 0 else "end")

    def in_words(self, half: str = "", degrees: float | None = None) -> str:
        """What the view shows, for whoever does not see it."""
        drum, (first, second) = self.drum, self.drum.half_words
        seen = ""
        if degrees is not None:
            seen = f" The crossover is at {degrees:g}°."
        elif half:
            seen = f" The crossover is {CROSSOVER_WORDS[half]}."
        way = "right" if drum.reference_side is Side.RIGHT else "left"
        return (
            f"As installed, seen from the {drum.reference_side} side: up is up, forward is to the {way}. The scale "
            f"line is {drum.scale_line_at.spoken}. Counter-clockwise from it, the first half lies {first}, "
            f"the second {second}.{seen} From {drum.arc_from_deg:g}° to {drum.arc_to_deg:g}° a wrap is taken off."
        )


def _crossover(frame: ReferenceFrame, half: str, degrees: float | None) -> Iterator[Shape]:
    if degrees is not None:
        yield Disc(*frame.at(degrees, frame.radius), 4, Look.PART_WRAP)
        x, y = frame.at(degrees, frame.radius * 0.68)
        yield Words(x, y - 3, f"{degrees:g}°", bold=True)
    elif half:
        start, end = {"first": (15, 165), "second": (195, 345), "unclear": (-12, 12)}[half]
        yield Trace(frame.arc(start, end, frame.radius * 0.8), Look.CROSSOVER)
