"""What a row brought in from older records must agree with: its reel, its reel's type, the calendar, and other rows."""

from collections.abc import Callable, Hashable, Iterable, Iterator
from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal
from functools import cached_property
from typing import Any

from inspections.domain.intake.files import FileProblem, FileRow, problem
from inspections.domain.reading import HALF_TURN_DEG, RuleParameters
from reels.domain.life import LIVES
from reels.domain.winding import Drum, capacity_m, drum_from
from reels.domain.words import ReelEventKind, Side, UnusualRule, WindingSense
from reels.errors import ValueNotTaken

Problems = Iterator[FileProblem]


@dataclass(frozen=True, kw_only=True)
class TypeFacts:
    """What rows about a reel are checked against in its type."""

    drum: Drum

    @cached_property
    def most_m(self) -> Decimal:
        """The cable that the drum takes, metres."""
        return Decimal(capacity_m(self.drum))

    def most_wraps(self, layers: int) -> int:
        """The wraps that may lie on top of so many full layers."""
        if layers >= self.drum.max_layers:
            return 0
        return self.drum.wraps_odd_layer if layers % 2 == 0 else self.drum.wraps_even_layer


@dataclass(frozen=True, slots=True, kw_only=True)
class ReelFacts:
    """What rows about a reel are checked against. replaced_at: when its cable was replaced, in any order."""

    serial: str
    type: TypeFacts
    received_on: date
    cable_length_m: Decimal | None
    replaced_at: tuple[datetime, ...] = ()


def type_problems(row: FileRow) -> Problems:
    """What no reel type can be."""
    stated = {name: value for name, value in row.values.items() if value is not None}
    try:
        drum_from(row.values)
        RuleParameters(
            anchor_side=Side(stated["anchor_side"]),
            unusual=UnusualRule(stated.get("unusual", UnusualRule.HOLD)),
            **{name: stated[name] for name in _RULE_NUMBERS if name in stated},
        )
    except ValueNotTaken as refused:
        facts = refused.facts
        yield problem(row.file, row.line, facts["field"], facts["seen"], facts["allowed"])
        return
    for life in LIVES:
        soft, hard = stated.get(f"{life}_soft"), stated.get(f"{life}_hard")
        if soft and hard and soft >= hard:
            yield problem(row.file, row.line, f"{life}_soft", soft, f"less than {life}_hard, {hard}")
    sense = WindingSense(stated.get("winding_sense", WindingSense.CLOCKWISE))
    arc = stated.get("arc_from_deg", 0), stated.get("arc_to_deg", HALF_TURN_DEG)
    if arc != sense.arc and "arc_publication" not in stated:
        seen, allowed = "{} to {}".format(*arc), "{} to {}".format(*sense.arc)
        named = f"{allowed}, wound {sense.spoken}; another arc with the publication that says it in arc_publication"
        yield problem(row.file, row.line, "arc_to_deg", seen, named)


_RULE_NUMBERS = ("wraps_odd_layer", "wraps_even_layer", "max_layers", "lead_wraps", "arc_from_deg", "arc_to_deg")


def reel_problems(row: FileRow, at: datetime) -> Problems:
    """What no reel can be."""
    received_on = row.values["received_on"]
    if received_on > at.date():
        yield problem(row.file, row.line, "received_on", received_on, f"up to today, {at.date()}")


def count_problems(row: FileRow, reel: ReelFacts, at: datetime) -> Problems:
    """What no count of its reel can be."""
    yield from _time_problems(row, "counted_at", reel, at)
    layers, wraps = row.values["layers"], row.values["wraps"]
    if layers > reel.type.drum.max_layers:
        allowed = f"0 to {reel.type.drum.max_layers}, the layers that its type takes"
        yield problem(row.file, row.line, "layers", layers, allowed)
    elif wraps > (most := reel.type.most_wraps(layers)):
        yield problem(row.file, row.line, "wraps", wraps, f"0 to {most} on top of {layers} full layers of its type")


def event_problems(row: FileRow, reel: ReelFacts, at: datetime) -> Problems:
    """What no cut or replacement of its reel can be.

    A cut may be as long as the cable that the reel was received with, or, once the cable was replaced or when its
    length is not known, as what the drum takes. Cuts are not added up: that entries are doubled, late or of a wrong
    length is for the drift report to weigh.
    """
    values = row.values
    yield from _time_problems(row, "happened_at", reel, at)
    if values["recorded_at"] is not None and values["recorded_at"] > at:
        yield problem(row.file, row.line, "recorded_at", values["recorded_at"].isoformat(), f"up to now, {_short(at)}")
    length_m = values["length_removed_m"]
    if length_m is None:
        if values["kind"] == "cut":
            yield problem(row.file, row.line, "length_removed_m", "", "more than 0 for a cut")
        return
    is_first_cable = all(values["happened_at"] <= replaced for replaced in reel.replaced_at)
    known = reel.cable_length_m if is_first_cable else None
    most = known if known is not None else reel.type.most_m
    if length_m > most:
        yield problem(row.file, row.line, "length_removed_m", length_m, f"up to {most:.3f}, the cable of {reel.serial}")


