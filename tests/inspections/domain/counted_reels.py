"""Reel types and readings that the counting tests share, all invented, and short ways to change and read them."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from inspections.domain.reading import Half, KeyedReading, OpenSide, Outcome, RuleParameters, Unwind
from reels.domain.words import Graduation, Parity, Side, UnusualRule
from tests.inspections.domain.drum_model import CLOCKWISE, COUNTER_CLOCKWISE, ModelDrum, Turn

ARCS = {CLOCKWISE: (0, 180), COUNTER_CLOCKWISE: (180, 360)}

TYPE = RuleParameters(
    anchor_side=Side.LEFT, wraps_odd_layer=28, wraps_even_layer=27, max_layers=40, lead_wraps=1,
    unusual=UnusualRule.ACCEPT,
)  # fmt: skip
ON_HOLD = replace(TYPE, unusual=UnusualRule.HOLD)
BY_SIDE = replace(TYPE, graduation=Graduation.BY_SIDE)

ORDINARY = KeyedReading(
    scale_left=13, scale_right=12, open_side=OpenSide.RIGHT, unwind=Unwind.RIGHT_TO_LEFT,
    hand_wraps=12, gauge_face=Parity.EVEN, gauge_wraps=12, crossover_half=Half.FIRST,
)  # fmt: skip
ODD = KeyedReading(
    scale_left=11, scale_right=12, open_side=OpenSide.LEFT, unwind=Unwind.LEFT_TO_RIGHT,
    hand_wraps=12, gauge_face=Parity.ODD, gauge_wraps=12, crossover_half=Half.FIRST,
)  # fmt: skip
STEPS_DOWN = replace(ODD, hand_wraps=1, gauge_wraps=1)
FLUSH = KeyedReading(
    scale_left=12, scale_right=12, open_side=OpenSide.NONE, unwind=Unwind.LEFT_TO_RIGHT,
    hand_wraps=27, gauge_face=Parity.ODD, gauge_wraps=27, crossover_half=Half.FIRST,
)  # fmt: skip
FLUSH_ODD = KeyedReading(
    scale_left=11, scale_right=11, open_side=OpenSide.NONE, unwind=Unwind.RIGHT_TO_LEFT,
    hand_wraps=28, gauge_face=Parity.EVEN, gauge_wraps=28, crossover_half=Half.FIRST,
)  # fmt: skip
EMPTY = replace(ORDINARY, scale_left=1, scale_right=0, hand_wraps=1, gauge_wraps=1)


def at(deg, reading=ORDINARY):
    return replace(reading, crossover_half=None, crossover_deg=deg)


def wraps(n, reading=ORDINARY):
    return replace(reading, hand_wraps=n, gauge_wraps=n)


def codes(working):
    return [problem.code for problem in working.problems]


def numbers(working):
    return working.outcome, working.layers, working.wraps, working.parity, working.unusual


def accepted(layers, n, parity, unusual=None):
    return Outcome.ACCEPTED, layers, n, parity, unusual


def parameters_of(drum: ModelDrum, **changes: Any) -> RuleParameters:
    """The type that a model drum is of."""
    arc_from, arc_to = ARCS[drum.sense]
    return RuleParameters(
        anchor_side=Side(drum.anchor), wraps_odd_layer=drum.wraps_odd_layer, wraps_even_layer=drum.wraps_even_layer,
        arc_from_deg=arc_from, arc_to_deg=arc_to, unusual=UnusualRule.ACCEPT, **{"max_layers": 9, **changes},
    )  # fmt: skip


def as_seen(drum: ModelDrum, laid: Sequence[Turn]) -> KeyedReading:
    """What a careful person reads on a model drum."""
    face = drum.right_face(laid)
    return KeyedReading(
        scale_left=drum.level_at("left", laid), scale_right=drum.level_at("right", laid),
        open_side=OpenSide(drum.open_side(laid)), unwind=Unwind(drum.unwind(laid)),
        hand_wraps=drum.wraps_on_line(laid), gauge_face=Parity(face), gauge_wraps=drum.gauge(face, laid),
        crossover_deg=float(drum.crossover_deg),
    )  # fmt: skip
