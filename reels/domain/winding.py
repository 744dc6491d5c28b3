"""What a reel weighs in cable: the length that a count of layers and wraps stands for, and the way back.

Layer k (1 next to the core) is wound on a circle through the middle of the cable, the pitch diameter:

    D_k = C + d + 2 (k - 1) h            C core diameter, d cable diameter, h rise of a layer

One wrap of it climbs one pitch p along the drum, so, unrolled, it is the long side of a right triangle:

    l_k = √( (π D_k)² + p² )

Odd and even layers hold n_k wraps, each parity its own number. A count of F full layers and w wraps on the part
layer F + 1 is then so many turns on the drum, and so long:

    T = Σ_{k≤F} n_k + w                  L = Σ_{k≤F} n_k l_k + w l_{F+1}

L as a function of T is a chain of straight pieces, one a layer, each steeper than the last, so that it can be turned
round exactly. "Wraps" are counted; "turns" is the real number of them on the whole drum.

The standard uncertainty of a length has two parts, kept apart because they behave differently:

- systematic, from the dimensions C, d and h, the same for every count of the reel; the sensitivities are sums of the
  same kind, ∂L/∂x = Σ_{k≤F} n_k ∂l_k/∂x + w ∂l_{F+1}/∂x;
- random, from the count: a count of standard uncertainty u_w wraps is uncertain by u_w l_{F+1}.

In the difference of two counts the systematic sensitivities are subtracted before they are squared, so what remains of
them grows with the cable between the two counts and not with the cable on the drum.

Not modelled: cable squeezed oval under tension, crossovers, where a turn climbs, a last wrap that does not touch its
flange, a rise that changes from layer to layer. A measured rise takes all of them up, which is why it can be fitted
(calibration.py). Arrays of counts are worked out in one go; every result has the shape to which the arguments
broadcast, () for plain numbers.
Sources: elementary geometry; GUM (JCGM 100:2008) for the uncertainties.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from reels.domain.uncertainty import FloatArray, checked, propagate
from reels.errors import ImpossibleDrum, OffTheDrum

IntArray = NDArray[np.int64]

MM_PER_M = 1000.0
NESTED = math.sqrt(3.0) / 2.0  # a cable in the valley of two touching ones: height of an equilateral triangle of side 1
UNMEASURED_RISE_U = (1.0 - NESTED) / math.sqrt(12.0)  # of d: anything between nested and stacked, evenly
COUNT_U_WRAPS = 0.3  # a whole number stands for ±½ wrap, evenly spread: 1/√12 = 0.29


def nested_rise_mm(cable_diameter_mm: float) -> float:
    """Rise of a layer whose wraps lie in the valleys of the layer below: d √3/2.

    Source: elementary geometry.
    """
    return cable_diameter_mm * NESTED


def stacked_rise_mm(cable_diameter_mm: float) -> float:
    """Rise of a layer whose wraps lie on top of those below: d.

    Source: elementary geometry.
    """
    return cable_diameter_mm


@dataclass(frozen=True, slots=True, kw_only=True)
class Drum:
    """The geometry that all reels of a type share.

    core_diameter_mm: C, at least the cable's diameter. cable_diameter_mm: d, 0.1 to 1000.
    wraps_odd_layer, wraps_even_layer: 1 to 10 000. max_layers: 1 to 1000, the part layer included.
    layer_rise_mm: h, measured, d/2 to 5d/4 (a rise of the diameter, twice as much, is a usual slip); None: nested.
    pitch_mm: p, 0 (wraps taken as circles, as handbooks do) to 2d; None: d, wraps touching.
    diameter_u_mm: standard uncertainty of C and of d, each. layer_rise_u_mm: that of h; for nested layers, of what h
    differs from d √3/2 by (UNMEASURED_RISE_U d says "anything between nested and stacked, evenly").
    Raises ImpossibleDrum.
    """

    core_diameter_mm: float
    cable_diameter_mm: float
    wraps_odd_layer: int
    wraps_even_layer: int
    max_layers: int
    layer_rise_mm: float | None = None
    pitch_mm: float | None = None
    diameter_u_mm: float = 0.0
    layer_rise_u_mm: float = 0.0

    def __post_init__(self) -> None:
        # Bounds are wide enough for any drum, and close enough to catch metres typed for millimetres.
        d = self.cable_diameter_mm
        _refuse_outside("cable_diameter_mm", d, 0.1, 1000.0)
        _refuse_outside("core_diameter_mm", self.core_diameter_mm, d, 100_000.0)
        _refuse_outside("layer_rise_mm", self.rise_mm, d / 2, 5 * d / 4)
        _refuse_outside("pitch_mm", self.advance_mm, 0.0, 2 * d)
        _refuse_outside("diameter_u_mm", self.diameter_u_mm, 0.0, d)
        _refuse_outside("layer_rise_u_mm", self.layer_rise_u_mm, 0.0, d)
        _refuse_unless_whole("wraps_odd_layer", self.wraps_odd_layer, 10_000)
        _refuse_unless_whole("wraps_even_layer", self.wraps_even_layer, 10_000)
        _refuse_unless_whole("max_layers", self.max_layers, 1000)

    @property
    def rise_mm(self) -> float:
        """h, measured or nested."""
        return nested_rise_mm(self.cable_diameter_mm) if self.layer_rise_mm is None else self.layer_rise_mm

    @property
    def advance_mm(self) -> float:
        """p, stated or that of touching wraps."""
        return self.cable_diameter_mm if self.pitch_mm is None else self.pitch_mm


def drum_from(columns: Mapping[str, Any]) -> Drum:
    """The drum that a reel type's columns describe, exact numbers taken as floats. Raises ImpossibleDrum.

    layer_rise_u_mm, where it is not stated: none for a measured rise, UNMEASURED_RISE_U d for nested layers.
    """
    rise, pitch, rise_u = (columns.get(name) for name in ("layer_rise_mm", "pitch_mm", "layer_rise_u_mm"))
    if rise_u is None:
        rise_u = 0.0 if rise is not None else UNMEASURED_RISE_U * float(columns["cable_diameter_mm"])
    return Drum(
        core_diameter_mm=float(columns["core_diameter_mm"]),
        cable_diameter_mm=float(columns["cable_diameter_mm"]),
        wraps_odd_layer=columns["wraps_odd_layer"],
        wraps_even_layer=columns["wraps_even_layer"],
        max_layers=columns["max_layers"],
        layer_rise_mm=None if rise is None else float(rise),
        pitch_mm=None if pitch is None else float(pitch),
        diameter_u_mm=float(columns.get("diameter_u_mm") or 0),
        layer_rise_u_mm=float(rise_u),
    )


def layer_capacities(drum: Drum) -> IntArray:
    """n_k, the wraps that each layer holds: shape (max_layers,), layer 1 first."""
    layer = np.arange(1, drum.max_layers + 1)
    return np.where(layer % 2 == 1, drum.wraps_odd_layer, drum.wraps_even_layer).astype(np.int64)


def pitch_diameters_mm(drum: Drum) -> FloatArray:
    """D_k of each layer, through the middle of the cable: shape (max_layers,), layer 1 first."""
    return drum.core_diameter_mm + drum.cable_diameter_mm + _layers_below(drum) * 2 * drum.rise_mm


def wrap_lengths_mm(drum: Drum) -> FloatArray:
    """l_k, one wrap of each layer: shape (max_layers,), layer 1 first."""
    return np.hypot(math.pi * pitch_diameters_mm(drum), drum.advance_mm)


def turns_of(layers: ArrayLike, wraps: ArrayLike, drum: Drum) -> FloatArray:
    """T, the turns on the whole drum.

    layers: F, full layers, whole, 0 to max_layers. wraps: w, on the part layer, 0 to its capacity, whole or not.
    Returns turns, 0 to the drum's capacity. A full layer may be written (F, 0) or (F - 1, all its wraps).
    Raises OffTheDrum naming the first bad number.
    """
    full, part = _checked_count(layers, wraps, drum)
    return _wound(np.ones(drum.max_layers), full, part, drum)


def count_of_turns(turns: ArrayLike, drum: Drum) -> tuple[IntArray, FloatArray]:
    """The full layers and part-layer wraps that so many turns make; round the turns first if whole wraps are wanted.

    turns: 0 to the drum's capacity.
    Returns layers, and wraps from 0 to below the part layer's capacity (a flush drum is F layers, 0 wraps).
    Raises OffTheDrum naming the first bad number.
    """
    below = _turns_below(drum)
    on_drum = _on_drum(turns, "turns", float(below[-1]))
    layers = np.asarray(np.searchsorted(below, on_drum, side="right") - 1, dtype=np.int64)
    return layers, np.asarray(on_drum - below[layers])


def length_m(layers: ArrayLike, wraps: ArrayLike, drum: Drum) -> FloatArray:
    """L, the cable that a count stands for.

    layers, wraps: as in turns_of.
    Returns metres, strictly increasing with the turns.
    Raises OffTheDrum naming the first bad number.
    Source: the equations above; an unrolled helix.
    """
    full, part = _checked_count(layers, wraps, drum)
    return _wound(wrap_lengths_mm(drum), full, part, drum) / MM_PER_M


def length_of_turns_m(turns: ArrayLike, drum: Drum) -> FloatArray:
    """L of so many turns: turns from 0 to the drum's capacity, metres back, or OffTheDrum."""
    return length_m(*count_of_turns(turns, drum), drum)


