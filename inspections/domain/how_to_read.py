"""How each point of a reading is read, in pictures of an example that is wound on a drum of the type.

The example is the same for every reel of a type, so that it tells nothing of the one that is being counted.
Source: the drawings are our own; what they show is common practice, no published source.
"""

from collections.abc import Callable, Collection, Iterator
from dataclasses import replace
from textwrap import wrap

from inspections.domain.practice.figures import (
    FLANGE,
    FOOT,
    NUMBERED,
    STEP,
    STRIP,
    TEXT,
    BenchReel,
    Row,
    flange_scales,
    gauge_laid_on,
    levels_drawn,
    scale_line,
)
from inspections.domain.practice.reels import PracticeDrum
from inspections.domain.reading import RuleParameters
from inspections.domain.words import Point
from reels.domain.drawing import Bar, Disc, Look, Picture, Shape, Trace, Words
from reels.domain.reel_figures import DrumSection
from reels.domain.words import Parity, counted

LAYERS = {Parity.EVEN: (5, 3, 1), Parity.ODD: (4, 2)}  # the part layer, by the parity of the full layers below it
WRAPS = 7  # of the part layer of an example; few, so that each can have its number
WIDEST_EXAMPLE = 300.0  # points; a phone shows it whole, with words that can be read
ROOM_OF_A_NUMBER = 7.5  # points
WIDE_LETTER = 0.62  # of the size of letters: how wide they are at most in the middle of a text


def how_to_read(points: Collection[Point], parameters: RuleParameters, drum: DrumSection) -> tuple[Picture, ...]:
    """The pictures for the points that are keyed at a step, in the order of the job."""
    examples = {face: _example(parameters, drum, layers) for face, layers in LAYERS.items()}
    plain = examples[Parity.EVEN]
    assert plain, "every drum takes a part layer on its core"
    pictures: list[Picture] = []
    if Point.OPEN_SIDE in points:
        pictures.append(_open_side(plain))
    if {Point.SCALE_LEFT, Point.SCALE_RIGHT} & set(points):
        pictures.append(_scales(plain))
    if Point.UNWIND in points:
        pictures.append(_unwinding(plain))
    if Point.HAND_COUNT in points:
        pictures.append(_wraps_at_the_line(plain))
    if Point.GAUGE in points:
        pictures += [_gauge(example, face) for face, example in examples.items() if example]
    if Point.CROSSOVER in points:
        pictures.append(_crossover(plain))
    return tuple(pictures)


def _example(parameters: RuleParameters, drum: DrumSection, layers: Collection[int]) -> BenchReel | None:
    """A drum with the first of these layers that the type takes on top, as the part layer."""
    layer = next((n for n in layers if n <= parameters.max_layers), None)
    if layer is None:
        return None
    wraps = min(WRAPS, parameters.capacity(layer) - 1)
    return BenchReel(parameters, PracticeDrum(layer=layer, wraps=wraps, crossover_deg=60), drum, WIDEST_EXAMPLE)


def _with_words(picture: Picture, marks: Iterator[Shape], title: str, text: str) -> Picture:
    """The picture with what shows how it is read, and a text above it."""
    lines = wrap(text, int(picture.width / (WIDE_LETTER * picture.text_size)))
    rise = picture.text_size + 3
    height = picture.height + rise * len(lines)
    above = (Words(picture.width / 2, height - rise * (i + 1) + 2, line) for i, line in enumerate(lines))
    return replace(
        picture, height=height, title=title, shapes=(*picture.shapes, *marks, *above),
        description=f"An example, not this reel. {picture.description} {text}",
    )  # fmt: skip


def _open_side(reel: BenchReel) -> Picture:
    """An arrow from the last wrap of the part layer across to the flange that it has not reached."""
    row, open_side = Row(reel), reel.parameters.far_side(reel.cable.layer)
    marks = _arrow(row, row.slot(reel.cable.wraps), row.slot(reel.capacity))
    return _with_words(
        scale_line(reel), marks, "How to find the open side",
        f"Example: the part layer has not reached the {open_side} flange. That is the open side.",
    )  # fmt: skip


def _unwinding(reel: BenchReel) -> Picture:
    """An arrow over the part layer, the way it is unwound."""
    row, open_side = Row(reel), reel.parameters.far_side(reel.cable.layer)
    marks = _arrow(row, row.slot(reel.cable.wraps), row.slot(1))
    return _with_words(
        scale_line(reel), marks, "How to tell the unwind direction",
        f"Example: as cable leaves, the wraps go one by one from the {open_side} to the {open_side.other}.",
    )  # fmt: skip


def _arrow(row: Row, start: float, tip: float) -> Iterator[Shape]:
    """Along the scale line, over the part layer."""
    y, way = row.foot + row.rise + row.unit + 7, 1 if tip > start else -1
    yield Trace(((start, y), (tip - way * 6, y)), Look.OUTLINE)
    yield Trace(((tip, y), (tip - way * 7, y + 3.5), (tip - way * 7, y - 3.5)), Look.MARK, closed=True)


