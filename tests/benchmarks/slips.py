"""Ordinary slips of people who count a reel, and what each makes of what there is to be seen. Pure.

A reel is what everybody who looks with care reads off it. A slip changes what one person, or both alike, key of it; or
what stands in the machine, and what the setter and the second person key as its reading. Both people making the very
same slip is the worst case: two slips that differ are told by the comparison.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from inspections.domain.reading import Half, OpenSide, Unwind
from reels.domain.winding import Drum
from reels.domain.words import Parity, Side
from tests.benchmarks.drift.fleets import DrumTables

LEAD_WRAPS = 1
Seen = Mapping[str, Any]
WRAPS = ("hand_wraps", "gauge_wraps")
SCALES = ("scale_left", "scale_right")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Wound:
    """A reel as it lies on the stand. turns: the right setup values, in whole turns; is_first: the crossover's half.

    is_clockwise: how its cable runs from the inner end outward; the first half takes a wrap off then, else the second.
    """

    drum: Drum
    shape: DrumTables
    anchor_side: Side
    turns: int
    is_first: bool
    is_clockwise: bool = True

    @property
    def setup_values(self) -> tuple[int, int]:
        return self.shape.count(self.turns)

    @property
    def as_read(self) -> tuple[int, int]:
        """Full layers and part-layer wraps; no wraps: flush."""
        return self.shape.count(self.turns + LEAD_WRAPS + (self.is_first is self.is_clockwise))


def seen_on(reel: Wound) -> dict[str, Any]:
    """What everybody who looks with care keys: the design's rules of a drum, said once more in their own way."""
    full, wraps = reel.as_read
    flush = wraps == 0
    below = full - flush  # the full layers under the layer that is counted
    starts = reel.anchor_side if below % 2 == 0 else _other(reel.anchor_side)
    levels = {side: full if flush or side is not starts else full + 1 for side in Side}
    counted = int(reel.shape.capacities[below]) if flush else wraps
    return {
        "scale_left": levels[Side.LEFT], "scale_right": levels[Side.RIGHT],
        "open_side": OpenSide.NONE.value if flush else OpenSide(_other(starts)).value,
        "unwind": Unwind.starting_at(_other(starts)).value, "hand_wraps": counted,
        "gauge_face": (Parity.ODD if below % 2 else Parity.EVEN).value, "gauge_wraps": counted,
        "crossover_half": (Half.FIRST if reel.is_first else Half.SECOND).value,
    }  # fmt: skip


def _other(side: Side) -> Side:
    return Side.RIGHT if side is Side.LEFT else Side.LEFT


def wraps_off(reel: Wound, seen: Seen) -> int:
    """How many wraps the setup values would be off on paper, by whichever of the two counts is further off."""
    flush = seen["open_side"] == OpenSide.NONE
    full = min(min(seen[scale] for scale in SCALES) - flush, reel.drum.max_layers)
    taken_off = LEAD_WRAPS + ((seen["crossover_half"] == Half.FIRST) is reel.is_clockwise)
    found = [int(reel.shape.turns_below[max(full, 0)]) + seen[wraps] - taken_off for wraps in WRAPS]
    off: int = max((turns - reel.turns for turns in found), key=abs)
    return off


# Slips --------------------------------------------------------------------------------------------------------------
# Each takes what is seen, the capacity of the layer that is counted, and a source of chance; None: not possible here.

Slip = Callable[[Seen, int, np.random.Generator], dict[str, Any] | None]


def one_scale(by: int) -> Slip:
    def slip(seen: Seen, capacity: int, rng: np.random.Generator) -> dict[str, Any]:
        scale = SCALES[int(rng.integers(2))]
        return {**seen, scale: max(seen[scale] + by * int(rng.choice([-1, 1])), 0)}

    return slip


def both_scales(by: int) -> Slip:
    def slip(seen: Seen, capacity: int, rng: np.random.Generator) -> dict[str, Any]:
        off = by * int(rng.choice([-1, 1]))
        return {**seen, **{scale: max(seen[scale] + off, 0) for scale in SCALES}}

    return slip


def wrong_face(seen: Seen, capacity: int, rng: np.random.Generator) -> dict[str, Any]:
    other = Parity.ODD if seen["gauge_face"] == Parity.EVEN else Parity.EVEN
    return {**seen, "gauge_face": other.value, "gauge_wraps": capacity + 1 - seen["gauge_wraps"]}


def wrong_face_unseen(seen: Seen, capacity: int, rng: np.random.Generator) -> dict[str, Any]:
    return {**seen, "gauge_wraps": capacity + 1 - seen["gauge_wraps"]}


def transposed(*fields: str) -> Slip:
    def slip(seen: Seen, capacity: int, rng: np.random.Generator) -> dict[str, Any] | None:
        turned = {name: int(str(seen[name])[::-1]) for name in fields}
        able = [name for name in fields if seen[name] > 9 and turned[name] != seen[name]]
        return {**seen, **{name: turned[name] for name in able}} if able == list(fields) else None

    return slip


def any_transposed(seen: Seen, capacity: int, rng: np.random.Generator) -> dict[str, Any] | None:
    return transposed(str(rng.choice([*SCALES, *WRAPS])))(seen, capacity, rng)


def off_by_one(*fields: str) -> Slip:
    def slip(seen: Seen, capacity: int, rng: np.random.Generator) -> dict[str, Any]:
        off = int(rng.choice([-1, 1]))
        return {**seen, **{name: max(seen[name] + off, 0) for name in fields}}

    return slip


def read_on_another_gauge(seen: Seen, pitch: float) -> dict[str, Any]:
    """The gauge of another type is graduated for another cable. pitch: this type's cable over that one's."""
    return {**seen, "gauge_wraps": round(seen["gauge_wraps"] * pitch)}


def other_half(seen: Seen, capacity: int, rng: np.random.Generator) -> dict[str, Any]:
    half = Half.SECOND if seen["crossover_half"] == Half.FIRST else Half.FIRST
    return {**seen, "crossover_half": half.value}


SIDES_SAID = {"forward": "forward", "aft": "aft", "above": "upper", "below": "lower"}


def half_by_place(place: str, words: Sequence[str]) -> str | None:
    """The half in whose words the place is found; None where neither names it. words: of the first half, the second."""
    found = [half for half, word in zip((Half.FIRST, Half.SECOND), words, strict=True) if place in word]
    return found[0].value if len(found) == 1 else None


READING_SLIPS: dict[str, Slip] = {
    "one scale misread by one": one_scale(1),
    "one scale misread by two": one_scale(2),
    "both scales misread by one": both_scales(1),
    "both scales misread by two": both_scales(2),
    "gauge read on the wrong face": wrong_face,
    "wrong face, keyed as the right one": wrong_face_unseen,
    "digits of one number transposed": any_transposed,
    "digits of both wrap counts transposed": transposed(*WRAPS),
    "hand count off by one": off_by_one("hand_wraps"),
    "gauge off by one": off_by_one("gauge_wraps"),
    "hand count and gauge off by one": off_by_one(*WRAPS),
    "halves confused": other_half,
}