def turns_of_length(length_m: ArrayLike, drum: Drum) -> FloatArray:
    """T of a length: the exact inverse of length_of_turns_m.

    length_m: metres, 0 to capacity_m(drum).
    Returns turns, real.
    Raises OffTheDrum naming the first bad number.
    """
    below_m = _length_below_m(drum)
    return np.asarray(np.interp(_on_drum(length_m, "length_m", float(below_m[-1])), below_m, _turns_below(drum)))


def capacity_m(drum: Drum) -> float:
    """The cable that the drum takes with every layer full, metres."""
    return float(_length_below_m(drum)[-1])


def cuts_left(length_m: float, least_length_m: float, typical_cut_m: float) -> int:
    """About how many cuts of the typical length are left before the cable is shorter than the least usable length.

    length_m, least_length_m: metres, at least 0. typical_cut_m: metres, at least 0.001.
    Returns a whole number, 0 when the cable is too short already.
    Raises ImpossibleValue.
    """
    checked([length_m, least_length_m], "length_m", least=0.0, most=math.inf)
    checked(typical_cut_m, "typical_cut_m", least=0.001, most=math.inf)
    spare = (length_m - least_length_m) / typical_cut_m
    return max(0, math.floor(spare + 1e-9))  # 0.3 m less 0.1 m at a time is three cuts, whatever binary fractions say


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class UncertainLength:
    """A length, or a difference of two, with its standard uncertainties in metres; all of one shape."""

    value_m: FloatArray
    systematic_u_m: FloatArray  # from the dimensions, the same for all counts of the reel
    random_u_m: FloatArray  # from the count or counts

    @property
    def combined_u_m(self) -> FloatArray:
        """Both together: √(systematic² + random²)."""
        return np.hypot(self.systematic_u_m, self.random_u_m)


