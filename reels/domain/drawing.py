"""Drawings as values: shapes with what they mean, in points, from the lower left. One drawing for page and document."""

from dataclasses import dataclass
from enum import StrEnum


class Look(StrEnum):
    """What a shape means; the page's stylesheet and the document's palette say how that looks."""

    CORE = "core"
    FLANGE = "flange"
    WRAP = "wrap"  # of a full layer
    PART_WRAP = "part-wrap"  # of the part layer, counted
    TAKEN_OFF = "taken-off"  # of the part layer, taken off by a correction; drawn with a cross, too
    SCALE_LINE = "scale-line"
    ARC = "arc"  # where a crossover takes a wrap off
    CROSSOVER = "crossover"  # the half in which it was keyed
    OUTLINE = "outline"
    MARK = "mark"
    CODE = "code"  # a dark module of a QR code
    GRID = "grid"  # faint lines of a scale
    BAND = "band"  # within what a line is uncertain
    TEXT = "text"


@dataclass(frozen=True, slots=True)
class Disc:
    """A circle around (x, y). address: where it leads on a page, said by its label; on paper nowhere."""

    x: float
    y: float
    radius: float
    look: Look
    address: str = ""
    label: str = ""


@dataclass(frozen=True, slots=True)
class Bar:
    """A rectangle with its lower left corner at (x, y)."""

    x: float
    y: float
    width: float
    height: float
    look: Look


@dataclass(frozen=True, slots=True)
class Trace:
    """A line through points, or the area that they enclose."""

    points: tuple[tuple[float, float], ...]
    look: Look
    closed: bool = False
    dashed: bool = False


@dataclass(frozen=True, slots=True)
class Words:
    """Text whose baseline is anchored at (x, y); anchor: start, middle or end."""

    x: float
    y: float
    text: str
    anchor: str = "middle"
    bold: bool = False


Shape = Disc | Bar | Trace | Words


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """Shapes on a canvas of a width and height in points.

    title and description: what it shows, in words, for whoever does not see it.
    """

    width: float
    height: float
    title: str
    description: str
    shapes: tuple[Shape, ...]
    text_size: float = 7