def reel_event_problems(row: FileRow, reel: ReelFacts, at: datetime) -> Problems:
    """What no use, re-spooling or incident of its reel can be."""
    values, kind = row.values, ReelEventKind(row.values["kind"])
    yield from _time_problems(row, "happened_at", reel, at)
    if values["recorded_at"] > at:
        yield problem(row.file, row.line, "recorded_at", values["recorded_at"].isoformat(), f"up to now, {_short(at)}")
    for name in ("uses", "hours", "length_out_m"):
        may_have = kind is ReelEventKind.USED or (name == "length_out_m" and kind is ReelEventKind.INCIDENT)
        if values.get(name) is not None and not may_have:
            yield problem(row.file, row.line, name, values[name], f"empty, where a reel was {kind.spoken}")
    if (values.get("length_out_m") or 0) > reel.type.most_m:
        allowed = f"up to {reel.type.most_m:.3f}, what the drum takes"
        yield problem(row.file, row.line, "length_out_m", values["length_out_m"], allowed)


def installation_problems(row: FileRow, reel: ReelFacts, at: datetime) -> Problems:
    """What no installation of its reel can be."""
    yield from _time_problems(row, "installed_at", reel, at)
    removed, installed = row.values["removed_at"], row.values["installed_at"]
    if removed is not None and removed > at:
        yield problem(row.file, row.line, "removed_at", removed.isoformat(), f"up to now, {_short(at)}")
    if removed is not None and removed < installed:
        allowed = f"{installed.isoformat()}, when it was installed, or later"
        yield problem(row.file, row.line, "removed_at", removed.isoformat(), allowed)


def move_problems(row: FileRow, reel: ReelFacts, at: datetime) -> Problems:
    """What no move of its reel can be."""
    yield from _time_problems(row, "sent_at", reel, at)
    sent, received = row.values["sent_at"], row.values["received_at"]
    if received > at:
        yield problem(row.file, row.line, "received_at", received.isoformat(), f"up to now, {_short(at)}")
    if received < sent:
        yield problem(row.file, row.line, "received_at", received.isoformat(), f"{sent.isoformat()}, when it was sent")
    if row.values["from_site"] == row.values["to_site"]:
        yield problem(row.file, row.line, "to_site", row.values["to_site"], "another site")


def _time_problems(row: FileRow, column: str, reel: ReelFacts, at: datetime) -> Problems:
    seen = row.values[column]
    if seen.date() < reel.received_on:
        allowed = f"from {reel.received_on}, when reel {reel.serial} was received"
        yield problem(row.file, row.line, column, seen.isoformat(), allowed)
    elif seen > at:
        yield problem(row.file, row.line, column, seen.isoformat(), f"up to now, {_short(at)}")


def _short(at: datetime) -> str:
    return at.isoformat(timespec="minutes")


@dataclass(slots=True)
class SortedRows:
    """Rows sorted into new ones, ones that are there already, and ones that contradict what is there."""

    new: list[FileRow] = field(default_factory=list)
    already: int = 0
    problems: list[FileProblem] = field(default_factory=list)


def sort_out(
    rows: Iterable[FileRow], recorded: Iterable[dict[str, Any]], key_of: Callable[[dict[str, Any]], Hashable]
) -> SortedRows:
    """Tell new rows from ones that say again what is recorded, or what an earlier row says.

    recorded: the values on record, by column, all columns. key_of: what identifies a row.
    """
    known = {key_of(values): ("the records", values) for values in recorded}
    result = SortedRows()
    for row in rows:
        key = key_of(row.values)
        if key not in known:
            known[key] = (f"line {row.line}", row.values)
            result.new.append(row)
            continue
        where, earlier = known[key]
        differing = [name for name, value in row.values.items() if name in earlier and earlier[name] != value]
        result.already += not differing
        for name in differing:
            allowed = f"{_cell_in_words(earlier[name])} as in {where}, which this row repeats"
            result.problems.append(problem(row.file, row.line, name, _cell_in_words(row.values[name]), allowed))
    return result


def _cell_in_words(value: Any) -> str:
    return "empty" if value is None else str(value)