def length_with_uncertainty(
    layers: ArrayLike, wraps: ArrayLike, drum: Drum, count_u_wraps: float = COUNT_U_WRAPS
) -> UncertainLength:
    """The cable that a count stands for, with its standard uncertainty.

    layers, wraps: as in turns_of. count_u_wraps: standard uncertainty of the count, wraps, at least 0.
    Returns metres. A stated pitch is taken as known: on a core ten cables thick, a tenth of it moves a length by
    less than one part in 10 000.
    Raises OffTheDrum or ImpossibleValue.
    Source: GUM (JCGM 100:2008) 5.1, to first order.
    """
    full, part = _checked_count(layers, wraps, drum)
    return UncertainLength(
        value_m=_wound(wrap_lengths_mm(drum), full, part, drum) / MM_PER_M,
        systematic_u_m=propagate(sensitivities_m_per_mm(full, part, drum), dimension_u_mm(drum)).combined_u,
        random_u_m=propagate([_top_wrap_m(full, drum)], [count_u_wraps]).combined_u,
    )


def difference_with_uncertainty(
    earlier: tuple[ArrayLike, ArrayLike],
    later: tuple[ArrayLike, ArrayLike],
    drum: Drum,
    count_u_wraps: float = COUNT_U_WRAPS,
) -> UncertainLength:
    """How much longer the cable was at the later of two counts of one reel, with its standard uncertainty.

    earlier, later: (layers, wraps) each, as in turns_of. count_u_wraps: of each count, the two independent.
    Returns metres; negative where cable has gone.
    Raises OffTheDrum or ImpossibleValue.
    Source: GUM (JCGM 100:2008) 5.1, to first order; the dimensions are the same inputs in both lengths.
    """
    layers_before, wraps_before, layers_after, wraps_after = np.broadcast_arrays(*earlier, *later)
    before, after = _checked_count(layers_before, wraps_before, drum), _checked_count(layers_after, wraps_after, drum)
    sensitivities = sensitivities_m_per_mm(*after, drum) - sensitivities_m_per_mm(*before, drum)
    top_wraps_m = [_top_wrap_m(before[0], drum), _top_wrap_m(after[0], drum)]
    return UncertainLength(
        value_m=length_m(*after, drum) - length_m(*before, drum),
        systematic_u_m=propagate(sensitivities, dimension_u_mm(drum)).combined_u,
        random_u_m=propagate(top_wraps_m, [count_u_wraps, count_u_wraps]).combined_u,
    )


