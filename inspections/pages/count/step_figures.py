"""The drawings of a step: the reel in two views as far as its reader may see it, and how the step is read."""

from collections.abc import Collection, Mapping
from typing import Any, TypedDict

from django.utils.safestring import SafeString

from inspections.domain.how_to_read import how_to_read
from inspections.domain.reading import Half, RuleParameters
from inspections.domain.reading_rules import takes_a_wrap_off
from inspections.domain.words import Point
from inspections.models import Inspection
from inspections.queries.parameters import parameters_of
from reels.domain.drawing import Picture
from reels.domain.reel_figures import (
    DrawnCount,
    DrumSection,
    drum_of,
    paper_degrees,
    reel_section,
    reference_view,
)
from reels.pages.figures import drawn

WIDTH_PT, HEIGHT_PT = 250, 160  # small, so that its words can be read on a phone
MOST_WIDTH_PT = 300  # a wider drawing scrolls by itself on a phone


def shown_figure(picture: Picture, name: str) -> dict[str, Any]:
    """A drawing under its name on the page, and whether a phone has to scroll it."""
    is_wide = picture.width > MOST_WIDTH_PT
    return {"title": picture.title, "drawing": drawn(picture, name.replace("_", "-")), "is_wide": is_wide}


class TypeOfCount(TypedDict):
    """What forms and drawings of a count need to know of the reel's type."""

    rules: RuleParameters
    drum: DrumSection


def of_type(inspection: Inspection) -> TypeOfCount:
    """What a count's forms and drawings need to know of its reel's type. No query for what access gave."""
    drum = drum_of(inspection.parameters, inspection.reel.type.reference_side)
    return {"rules": parameters_of(inspection), "drum": drum}


def step_figures(
    points: Collection[Point], seen: Mapping[str, Any], *, rules: RuleParameters, drum: DrumSection
) -> list[SafeString]:
    """Both views of the reel, the one that the points of the step are about first.

    seen: reading fields that the reader keyed, has typed, or may see; nothing else is drawn.
    """
    half = seen.get("crossover_half") or ""
    degrees = seen.get("crossover_deg")
    section = reel_section(drum, _drawn_count(rules, seen), width=WIDTH_PT, height=HEIGHT_PT)
    circle = reference_view(
        drum, half=half if half in set(Half) else "", degrees=None if degrees is None else float(degrees)
    )  # fmt: skip
    figures = [drawn(section, "section"), drawn(circle, "circle")]
    return figures[::-1] if Point.CROSSOVER in points else figures


def tapped_halves(drum: DrumSection) -> dict[str, Any]:
    """The drum to tap a half of, nothing marked, and on which side of the drawing each half lies."""
    middle_deg = paper_degrees(drum.scale_line_at, drum.reference_side) + 90
    sides = {0: "right", 90: "upper", 180: "left", 270: "lower"}
    return {
        "drawing": drawn(reference_view(drum), "halves"),
        "first": sides[middle_deg % 360], "second": sides[(middle_deg + 180) % 360],
    }  # fmt: skip


def how_to_figures(points: Collection[Point], *, rules: RuleParameters, drum: DrumSection) -> list[dict[str, Any]]:
    """How the points of a step are read, on an example."""
    return [shown_figure(each, f"how-{i}") for i, each in enumerate(how_to_read(points, rules, drum))]


def _drawn_count(parameters: RuleParameters, seen: Mapping[str, Any]) -> DrawnCount:
    """The layers of the lower scale, the wraps of the hand count or else the gauge; no more than the drum takes."""
    scales = [seen.get("scale_left"), seen.get("scale_right")]
    read = [scale for scale in scales if scale is not None]
    layers = min([*read, parameters.max_layers]) if read else 0
    wraps = seen.get("hand_wraps") or seen.get("gauge_wraps") or 0
    wraps = min(wraps, parameters.capacity(layers + 1)) if read else 0
    half, degrees = seen.get("crossover_half"), seen.get("crossover_deg")
    crossover = Half(half) if half in set(Half) else None if degrees is None else float(degrees)
    taken_off = int(wraps > 0 and crossover is not None and bool(takes_a_wrap_off(parameters, crossover)))
    left, right = ("" if scale is None else str(scale) for scale in scales)
    open_side = seen.get("open_side") or ""
    return DrawnCount(layers=layers, wraps=wraps, taken_off=taken_off, scales=(left, right), open_side=open_side)
