"""The drawing beside a step: the reel as far as its reader may see it, and where the crossover lies."""

from collections.abc import Mapping
from typing import Any

from django.utils.safestring import SafeString

from inspections.domain.reading import Half, RuleParameters
from inspections.domain.reading_rules import takes_a_wrap_off
from reels.domain.reel_figures import DrawnCount, DrumSection, crossover_circle, reel_section
from reels.pages.figures import drawn

WIDTH_PT, HEIGHT_PT = 250, 200  # small, so that its words can be read on a phone
LAST_STEP = 4


def step_figures(
    parameters: RuleParameters, reference_side: str, step: int, seen: Mapping[str, Any]
) -> list[SafeString]:
    """The drawings of a step.

    seen: reading fields that the reader keyed, has typed, or may see.
    """
    drum = DrumSection(
        anchor_side=parameters.anchor_side, wraps_odd_layer=parameters.wraps_odd_layer,
        wraps_even_layer=parameters.wraps_even_layer, max_layers=parameters.max_layers,
        arc_from_deg=parameters.arc_from_deg, arc_to_deg=parameters.arc_to_deg,
    )  # fmt: skip
    section = reel_section(drum, _drawn_count(parameters, seen), width=WIDTH_PT, height=HEIGHT_PT)
    figures = [drawn(section, "section")]
    if step == LAST_STEP:
        half = seen.get("crossover_half") or ""
        circle = crossover_circle(drum, reference_side, half=half if half in set(Half) else "")
        figures.append(drawn(circle, "circle"))
    return figures


def _drawn_count(parameters: RuleParameters, seen: Mapping[str, Any]) -> DrawnCount:
    """The layers of the lower scale, the wraps of the hand count or else the gauge; no more than the drum takes."""
    scales = [seen.get("scale_left"), seen.get("scale_right")]
    read = [scale for scale in scales if scale is not None]
    layers = min([*read, parameters.max_layers]) if read else 0
    wraps = seen.get("hand_wraps") or seen.get("gauge_wraps") or 0
    wraps = min(wraps, parameters.capacity(layers + 1)) if read else 0
    half = seen.get("crossover_half")
    taken_off = int(wraps > 0 and half in set(Half) and bool(takes_a_wrap_off(parameters, Half(half))))
    left, right = ("" if scale is None else str(scale) for scale in scales)
    open_side = seen.get("open_side") or ""
    return DrawnCount(layers=layers, wraps=wraps, taken_off=taken_off, scales=(left, right), open_side=open_side)