def sensitivities_m_per_mm(layers: ArrayLike, wraps: ArrayLike, drum: Drum) -> FloatArray:
    """∂L/∂C, ∂L/∂d and ∂L/∂h, in that order: shape (3, ...), metres of cable per millimetre of dimension.

    For one wrap ∂l/∂D = π² D / l and ∂l/∂p = p / l. C moves D_k by 1 and h by 2 (k - 1); d moves it by 1 and, where
    it sets the rise or the pitch, through these too.
    layers, wraps: as in turns_of. Raises OffTheDrum.
    """
    full, part = _checked_count(layers, wraps, drum)
    wrap = wrap_lengths_mm(drum)
    by_core = math.pi**2 * pitch_diameters_mm(drum) / wrap
    by_rise = by_core * 2 * _layers_below(drum)
    by_cable = by_core.copy()
    if drum.layer_rise_mm is None:
        by_cable += by_rise * NESTED
    if drum.pitch_mm is None:
        by_cable += drum.advance_mm / wrap
    return np.stack([_wound(per_wrap, full, part, drum) for per_wrap in (by_core, by_cable, by_rise)]) / MM_PER_M


def dimension_u_mm(drum: Drum) -> FloatArray:
    """Standard uncertainties of C, d and h, in that order: shape (3,), millimetres."""
    return np.array([drum.diameter_u_mm, drum.diameter_u_mm, drum.layer_rise_u_mm])


def _wound(per_wrap: FloatArray, layers: IntArray, wraps: FloatArray, drum: Drum) -> FloatArray:
    """Σ_{k≤F} n_k q_k + w q_{F+1}: what a count comes to when one wrap of layer k brings q_k."""
    next_up = np.append(per_wrap, 0.0)  # nothing lies above the last layer
    return np.asarray(_below(per_wrap, drum)[layers] + wraps * next_up[layers])


def _below(per_wrap: FloatArray, drum: Drum) -> FloatArray:
    """Σ_{k≤F} n_k q_k for F = 0 … max_layers: shape (max_layers + 1,)."""
    return np.concatenate(([0.0], np.cumsum(layer_capacities(drum) * per_wrap)))


def _turns_below(drum: Drum) -> FloatArray:
    return _below(np.ones(drum.max_layers), drum)


def _length_below_m(drum: Drum) -> FloatArray:
    return _below(wrap_lengths_mm(drum), drum) / MM_PER_M


def _layers_below(drum: Drum) -> FloatArray:
    """For each layer k, k - 1: shape (max_layers,)."""
    return np.arange(drum.max_layers, dtype=np.float64)


def _top_wrap_m(layers: IntArray, drum: Drum) -> FloatArray:
    """One wrap of the part layer, or of the last layer once the drum is full."""
    return np.asarray(wrap_lengths_mm(drum)[np.minimum(layers, drum.max_layers - 1)] / MM_PER_M)


def _checked_count(layers: ArrayLike, wraps: ArrayLike, drum: Drum) -> tuple[IntArray, FloatArray]:
    """Both arrays, broadcast, once every count is known to fit the drum."""
    number, part = np.broadcast_arrays(np.asarray(layers, dtype=np.float64), np.asarray(wraps, dtype=np.float64))
    wrong = _outside(number, drum.max_layers) | (number != np.floor(number))
    _refuse_first(number, wrong, "layers", drum.max_layers, kind="whole numbers, ")
    full = number.astype(np.int64)
    room = np.append(layer_capacities(drum), 0)[full]  # no part layer fits on a drum whose layers are all full
    _refuse_first(part, _outside(part, room), "wraps", room)
    return full, part


def _on_drum(values: ArrayLike, what: str, most: float) -> FloatArray:
    array = np.asarray(values, dtype=np.float64)
    _refuse_first(array, _outside(array, most), what, most)
    return array


def _outside(values: FloatArray, most: FloatArray | IntArray | float) -> NDArray[np.bool_]:
    return np.asarray(~((values >= 0) & (values <= most)))  # NaN is never inside


def _refuse_first(values: FloatArray, wrong: NDArray[np.bool_], what: str, most: ArrayLike, *, kind: str = "") -> None:
    if wrong.any():
        place = int(np.flatnonzero(wrong)[0])
        allowed = f"{kind}0 to {np.broadcast_to(most, values.shape).flat[place]:.10g}"
        raise OffTheDrum(field=what, seen=float(values.flat[place]), place=place, allowed=allowed)


def _refuse_outside(field: str, seen: float, least: float, most: float) -> None:
    if not least <= seen <= most:  # NaN is never between
        raise ImpossibleDrum(field=field, seen=seen, allowed=f"{least:g} to {most:g}")


def _refuse_unless_whole(field: str, seen: int, most: int) -> None:
    if not (1 <= seen <= most and seen == int(seen)):
        raise ImpossibleDrum(field=field, seen=seen, allowed=f"a whole number from 1 to {most}")
