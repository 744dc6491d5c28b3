"""Practice reels: a drum wound from a seed, what a person would see on it at the bench, and the right answer.

A reel is drawn on three axes: how the counted layer is filled, where the crossover lies, and how the flanges look.
Each has a plain form and some traps; the difficulty says how many axes get one. What is on the stand before the first
reading is drawn apart (stand.py).

Where the wraps lie is worked out here from the drum; whether a reading of it is accepted, and as what, is asked of
counting.work_out, which a real count goes through as well.
Source: common practice, no published source; which traps matter is our own choice.
"""

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise

from inspections.domain.counting import Count, Unusual, Working, work_out
from inspections.domain.practice.draws import Difficulty, Draws
from inspections.domain.practice.stand import PracticeStand, practice_stand
from inspections.domain.reading import (
    FULL_TURN_DEG,
    HALF_TURN_DEG,
    KeyedReading,
    OpenSide,
    Outcome,
    RuleParameters,
    Unwind,
)
from inspections.domain.reading_rules import takes_a_wrap_off
from reels.domain.words import Graduation, Parity, Side
from reels.errors import ValueNotTaken

NEAR_LIMIT_DEG = 8.0
APART_WRAPS = 4  # last time's numbers and the other face's lie further from the right ones than a small slip goes
MOST_HEAPED = 2  # layers that uneven winding stands higher
CUT_LAYERS = 2  # last time the cable was up to so many layers longer
LARGEST_SEED = 2**63 - 1


class Trap(StrEnum):
    """What makes a reel hard to read right."""

    LOOKALIKE_FACES = "lookalike_faces"  # both faces of the gauge read nearly the same
    FLUSH = "flush"  # the top layer reaches both flanges
    STEPS_DOWN = "steps_down"  # the corrections reach into the layer below
    NEAR_LIMIT = "near_limit"  # the crossover is close to where its correction changes
    ON_LIMIT = "on_limit"  # the crossover is right there, and has to be referred
    WORN_SCALE = "worn_scale"  # one scale can't be read, and need not be
    UNEVEN = "uneven"  # cable is heaped at one flange: has to be referred
    BY_SIDE = "by_side"  # each flange carries numbers of one parity only


NEED_CARE = (Trap.LOOKALIKE_FACES, Trap.NEAR_LIMIT, Trap.WORN_SCALE)
RARE = (Trap.FLUSH, Trap.STEPS_DOWN, Trap.ON_LIMIT, Trap.UNEVEN)
AXES = (
    (Trap.LOOKALIKE_FACES, Trap.FLUSH, Trap.STEPS_DOWN),
    (Trap.NEAR_LIMIT, Trap.ON_LIMIT),
    (Trap.WORN_SCALE, Trap.UNEVEN),
)
# Of these the one would hide the other: a reel that is referred for its flanges is not worked out.
NOT_TOGETHER = ({Trap.STEPS_DOWN, Trap.ON_LIMIT}, {Trap.STEPS_DOWN, Trap.UNEVEN}, {Trap.FLUSH, Trap.UNEVEN})


@dataclass(frozen=True, slots=True, kw_only=True)
class PracticeDrum:
    """The cable as it truly lies: `wraps` of layer `layer` on the scale line, full layers below.

    layer: 1 or more. wraps: 1 to the layer's capacity, which is flush. crossover_deg: above 0, up to 360.
    heaped_side, heaped_by: a flange at which cable lies that many layers too high; None and 0 on an even drum.
    worn_side: the flange whose scale can't be read.
    """

    layer: int
    wraps: int
    crossover_deg: float
    heaped_side: Side | None = None
    heaped_by: int = 0
    worn_side: Side | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PracticeReel:
    """A reel to practise on; everything but the drum follows from it.

    levels: level of cable at each flange, whether or not its scale can be read. gauge: number at the outermost wrap on
    each face. reading: what a careful person would key. answer: what becomes of that. last: setup values said to be
    those of the time before, on the sheet for copying from. traps: those that are really in it. stand: what is found
    before the first reading.
    """

    seed: int
    difficulty: Difficulty
    parameters: RuleParameters
    drum: PracticeDrum
    levels: Mapping[Side, int]
    gauge: Mapping[Parity, int]
    reading: KeyedReading
    answer: Working
    last: Count
    traps: frozenset[Trap]
    stand: PracticeStand

    @property
    def capacity(self) -> int:
        """Wraps that the counted layer holds when it is full."""
        return self.parameters.capacity(self.drum.layer)

    @property
    def has_to_refer(self) -> bool:
        """Whether a careful person stops and puts it before an authorised person."""
        return self.stand.stops or self.answer.outcome is Outcome.REFERRED


