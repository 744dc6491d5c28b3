"""A drum with all its layers, as the form of a reel type draws it: true to scale, half of the section along its axle.

Source: the drawing is our own.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from reels.domain.drawing import Bar, Look, Picture, Shape, Words
from reels.domain.winding import MM_PER_M, Drum, layer_capacities, pitch_diameters_mm, wrap_lengths_mm
from reels.domain.words import counted

WIDTH, HEIGHT = 300.0, 190.0  # points that the drum may take at most, words included
MARGIN, FOOT, HEAD = 62.0, 20.0, 16.0
FLANGE = 4.0
TEXT, LINE = 8.5, 10.0


@dataclass(frozen=True, slots=True, kw_only=True)
class DrumLayer:
    """One layer of a full drum. lengths in metres: of one wrap, of the layer, and of all up to it."""

    number: int
    wraps: int
    wrap_m: float
    layer_m: float
    up_to_m: float


def layers_of(drum: Drum) -> tuple[DrumLayer, ...]:
    """Every layer of a full drum, layer 1 first."""
    wraps, each = layer_capacities(drum), wrap_lengths_mm(drum) / MM_PER_M
    up_to = np.cumsum(wraps * each)
    rows = zip(wraps.tolist(), each.tolist(), (wraps * each).tolist(), up_to.tolist(), strict=True)
    return tuple(
        DrumLayer(number=k, wraps=n, wrap_m=one, layer_m=layer, up_to_m=total)
        for k, (n, one, layer, total) in enumerate(rows, start=1)
    )


def drum_picture(drum: Drum) -> Picture:
    """The drum with every layer full, each with its number and how many wraps it holds where there is room for that."""
    layers = layers_of(drum)
    total = sum(layer.wraps for layer in layers)
    along = max(drum.wraps_odd_layer, drum.wraps_even_layer) * max(drum.advance_mm, drum.cable_diameter_mm)
    across = (pitch_diameters_mm(drum)[-1] + drum.cable_diameter_mm) / 2
    unit = min((WIDTH - 2 * MARGIN) / along, (HEIGHT - FOOT - HEAD) / across)
    return Picture(
        width=WIDTH, height=FOOT + HEAD + unit * across,
        title="The drum, full",
        description=f"{counted(len(layers), 'layer')} with {counted(total, 'wrap')} in all; layer 1, "
        f"next to the core, holds {drum.wraps_odd_layer}, layer 2 {drum.wraps_even_layer}.",
        shapes=tuple(_shapes(drum, layers, unit, along * unit)), text_size=TEXT,
    )  # fmt: skip


def _shapes(drum: Drum, layers: tuple[DrumLayer, ...], unit: float, width: float) -> Iterator[Shape]:
    left, right = (WIDTH - width) / 2, (WIDTH + width) / 2
    core = unit * drum.core_diameter_mm / 2
    rise, cable = unit * drum.rise_mm, unit * drum.cable_diameter_mm
    top = FOOT + core + rise * (len(layers) - 1) + cable
    yield Bar(left, FOOT, width, core, Look.CORE)
    step = max(1, int(-(-LINE // rise)))  # so many layers from one number to the next
    named = {1, *range(len(layers), 1, -step)} - ({*range(2, step + 1)} if step > 1 else set())
    for layer in layers:
        bottom = FOOT + core + rise * (layer.number - 1)
        full = width * layer.wraps / max(drum.wraps_odd_layer, drum.wraps_even_layer)
        yield Bar(left + (width - full) / 2, bottom, full, rise, Look.WRAP)
        if layer.number in named:
            middle = bottom + rise / 2 - TEXT / 3
            yield Words(left - FLANGE - 4, middle, f"layer {layer.number}", "end")
            yield Words(right + FLANGE + 4, middle, counted(layer.wraps, "wrap"), "start")
    for x in (left - FLANGE, right):
        yield Bar(x, FOOT, FLANGE, top - FOOT + 5, Look.FLANGE)
    yield Words(WIDTH / 2, 8, f"middle of the axle; core {drum.core_diameter_mm:g} mm across")
