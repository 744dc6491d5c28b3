"""What is keyed at each point of a reading, by whom and in which order, and when two people agree.

The hold points are keyed by both people, each without being shown the other's value. So that the history can be
shown to anybody while a value is still blind, it tells only a commitment at first: the SHA-256 of the value with a
random salt. Once both are in, value and salt are told, and anybody can check that neither was changed afterwards. The
unwind direction is the technician's alone; together with the open side it tells which scale is lower and which face
the gauge shows, so that it is told only when the count can no longer be read.
"""

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal, InvalidOperation
from enum import StrEnum
from typing import Any

from inspections.domain.reading import FULL_TURN_DEG, HALF_TURN_DEG, Half, KeyedReading, OpenSide, Unwind
from inspections.domain.words import Point, Role
from inspections.errors import ImpossibleReading
from reels.domain import ledger
from reels.domain.words import Parity, Side

TECHNICIAN_ONLY = frozenset({Point.UNWIND})
HOLD_POINTS = tuple(point for point in Point if point not in TECHNICIAN_ONLY)

# The next step opens when every point of the one before is agreed.
STEPS = (
    frozenset({Point.SERIAL}),
    frozenset({Point.OPEN_SIDE}),
    frozenset({Point.SCALE_LEFT, Point.SCALE_RIGHT, Point.UNWIND}),
    frozenset({Point.HAND_COUNT}),
    frozenset({Point.GAUGE}),
    frozenset({Point.CROSSOVER}),
)

READING_STEPS = STEPS[1:]  # those that every reading takes again

# Read with the wrap gauge at hand: before the first of them its serial is keyed and its end marks are matched.
NEED_GAUGE = frozenset({Point.HAND_COUNT, Point.GAUGE})

# The fields that each point fills; those of a reading but for the serial.
FIELDS: Mapping[Point, tuple[str, ...]] = {
    Point.SERIAL: ("serial",),
    Point.OPEN_SIDE: ("open_side",),
    Point.SCALE_LEFT: ("scale_left",),
    Point.SCALE_RIGHT: ("scale_right",),
    Point.UNWIND: ("unwind",),
    Point.HAND_COUNT: ("hand_wraps",),
    Point.GAUGE: ("gauge_face", "gauge_wraps"),
    Point.CROSSOVER: ("crossover_half", "crossover_deg"),
}
MOST = 999  # nothing on a drum is counted higher
LONGEST_SERIAL = 40


def roles_at(point: Point) -> tuple[Role, ...]:
    """Who keys this point."""
    return (Role.TECHNICIAN,) if point in TECHNICIAN_ONLY else (Role.TECHNICIAN, Role.VERIFIER)


def earlier_points(point: Point) -> frozenset[Point]:
    """The points that must be agreed before this one opens."""
    step = next(i for i, points in enumerate(STEPS) if point in points)
    return frozenset().union(*STEPS[:step])


def value_at(point: Point, fields: Mapping[str, Any]) -> Any:
    """The value at a point, checked and in its one plain form.

    fields: reading fields of that point, such as {"gauge_face": "even", "gauge_wraps": 12}; a scale may be None.
    Raises ImpossibleReading naming the field, what was seen and what is allowed.
    """
    return _FORMS[point](fields)


def fields_at(point: Point, value: Any) -> dict[str, Any]:
    """The reading fields that a stored value stands for."""
    if point is Point.GAUGE:
        return {"gauge_face": value["face"], "gauge_wraps": value["wraps"]}
    if point is Point.CROSSOVER:
        return {"crossover_half": half_of(value)} if "half" in value else {"crossover_deg": value["deg"]}
    return {FIELDS[point][0]: value}


def agree(point: Point, one: Any, other: Any) -> bool:
    """Whether two people's values at a point are the same; at the crossover, whether they name the same half.

    Exactly 180° agrees with itself alone: which half it goes with is the type's matter, and is not told here.
    """
    if point is Point.SERIAL:
        return same_serial(one, other)
    if point is Point.CROSSOVER:
        return half_of(one) is half_of(other) and _is_opposite(one) is _is_opposite(other)
    return bool(one == other)


def same_serial(one: str, other: str) -> bool:
    """Whether two serials are the same but for case and separators."""
    return _letters_and_digits(one) == _letters_and_digits(other)


def _letters_and_digits(serial: str) -> str:
    return "".join(character for character in serial.casefold() if character.isalnum())