def practice_reel(parameters: RuleParameters, difficulty: Difficulty, seed: int) -> PracticeReel:
    """The practice reel of a seed, always the same one.

    seed: 0 to 2**63 - 1. A trap that this type can't have (stepping down without a lead, say) is passed over; a drum
    of very few wraps may have one that was not asked for. `traps` tells what is in it.
    Raises ValueNotTaken for a seed out of range.
    """
    if not 0 <= seed <= LARGEST_SEED:
        raise ValueNotTaken(field="seed", seen=seed, allowed=f"0 to {LARGEST_SEED}")
    draws = Draws(seed)
    drum = _drum_with(_choose_traps(difficulty, parameters, draws), parameters, draws)
    reading = reading_of(parameters, drum)
    answer = work_out(parameters, reading)
    return PracticeReel(
        seed=seed,
        difficulty=difficulty,
        parameters=parameters,
        drum=drum,
        levels=levels_of(parameters, drum),
        gauge=gauge_of(parameters, drum),
        reading=reading,
        answer=answer,
        last=_last_time(parameters, drum, answer, draws),
        traps=_traps_in(parameters, drum, answer),
        stand=practice_stand(
            difficulty,
            seed,
            heaped=(drum.heaped_side, drum.heaped_by) if drum.heaped_side else None,
            worn=drum.worn_side,
        ),
    )


# Which traps --------------------------------------------------------------------------------------------------------


def _choose_traps(difficulty: Difficulty, parameters: RuleParameters, draws: Draws) -> frozenset[Trap]:
    if difficulty is Difficulty.PLAIN:
        return frozenset()
    if difficulty is Difficulty.USUAL:
        return frozenset({draws.one_of(NEED_CARE)})
    if difficulty is Difficulty.TRICKY:
        return frozenset({draws.one_of([trap for trap in RARE if _can_have(parameters, trap, ())])})
    chosen: set[Trap] = set()
    spared = draws.below(len(AXES) + 1)  # one axis, or none of them
    for place, axis in enumerate(AXES):
        choices = [trap for trap in axis if _can_have(parameters, trap, chosen)]
        if place != spared and choices:
            chosen.add(draws.one_of(choices))
    return frozenset(chosen)


def _can_have(parameters: RuleParameters, trap: Trap, others: Collection[Trap]) -> bool:
    """Whether a reel of this type can have a trap beside others."""
    if trap is Trap.STEPS_DOWN and not _stepping_down(parameters, range(2, parameters.max_layers + 1)):
        return False
    if trap is Trap.UNEVEN and parameters.max_layers < MOST_HEAPED + 1:
        return False
    if trap is Trap.WORN_SCALE and Trap.FLUSH in others and parameters.graduation is Graduation.BY_SIDE:
        return False  # one scale has no mark at this level already
    return not any(pair == {trap, other} for pair in NOT_TOGETHER for other in others)


def _stepping_down(parameters: RuleParameters, layers: Sequence[int]) -> list[tuple[int, int]]:
    """Layers, with wraps of them, from which a crossover correction and the lead reach into the layer below."""
    return [
        (layer, wraps)
        for layer in layers
        for wraps in range(1, min(parameters.lead_wraps, parameters.capacity(layer) - 1) + 1)
        if parameters.lead_wraps + 1 - wraps <= parameters.capacity(layer - 1)
    ]