def _scales(reel: BenchReel) -> Picture:
    """A line from the top of the cable to its number at each flange."""
    picture = flange_scales(reel)
    full, (low, _) = min(reel.levels.values()), levels_drawn(reel)

    def marks() -> Iterator[Shape]:
        for side, x, way in zip(reel.sides, (STRIP + 20, picture.width - STRIP - 20), (1, -1), strict=True):
            y = FOOT + (reel.levels[side] - low) * STEP
            yield Trace(((x + way * (FLANGE + 4 * STEP), y), (x, y)), Look.SCALE_LINE, dashed=True)
            yield Disc(x - way * 15, y, 7, Look.OUTLINE)

    readings = " and ".join(f"{side} {reel.levels[side]}" for side in reel.sides)
    return _with_words(
        picture, marks(), "How to read the flange scales",
        f"Example: {readings}. The lower reading counts: {counted(full, 'full layer')}, the part layer on top.",
    )  # fmt: skip


def _wraps_at_the_line(reel: BenchReel) -> Picture:
    """Each wrap on the line with its number."""
    row = Row(reel)
    y = row.foot + row.rise + row.unit + 3
    every = 1 if row.unit >= ROOM_OF_A_NUMBER else 2
    marks = (Words(row.slot(n), y, f"{n}") for n in range(1, reel.cable.wraps + 1, every))
    began = reel.parameters.far_side(reel.cable.layer).other
    return _with_words(
        scale_line(reel), marks, "How to count the wraps",
        f"Example: {counted(reel.cable.wraps, 'wrap')}, counted from the {began} "
        "flange, where the part layer began.",
    )  # fmt: skip


def _gauge(reel: BenchReel, face: Parity) -> Picture:
    """A line from the outermost wrap to its graduation."""
    row, full = Row(reel), reel.cable.layer - 1
    x, top = row.slot(reel.cable.wraps), row.foot + row.rise + row.unit
    bar = row.foot + 2 * row.rise + row.unit + 4

    def marks() -> Iterator[Shape]:
        yield Trace(((x, top), (x, bar)), Look.SCALE_LINE, dashed=True)
        yield Disc(x, bar + 4, 5.5, Look.OUTLINE)
        if reel.cable.wraps > 1 and reel.cable.wraps % NUMBERED:
            yield Words(x, bar + 16, f"{reel.cable.wraps}", bold=True)

    return _with_words(
        gauge_laid_on(reel, face), marks(), f"How to read the gauge over an {face} number of full layers",
        f"Example: {counted(full, 'full layer')}, an {face} number: the {face} face. "
        f"Read at the outermost wrap: {reel.cable.wraps}.",
    )  # fmt: skip


# The crossover ------------------------------------------------------------------------------------------------------

BAND = 15.0  # of a wrap that is looked at from in front
BANDS = 5


def _crossover(reel: BenchReel) -> Picture:
    """Some turns of the part layer, facing them: from the scale line counter-clockwise to where they step across."""
    began = reel.parameters.far_side(reel.cable.layer).other
    width, height, foot = 250.0, 116.0, 16.0
    is_left = began is reel.drum.side_at_left
    way, edge, anchor = (1, 40.0, "start") if is_left else (-1, width - 40.0, "end")
    end = edge + way * (BANDS + 1.4) * BAND
    top = height - 4

    def away(y: float) -> float:
        """Up or down the paper from the scale line, whichever way goes round counter-clockwise."""
        return y if reel.drum.counter_clockwise_is_up else foot + top - y

    shapes = (
        Bar(edge - (FLANGE if is_left else 0), foot, FLANGE, top - foot, Look.FLANGE),
        *_turns(reel.drum, lambda across, y: (edge + way * across * BAND, away(y)), (foot, 58, 84, top)),
        Trace(((edge + way * 2, away(26)), (end + way * 8, away(26))), Look.SCALE_LINE),
        Words(end + way * 12, away(26) - 3, "scale line", anchor),
        Trace(((end, away(26)), (end, away(60))), Look.OUTLINE),
        Trace(((end, away(66)), (end - 3, away(59)), (end + 3, away(59))), Look.MARK, closed=True),
        Words(end + way * 12, away(71) + 3, "crossover: the turns", anchor),
        Words(end + way * 12, away(71) - 8, "step across here", anchor),
        Words(edge, 3, f"{began} flange", anchor, bold=True),
    )
    picture = Picture(
        width=width, height=height, text_size=TEXT, title="", shapes=shapes,
        description="Some turns of the part layer, facing them.",
    )  # fmt: skip
    return _with_words(
        picture, iter(()), "How to find the crossover",
        "Go round by the drawn arrow, from the scale line to where the turns step across: key the half it lies in.",
    )  # fmt: skip


def _turns(
    drum: DrumSection, at: Callable[[float, float], tuple[float, float]], heights: tuple[float, float, float, float]
) -> Iterator[Shape]:
    """Turns side by side from the flange where their layer began.

    Cable that runs clockwise goes from beyond the crossover to the scale line and is one wrap further on there; what
    runs the other way is one wrap further on beyond. The layer begins at the crossover.
    """
    foot, low, high, top = heights
    half = 0.42  # of a wrap's width
    near, far = (1, 0) if drum.winding_sense == "clockwise" else (0, 1)
    start, stop = (foot, low) if near else (high, top)
    yield Trace((at(0.5 - half, start), at(0.5 - half, stop), at(0.5 + half, stop), at(0.5 + half, start)),
                Look.WRAP, closed=True)  # fmt: skip
    for n in range(BANDS - 1):
        here, there = n + near + 0.5, n + far + 0.5
        left = (at(here - half, foot), at(here - half, low), at(there - half, high), at(there - half, top))
        right = (at(there + half, top), at(there + half, high), at(here + half, low), at(here + half, foot))
        yield Trace((*left, *right), Look.WRAP, closed=True)