def another_reel(serial: str, by_role: Mapping[Role, str]) -> str:
    """What to do now when what two people keyed from the data plate does not name the reel of the count; or nothing.

    serial: the reel's. by_role: what each keyed.
    """
    wrong = [keyed for keyed in by_role.values() if not same_serial(keyed, serial)]
    if not wrong:
        return ""
    keyed = " and ".join(f"{each} by the {role}" for role, each in by_role.items())
    stated = f"The serial was keyed as {keyed}; this count was of reel {serial}."
    if len(wrong) == len(by_role) and same_serial(*wrong):
        return (
            f"{stated} Another reel is on the stand: bring reel {serial} and begin again, or begin a count of the reel "
            "that is there."
        )
    return (
        f"{stated} Read the data plate once more, together. If it says {serial}, begin again; if not, another reel is "
        "on the stand: take it away, or begin a count of it."
    )


def half_of(value: Mapping[str, str]) -> Half:
    """The half that a crossover lies in, as it is called today, whatever code was stored."""
    return Half.stored(value["half"]) if "half" in value else Half.at(Decimal(value["deg"]))


def _is_opposite(value: Mapping[str, str]) -> bool:
    return "deg" in value and Decimal(value["deg"]) == HALF_TURN_DEG


def commitment(point: Point, value: Any, salt: str) -> str:
    """The digest that stands for a value while it is blind."""
    return ledger.digest(ledger.canonical({"point": point.value, "salt": salt, "value": value}))


def reading_of(values: Mapping[Point, Any]) -> KeyedReading:
    """The reading that agreed values make; fields of points that are not in it stay None."""
    fields: dict[str, Any] = {}
    for point, value in values.items():
        fields |= {} if point is Point.SERIAL else fields_at(point, value)
    return reading_from(fields)


def reading_from(fields: Mapping[str, Any]) -> KeyedReading:
    """The reading that plain words and numbers make. Raises ImpossibleReading."""
    kinds: dict[str, Callable[[Any], Any]] = {
        "open_side": OpenSide, "unwind": Unwind, "gauge_face": Parity, "crossover_half": Half.stored,
        "crossover_deg": float,
    }  # fmt: skip
    return KeyedReading(**{k: kinds[k](v) if k in kinds and v is not None else v for k, v in fields.items()})


def scales_left_out(values: Mapping[Point, Any]) -> frozenset[Side]:
    """The flanges whose scale was keyed as one that can't be read."""
    scales = {Point.SCALE_LEFT: Side.LEFT, Point.SCALE_RIGHT: Side.RIGHT}
    return frozenset(side for point, side in scales.items() if point in values and values[point] is None)


@dataclass(frozen=True, slots=True, kw_only=True)
class FirstKeying:
    """What somebody keyed first at a point, in its stored form (see value_at), and who."""

    value: Any
    person: int
    name: str


@dataclass(frozen=True, slots=True, kw_only=True)
class FirstReading:
    """What two people keyed of a reel before anything was read again.

    done_at: in UTC. site: where the reel is kept now. keyings: the first of each person at each point.
    """

    inspection: int
    done_at: datetime
    reel: str
    reel_type: str
    site: str
    gauge: str
    keyings: Mapping[tuple[Point, Role], FirstKeying] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class KeyedValue:
    """One keying, as far as settling a reading needs it."""

    reading: int
    point: Point
    attempt: int
    role: Role
    value: Any


def latest_attempts(keyings: Collection[KeyedValue]) -> dict[Point, dict[Role, Any]]:
    """The values of the latest attempt at each point."""
    newest: dict[Point, int] = {}
    for keyed in keyings:
        newest[keyed.point] = max(newest.get(keyed.point, 0), keyed.attempt)
    latest: dict[Point, dict[Role, Any]] = {}
    for keyed in keyings:
        if keyed.attempt == newest[keyed.point]:
            latest.setdefault(keyed.point, {})[keyed.role] = keyed.value
    return latest


def is_revealed(point: Point, by_role: Mapping[Role, Any]) -> bool:
    """Whether everybody who keys this point has done so."""
    return all(role in by_role for role in roles_at(point))


def agreed_values(keyings: Collection[KeyedValue]) -> dict[Point, Any]:
    """The points on which everybody who keys them agrees, with the technician's value."""
    return {
        point: by_role[Role.TECHNICIAN]
        for point, by_role in latest_attempts(keyings).items()
        if is_revealed(point, by_role) and _all_agree(point, by_role)
    }