def _traps_in(parameters: RuleParameters, drum: PracticeDrum, answer: Working) -> frozenset[Trap]:
    capacity, deg = parameters.capacity(drum.layer), drum.crossover_deg
    to_limit = min(abs(deg - limit) for limit in _limits(parameters))
    on_limit = deg == FULL_TURN_DEG
    present = {
        Trap.FLUSH: drum.wraps == capacity,
        Trap.LOOKALIKE_FACES: drum.wraps < capacity and abs(capacity + 1 - 2 * drum.wraps) <= 1,
        Trap.STEPS_DOWN: answer.unusual is Unusual.STEPPED_DOWN,
        Trap.ON_LIMIT: on_limit,
        Trap.NEAR_LIMIT: not on_limit and to_limit <= NEAR_LIMIT_DEG,
        Trap.WORN_SCALE: drum.worn_side is not None,
        Trap.UNEVEN: drum.heaped_side is not None,
        Trap.BY_SIDE: parameters.graduation is Graduation.BY_SIDE,
    }
    return frozenset(trap for trap, is_in in present.items() if is_in)


# The drum -----------------------------------------------------------------------------------------------------------


def _drum_with(chosen: Collection[Trap], parameters: RuleParameters, draws: Draws) -> PracticeDrum:
    deg = _crossover(chosen, parameters, draws)
    layer, wraps = _filling(chosen, parameters, deg, draws)
    is_flush = wraps == parameters.capacity(layer)
    began_at = parameters.far_side(layer).other
    heaped_by = 0
    if Trap.UNEVEN in chosen:
        # a scale graduated by side has no mark one layer higher
        heaped_by = 2 if parameters.graduation is Graduation.BY_SIDE else draws.one_of((1, 2))
    worn_side = None
    if Trap.WORN_SCALE in chosen:
        worn_side = draws.one_of(tuple(Side)) if is_flush else began_at
    return PracticeDrum(
        layer=layer,
        wraps=wraps,
        crossover_deg=deg,
        heaped_side=began_at if heaped_by else None,
        heaped_by=heaped_by,
        worn_side=worn_side,
    )


def _limits(parameters: RuleParameters) -> list[float]:
    """Angles at which the half or the correction changes, in order."""
    arc = {float(parameters.arc_from_deg), float(parameters.arc_to_deg)}
    return sorted(arc | {0.0, float(HALF_TURN_DEG), float(FULL_TURN_DEG)})


def _crossover(chosen: Collection[Trap], parameters: RuleParameters, draws: Draws) -> float:
    if Trap.ON_LIMIT in chosen:
        return float(FULL_TURN_DEG)
    stretches = list(pairwise(_limits(parameters)))
    if Trap.STEPS_DOWN in chosen:
        start, end = parameters.arc_from_deg, parameters.arc_to_deg
        stretches = [(low, high) for low, high in stretches if start <= low and high <= end]
    low, high = draws.one_of(stretches)
    if Trap.NEAR_LIMIT in chosen:
        off = min(NEAR_LIMIT_DEG, (high - low) / 4) * (1 + draws.below(4)) / 4
        deg = draws.one_of((low + off, high - off))
    else:
        deg = low + (high - low) * (250 + draws.below(501)) / 1000
    return float(round(deg)) if low < round(deg) < high else deg


def _filling(chosen: Collection[Trap], parameters: RuleParameters, deg: float, draws: Draws) -> tuple[int, int]:
    """The counted layer and its wraps."""
    most = parameters.max_layers - (MOST_HEAPED if Trap.UNEVEN in chosen else 0)
    if Trap.STEPS_DOWN in chosen:
        return draws.one_of(_stepping_down(parameters, range(2, most + 1)))
    layer = 1 + draws.below(most)
    capacity = parameters.capacity(layer)
    if Trap.FLUSH in chosen:
        return layer, capacity
    part = range(1, capacity)
    taken = parameters.lead_wraps + bool(takes_a_wrap_off(parameters, deg))
    keeps = [wraps for wraps in part if wraps >= taken]
    if Trap.LOOKALIKE_FACES in chosen:
        middle = [wraps for wraps in part if abs(capacity + 1 - 2 * wraps) <= 1]
        return layer, draws.one_of([wraps for wraps in middle if wraps in keeps] or middle)
    apart = [wraps for wraps in keeps if abs(capacity + 1 - 2 * wraps) >= APART_WRAPS]
    return layer, draws.one_of(apart or keeps or part)


