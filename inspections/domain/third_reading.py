"""A third reading: a point at which two people differ, read by somebody else, blind.

It is told whose value it agrees with, never which value that is; it stays on record and decides nothing. Where only
two or three answers are possible (the open side, the gauge's face, the crossover's half) to be told that would tell
nothing, or the value itself, so that there is none. At the wrap gauge it is the number alone.
"""

from collections.abc import Collection, Mapping
from enum import StrEnum
from typing import Any

from inspections.domain import keying
from inspections.domain.keying import KeyedValue
from inspections.domain.words import Point, Role

ASKED_AT = frozenset({Point.SCALE_LEFT, Point.SCALE_RIGHT, Point.HAND_COUNT, Point.GAUGE})

# The field that a third person keys at each point.
FIELD: Mapping[Point, str] = {point: keying.FIELDS[point][-1] for point in Point if point in ASKED_AT}


class AgreesWith(StrEnum):
    """Whose value a third reading is the same as. Both: at the wrap gauge, where the two differ in its face alone."""

    TECHNICIAN = "technician"
    VERIFIER = "verifier"
    BOTH = "both"
    NEITHER = "neither"

    @property
    def spoken(self) -> str:
        """As people say it."""
        return f"the {self}'s" if self in (AgreesWith.TECHNICIAN, AgreesWith.VERIFIER) else self.value


def may_be_asked(keyings: Collection[KeyedValue]) -> list[Point]:
    """The points at which both have keyed and differ, and a third reading tells something.

    keyings: of one reading.
    """
    return [point for point in keying.differing_points(keyings) if point in ASKED_AT]


def number_at(point: Point, fields: Mapping[str, Any]) -> int | None:
    """What a third person reads at a point; None for a scale that can't be read. Raises ImpossibleReading."""
    if point is Point.GAUGE:
        return keying.whole_number(fields, FIELD[point])
    number: int | None = keying.value_at(point, fields)
    return number


def whose(point: Point, number: int | None, by_role: Mapping[Role, Any]) -> AgreesWith:
    """Whose value at a point a third reading agrees with.

    by_role: the stored values of the two.
    """
    same = [role for role in Role if (by_role[role]["wraps"] if point is Point.GAUGE else by_role[role]) == number]
    if len(same) == len(Role):
        return AgreesWith.BOTH
    return AgreesWith(same[0].value) if same else AgreesWith.NEITHER
