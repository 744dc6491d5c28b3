"""Pairs of readings of the same reel, taken independently: of two methods by one person, or of two people by one."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from inspections.domain import keying
from inspections.domain.keying import FirstKeying, FirstReading
from inspections.domain.words import Point, Role

TECHNICIAN, VERIFIER = Role.TECHNICIAN, Role.VERIFIER


class Comparison(StrEnum):
    """What is held against what, in wraps; the first less the second."""

    METHODS = "methods"
    HAND = "hand"
    GAUGE = "gauge"


# The two readings of a comparison, and how they are called.
SIDES = {
    Comparison.METHODS: ((Point.HAND_COUNT, TECHNICIAN), (Point.GAUGE, TECHNICIAN)),
    Comparison.HAND: ((Point.HAND_COUNT, TECHNICIAN), (Point.HAND_COUNT, VERIFIER)),
    Comparison.GAUGE: ((Point.GAUGE, TECHNICIAN), (Point.GAUGE, VERIFIER)),
}
COMPARISON_WORDS = {
    Comparison.METHODS: "hand count against gauge, both by the technician",
    Comparison.HAND: "hand count, technician against verifier",
    Comparison.GAUGE: "gauge reading, technician against verifier",
}
COMPARISON_NAMES = {
    Comparison.METHODS: "hand and gauge",
    Comparison.HAND: "hand counts",
    Comparison.GAUGE: "gauge readings",
}
SIDE_WORDS = {
    Comparison.METHODS: ("the hand count", "the gauge reading"),
    Comparison.HAND: ("the technician's hand count", "the verifier's"),
    Comparison.GAUGE: ("the technician's gauge reading", "the verifier's"),
}


class Grouping(StrEnum):
    """By what pairs are put together."""

    REEL_TYPE = "reel_type"
    GAUGE = "gauge"
    SITE = "site"
    MONTH = "month"
    TECHNICIAN = "technician"
    VERIFIER = "verifier"


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingPair:
    """Two readings of one reel in wraps, with those who took them; the same person twice where methods are compared."""

    source: FirstReading
    first: int
    second: int
    technician: FirstKeying
    verifier: FirstKeying | None

    @property
    def difference(self) -> int:
        """First less second."""
        return self.first - self.second


def pairs_of(readings: Iterable[FirstReading], comparison: Comparison) -> list[ReadingPair]:
    """The pairs that the readings hold, in the same order. Two methods are compared only if one person used both."""
    one, other = SIDES[comparison]
    is_methods = comparison is Comparison.METHODS
    pairs = []
    for each in readings:
        first, second = each.keyings.get(one), each.keyings.get(other)
        if first and second and not (is_methods and first.person != second.person):
            verifier = None if is_methods else second
            wraps = {"first": _wraps(first.value), "second": _wraps(second.value)}
            pairs.append(ReadingPair(source=each, technician=first, verifier=verifier, **wraps))
    return pairs


def _wraps(value: Any) -> int:
    """A gauge is keyed with its face; the wraps are taken as they were read there, on the wrong face, too."""
    return int(value["wraps"] if isinstance(value, Mapping) else value)


_KEYS: Mapping[Grouping, Callable[[ReadingPair], str | None]] = {
    Grouping.REEL_TYPE: lambda pair: pair.source.reel_type,
    Grouping.GAUGE: lambda pair: pair.source.gauge or "not noted",
    Grouping.SITE: lambda pair: pair.source.site,
    Grouping.MONTH: lambda pair: f"{pair.source.done_at:%Y-%m}",
    Grouping.TECHNICIAN: lambda pair: str(pair.technician.person),
    Grouping.VERIFIER: lambda pair: str(pair.verifier.person) if pair.verifier else None,
}


def grouped(pairs: Iterable[ReadingPair], grouping: Grouping) -> dict[str, list[ReadingPair]]:
    """The pairs by group, people under their ids, in order of the keys."""
    groups: dict[str, list[ReadingPair]] = {}
    for pair in pairs:
        key = _KEYS[grouping](pair)
        if key is not None:
            groups.setdefault(key, []).append(pair)
    return dict(sorted(groups.items()))


def keyed_by_both(readings: Iterable[FirstReading], point: Point) -> list[tuple[Any, Any]]:
    """What technician and verifier keyed first at a hold point, where both did."""
    return [
        (each.keyings[point, TECHNICIAN].value, each.keyings[point, VERIFIER].value)
        for each in readings
        if (point, TECHNICIAN) in each.keyings and (point, VERIFIER) in each.keyings
    ]


def category_at(point: Point, value: Any) -> str:
    """The word that kappa compares: the open side, at the gauge its face, at the crossover its half."""
    if point is Point.OPEN_SIDE:
        return str(value)
    return str(value["face"]) if point is Point.GAUGE else str(keying.half_of(value))