def differing_points(keyings: Collection[KeyedValue]) -> list[Point]:
    """The hold points at which both are in and differ, in the order of the job."""
    latest = latest_attempts(keyings)
    differ = {p for p, by_role in latest.items() if is_revealed(p, by_role) and not _all_agree(p, by_role)}
    return [point for point in HOLD_POINTS if point in differ]


def open_now(keyings: Collection[KeyedValue]) -> list[tuple[Point, Role]]:
    """What is to be keyed next in a reading, and by whom, in the order of the job; both again where they differ.

    keyings: of one reading.
    """
    latest, agreed = latest_attempts(keyings), agreed_values(keyings)
    waiting = [point for point in Point if point not in agreed and earlier_points(point) <= agreed.keys()]
    return [
        (point, role)
        for point in waiting
        for role in roles_at(point)
        if role not in latest.get(point, {}) or is_revealed(point, latest[point])
    ]


def _all_agree(point: Point, by_role: Mapping[Role, Any]) -> bool:
    return all(agree(point, by_role[Role.TECHNICIAN], by_role[role]) for role in roles_at(point))


def shown(keyings: Collection[KeyedValue], *, is_open: bool) -> list[bool]:
    """For each keying, whether others than its author may see the value.

    is_open: the reel may still be read in this count. Then only what both people agree on at a hold point is shown:
    somebody told that the two differ must not be able to look up what to key instead. Afterwards everything is.
    """
    agreed = {
        (number, point)
        for number in {keyed.reading for keyed in keyings}
        for point in agreed_values([keyed for keyed in keyings if keyed.reading == number])
        if point not in TECHNICIAN_ONLY
    }
    return [not is_open or (keyed.reading, keyed.point) in agreed for keyed in keyings]


def whole_number(fields: Mapping[str, Any], field: str) -> int:
    """A number of wraps or layers, as it was keyed. Raises ImpossibleReading."""
    seen = fields.get(field)
    if type(seen) is not int or not 0 <= seen <= MOST:
        raise ImpossibleReading(field=field, seen=repr(seen), allowed=f"a whole number from 0 to {MOST}")
    return seen


def _word(fields: Mapping[str, Any], field: str, words: type[StrEnum]) -> str:
    seen, allowed = fields.get(field), [word.value for word in words]
    if seen not in allowed:
        raise ImpossibleReading(field=field, seen=repr(seen), allowed=" or ".join(allowed))
    return str(seen)


def _serial(fields: Mapping[str, Any]) -> str:
    seen = fields.get("serial")
    if not isinstance(seen, str) or len(seen) > LONGEST_SERIAL or not _letters_and_digits(seen):
        allowed = f"the serial in full, at most {LONGEST_SERIAL} characters"
        raise ImpossibleReading(field="serial", seen=repr(seen), allowed=allowed)
    return seen.strip()


def _scale(field: str) -> Callable[[Mapping[str, Any]], int | None]:
    return lambda fields: None if field in fields and fields[field] is None else whole_number(fields, field)


def _crossover(fields: Mapping[str, Any]) -> dict[str, str]:
    half, degrees = fields.get("crossover_half"), fields.get("crossover_deg")
    if (half is None) == (degrees is None):
        seen = "nothing" if half is None else f"{half!r} and {degrees!r}"
        raise ImpossibleReading(
            field="crossover_half", seen=seen, allowed="the half (first, second or unclear), or the degrees"
        )
    if half is not None:
        return {"half": _word(fields, "crossover_half", Half)}
    try:
        exact = Decimal(str(degrees))
    except InvalidOperation:
        exact = Decimal(-1)
    if not (exact.is_finite() and 0 <= exact <= FULL_TURN_DEG):
        raise ImpossibleReading(field="crossover_deg", seen=repr(degrees), allowed="0 to 360")
    return {"deg": format(exact, "f")}


_FORMS: Mapping[Point, Callable[[Mapping[str, Any]], Any]] = {
    Point.SERIAL: _serial,
    Point.OPEN_SIDE: lambda fields: _word(fields, "open_side", OpenSide),
    Point.SCALE_LEFT: _scale("scale_left"),
    Point.SCALE_RIGHT: _scale("scale_right"),
    Point.UNWIND: lambda fields: _word(fields, "unwind", Unwind),
    Point.HAND_COUNT: lambda fields: whole_number(fields, "hand_wraps"),
    Point.GAUGE: lambda fields: {
        "face": _word(fields, "gauge_face", Parity),
        "wraps": whole_number(fields, "gauge_wraps"),
    },
    Point.CROSSOVER: _crossover,
}
