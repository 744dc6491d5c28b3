"""Drums for the winding tests: one that is easy to think about, and any that is possible."""

from typing import Any

from hypothesis import strategies as st

from reels.domain.winding import Drum


def drum(**changes: Any) -> Drum:
    """A drum of 28 and 27 wraps, nested, as in the counting examples."""
    facts: dict[str, Any] = {
        "core_diameter_mm": 180.0,
        "cable_diameter_mm": 6.0,
        "wraps_odd_layer": 28,
        "wraps_even_layer": 27,
        "max_layers": 40,
    }
    return Drum(**facts | changes)


@st.composite
def drums(draw: st.DrawFn) -> Drum:
    d = draw(st.floats(1.0, 30.0))
    return Drum(
        core_diameter_mm=d * draw(st.floats(1.0, 60.0)),
        cable_diameter_mm=d,
        wraps_odd_layer=draw(st.integers(1, 60)),
        wraps_even_layer=draw(st.integers(1, 60)),
        max_layers=draw(st.integers(1, 40)),
        layer_rise_mm=draw(st.none() | st.floats(0.5, 1.25).map(lambda share: min(share * d, 5 * d / 4))),
        pitch_mm=draw(st.none() | st.floats(0.0, 2.0).map(lambda share: share * d)),
        diameter_u_mm=draw(st.floats(0.0, 0.1)),
        layer_rise_u_mm=draw(st.floats(0.0, 0.1)),
    )


@st.composite
def drums_with_turns(draw: st.DrawFn, n: int) -> tuple[Drum, list[float]]:
    """A drum and n real numbers of turns that fit on it."""
    any_drum = draw(drums())
    odd_layers, even_layers = (any_drum.max_layers + 1) // 2, any_drum.max_layers // 2
    most = odd_layers * any_drum.wraps_odd_layer + even_layers * any_drum.wraps_even_layer
    return any_drum, draw(st.lists(st.floats(0.0, float(most)), min_size=n, max_size=n))