def _last_time(parameters: RuleParameters, drum: PracticeDrum, answer: Working, draws: Draws) -> Count:
    """Setup values of a longer cable, so far from today's that copying them shows; else any that are not today's."""
    full, capacity = drum.layer - 1, parameters.capacity(drum.layer)
    looks_like = (drum.wraps, capacity + 1 - drum.wraps, answer.wraps if answer.wraps is not None else drum.wraps)
    layers = range(full, min(full + CUT_LAYERS, parameters.max_layers - 1) + 1)
    longer = [
        (n, wraps) for n in layers for wraps in range(parameters.capacity(n + 1)) if (n, wraps) > (full, capacity)
    ]
    apart = [pair for pair in longer if all(abs(pair[1] - wraps) >= APART_WRAPS for wraps in looks_like)]
    others = [(full, wraps) for wraps in range(capacity) if wraps not in (drum.wraps, answer.wraps)]
    n, wraps = draws.one_of(apart or longer or others or [(drum.layer, 0)])
    return Count(layers=n, wraps=wraps, parity=Parity.of(n))


# What a person sees -------------------------------------------------------------------------------------------------


def levels_of(parameters: RuleParameters, drum: PracticeDrum) -> Mapping[Side, int]:
    """Level of cable at each flange: the counted layer lies where it began, and where it runs to only when flush."""
    runs_to = parameters.far_side(drum.layer)
    is_flush = drum.wraps == parameters.capacity(drum.layer)
    levels = {runs_to.other: drum.layer, runs_to: drum.layer if is_flush else drum.layer - 1}
    if drum.heaped_side is not None:
        levels[drum.heaped_side] += drum.heaped_by
    return levels


def gauge_of(parameters: RuleParameters, drum: PracticeDrum) -> Mapping[Parity, int]:
    """Number at the outermost wrap on each face: one counts from where the layer began, one from the other flange."""
    face = Parity.of(drum.layer - 1)
    return {face: drum.wraps, face.other: parameters.capacity(drum.layer) + 1 - drum.wraps}


def reading_of(parameters: RuleParameters, drum: PracticeDrum) -> KeyedReading:
    """What a careful person keys: every scale that can be read, and the half wherever the half is enough."""
    runs_to = parameters.far_side(drum.layer)
    is_flush = drum.wraps == parameters.capacity(drum.layer)
    scales = dict(_scales(parameters, drum))
    half_is_enough = halves_decide(parameters)
    return KeyedReading(
        scale_left=scales[Side.LEFT],
        scale_right=scales[Side.RIGHT],
        open_side=OpenSide.NONE if is_flush else OpenSide(runs_to.value),
        unwind=Unwind.starting_at(runs_to),
        hand_wraps=drum.wraps,
        gauge_face=Parity.of(drum.layer - 1),
        gauge_wraps=drum.wraps,
        crossover_half=parameters.half_at(drum.crossover_deg) if half_is_enough else None,
        crossover_deg=None if half_is_enough else drum.crossover_deg,
    )


def halves_decide(parameters: RuleParameters) -> bool:
    """Whether the half of a crossover tells if a wrap comes off; else it has to be measured."""
    return parameters.half_in_arc is not None


def _scales(parameters: RuleParameters, drum: PracticeDrum) -> Iterator[tuple[Side, int | None]]:
    for side, level in levels_of(parameters, drum).items():
        marked = Parity.ODD if side is parameters.anchor_side else Parity.EVEN
        has_mark = parameters.graduation is Graduation.EVERY or Parity.of(level) is marked
        yield side, level if has_mark and side is not drum.worn_side else None
