"""Makes the demo fleet's records: `python -m deploy.demo_fleet.make [FOLDER]`. The same bytes each time.

Larkspur Water Survey, its bases, people, machines and reels are invented. Two years of counts are played through: each
reel has a true length of cable, which cuts shorten; every count sees it in whole wraps, a little loose, and now and
then with a slip. The log has slips too. What was hidden stands in truth.json; nothing imports that file.
"""

import csv
import io
import json
import sys
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from deploy.demo_fleet.chance import Chance
from deploy.demo_fleet.month import diary
from reels.domain.winding import Drum, count_of_turns, layer_capacities, length_of_turns_m, turns_of, turns_of_length

HERE = Path(__file__).parent
SEED = 20_261_031
BEGINS = datetime(2024, 11, 4, tzinfo=UTC)
ENDS = datetime(2026, 10, 30, tzinfo=UTC)
DAYS = (ENDS - BEGINS).days
N_REELS = 40
WALK_COUNTS = {"LW-0002": (12, 10), "LW-0004": (8, 33)}  # what the walk will count: nothing happens to these two

TYPE_COLUMNS = (
    "code", "core_diameter_mm", "cable_diameter_mm", "wraps_odd_layer", "wraps_even_layer", "max_layers",
    "layer_rise_mm", "anchor_side", "lead_wraps", "diameter_u_mm", "reference_side", "scale_line_at", "winding_sense",
    "least_length_m", "count_days", "count_uses", "cable_uses_soft", "cable_uses_hard", "cable_days_soft",
    "reel_hours_soft", "reel_hours_hard",
)  # fmt: skip
# Each sits in its machine in its own way, so that no word for a half turn can be learned by heart.
TYPES: dict[str, tuple[Any, ...]] = {
    "tarn-200": ("180", "6", 34, 33, 12, "", "left", 1, "0.2", "right", "aft", "clockwise",
                 "120", 60, 40, 400, 500, 2555, "", ""),
    "mere-350": ("240", "8", 28, 27, 16, "7.1", "left", 1, "0.2", "left", "bottom", "clockwise",
                 "220", 60, 30, 300, 400, 2555, "", ""),
    "loch-500": ("300", "10", 40, 40, 16, "9.2", "right", 2, "0.2", "right", "forward", "counter_clockwise",
                 "330", 90, 30, 300, 400, 2555, 2500, 3000),
}  # fmt: skip
CABLE_M = {"tarn-200": 205.0, "mere-350": 352.0, "loch-500": 505.0}
SITES = {"kettle-point": "KP", "aldermere": "AM", "stane-field": "SF"}
# Who counted and verified in these two years; some have moved on and have no login.
COUNTERS = {
    "kettle-point": ("Maren Holt", "Tobin Ashe", "Edda Quill"),
    "aldermere": ("Ines Corran", "Wilf Tarrant", "Petra Lorne"),
    "stane-field": ("Sunniva Dray", "Anselm Rook", "Gwen Ostler"),
}
VERIFIERS = {
    "kettle-point": ("Bram Selwyn", "Odile Farr"),
    "aldermere": ("Hanne Vetch", "Crispin Yale"),
    "stane-field": ("Leif Marden", "Roska Pell"),
}
SLIPS = {"one_wrap": 9, "correction": 6, "scale": 5, "wrong_face": 4, "copied": 5, "anything": 2}
LOG_SLIPS = {"late": 5, "dated_past_the_count": 3, "twice": 3, "wrong_length": 3}
N_UNLOGGED = 7
N_REPLACED = 3


@dataclass(slots=True)
class Event:
    """Something that really happened to a cable, and what the log says of it."""

    day: float
    kind: str  # cut or replaced
    length_m: float
    logged: bool = True
    slip: str = ""


@dataclass(slots=True)
class PlayedReel:
    """A reel of the play: what is true of it, and when it was counted."""

    serial: str
    type: str
    site: str
    length_m: float  # as counted: without the lead
    looseness_wraps: float
    count_days: list[float]
    events: list[Event] = field(default_factory=list)
    slips: dict[int, str] = field(default_factory=dict)  # by place in count_days

    @property
    def drum(self) -> Drum:
        row = dict(zip(TYPE_COLUMNS[1:], TYPES[self.type], strict=True))
        return Drum(
            core_diameter_mm=float(row["core_diameter_mm"]), cable_diameter_mm=float(row["cable_diameter_mm"]),
            wraps_odd_layer=row["wraps_odd_layer"], wraps_even_layer=row["wraps_even_layer"],
            max_layers=row["max_layers"], layer_rise_mm=float(row["layer_rise_mm"]) if row["layer_rise_mm"] else None,
        )  # fmt: skip

    @property
    def length_now_m(self) -> float:
        """After all that happened to it."""
        return _true_length_m(self, DAYS + 1)

    @property
    def lead_wraps(self) -> int:
        return int(TYPES[self.type][TYPE_COLUMNS.index("lead_wraps") - 1])


# The play -----------------------------------------------------------------------------------------------------------


def play() -> list[PlayedReel]:
    """Forty reels with everything that happened to them."""
    chance = Chance(SEED)
    reels = [_reel(chance, number) for number in range(1, N_REELS + 1)]
    lively = [reel for reel in reels if reel.serial not in WALK_COUNTS]
    for reel in lively:
        _cut_now_and_then(chance, reel)
    _replace_some(chance, lively)
    _hide_unlogged_cuts(chance, lively)
    _spoil_log(chance, lively)
    _hide_slips(chance, lively)
    return reels


def _reel(chance: Chance, number: int) -> PlayedReel:
    serial, code = f"LW-{number:04}", list(TYPES)[(number - 1) % 3]
    reel = PlayedReel(
        serial=serial, type=code, site=list(SITES)[(number - 1) // 14],
        length_m=CABLE_M[code] * chance.between(0.96, 1), looseness_wraps=chance.between(0.1, 0.5),
        count_days=_count_days(chance),
    )  # fmt: skip
    if serial in WALK_COUNTS:
        turns = turns_of(*WALK_COUNTS[serial], reel.drum)
        reel.length_m, reel.looseness_wraps = float(length_of_turns_m(turns, reel.drum)), 0.0
    return reel


def _count_days(chance: Chance) -> list[float]:
    """About every nineteen days, within working hours."""
    days, day = [], chance.between(0, 15)
    while day < DAYS:
        days.append(_working_hour(chance, day))
        day += chance.between(12, 26)
    return days


def _cut_now_and_then(chance: Chance, reel: PlayedReel) -> None:
    day = chance.between(60, 500)
    while day < DAYS - 20:
        reel.events.append(Event(_working_hour(chance, day), "cut", _cut_length(chance)))
        day += chance.between(120, 500)


def _replace_some(chance: Chance, reels: list[PlayedReel]) -> None:
    for reel in chance.some_of(reels, N_REPLACED):
        day = _working_hour(chance, chance.between(300, 500))
        reel.events.append(Event(day, "replaced", CABLE_M[reel.type] * chance.between(0.98, 1)))


def _hide_unlogged_cuts(chance: Chance, reels: list[PlayedReel]) -> None:
    for reel in chance.some_of(reels, N_UNLOGGED):
        day = _working_hour(chance, chance.between(100, DAYS - 60))
        reel.events.append(Event(day, "cut", _cut_length(chance) + 2.5, logged=False))


def _spoil_log(chance: Chance, reels: list[PlayedReel]) -> None:
    cuts = [event for reel in reels for event in reel.events if event.kind == "cut" and event.logged]
    kinds = [kind for kind, number in LOG_SLIPS.items() for _ in range(number)]
    for event, kind in zip(chance.some_of(cuts, len(kinds)), kinds, strict=True):
        event.slip = kind


def _hide_slips(chance: Chance, reels: list[PlayedReel]) -> None:
    places = [(reel, place) for reel in reels for place in range(2, len(reel.count_days))]
    kinds = [kind for kind, number in SLIPS.items() for _ in range(number)]
    for (reel, place), kind in zip(chance.some_of(places, len(kinds)), kinds, strict=True):
        reel.slips[place] = kind


def _working_hour(chance: Chance, day: float) -> float:
    return int(day) + chance.whole(7 * 12, 16 * 12) / (24 * 12)


def _cut_length(chance: Chance) -> float:
    return round(2 + 16 * chance.between(0, 1) * chance.between(0, 1), 1)


# What was written down ----------------------------------------------------------------------------------------------


def counts_of(reel: PlayedReel, chance: Chance) -> list[tuple[float, int, int]]:
    """Day, layers and wraps of each count, slips included."""
    counts: list[tuple[float, int, int]] = []
    for place, day in enumerate(reel.count_days):
        turns = float(turns_of_length(_true_length_m(reel, day), reel.drum))
        spread = reel.looseness_wraps * turns / 300
        whole_turns = int(turns + chance.near(spread) + 0.5)
        layers, wraps = (int(part) for part in count_of_turns(whole_turns, reel.drum))
        written = _slipped(reel, reel.slips.get(place, ""), (layers, wraps), counts, chance)
        if written == (layers, wraps):
            reel.slips.pop(place, None)  # it came out right after all
        counts.append((day, *written))
    return counts


def _true_length_m(reel: PlayedReel, day: float) -> float:
    length = reel.length_m
    for event in sorted(reel.events, key=lambda event: event.day):
        if event.day < day:
            length = event.length_m if event.kind == "replaced" else length - event.length_m
    return length


def _slipped(reel: PlayedReel, kind: str, count: tuple[int, int], earlier: list[tuple[float, int, int]],
             chance: Chance) -> tuple[int, int]:  # fmt: skip
    """The count as written down. A slip that no drum could show is not made."""
    layers, wraps = count
    capacity = int(layer_capacities(reel.drum)[layers])
    written = {
        "one_wrap": (layers, wraps + chance.one_of((-1, 1))),
        "correction": (layers, wraps + chance.one_of((1, -1, reel.lead_wraps))),
        "scale": (layers + chance.one_of((-1, 1, -2)), wraps),
        "wrong_face": (layers, capacity + 1 - wraps - 2 * reel.lead_wraps),
        "copied": earlier[-1][1:] if earlier else count,
        "anything": (layers - 1, chance.whole(1, 20)),
    }.get(kind, count)
    return written if 0 <= written[1] < int(layer_capacities(reel.drum)[written[0]]) else count


def events_of(reel: PlayedReel, chance: Chance) -> list[dict[str, Any]]:
    """The log entries of a reel, slips included."""
    rows = []
    for event in sorted(reel.events, key=lambda event: event.day):
        if not event.logged:
            continue
        happened, length = event.day, event.length_m if event.kind == "cut" else None
        after = next((day for day in reel.count_days if day > event.day), event.day)
        recorded = happened + chance.between(0.02, 0.2)
        if event.slip == "dated_past_the_count":
            happened = recorded = after + 1 / 24
        if event.slip == "late":
            recorded = after + chance.between(5, 30)
        if event.slip == "wrong_length" and length is not None:
            length = round(length / 2, 1)
        rows.append(_event_row(reel, event.kind, happened, length, recorded, chance))
        if event.slip == "twice":
            rows.append(_event_row(reel, event.kind, happened + 0.25, length, recorded + 0.3, chance))
    return rows


def _event_row(reel: PlayedReel, kind: str, happened: float, length: float | None, recorded: float,
               chance: Chance) -> dict[str, Any]:  # fmt: skip
    recorded = min(max(recorded, happened), DAYS)
    return {
        "reel": reel.serial, "happened_at": _at(happened), "kind": kind,
        "length_removed_m": "" if length is None else f"{length:.1f}", "recorded_at": _at(recorded),
        "document": f"{SITES[reel.site]}-CE-{chance.whole(1000, 9999)}",
    }  # fmt: skip


def _at(day: float) -> str:
    at = BEGINS + timedelta(minutes=round(day * 24 * 60))
    return at.strftime("%Y-%m-%dT%H:%M:00Z")


# The files ----------------------------------------------------------------------------------------------------------


def files() -> dict[str, str]:
    """Every made file: name and text."""
    chance, reels = Chance(SEED + 1), play()
    counts, events, truth = [], [], []
    for reel in reels:
        counts += [_count_row(reel, chance, *count) for count in counts_of(reel, chance)]
        events += events_of(reel, chance)
        truth += _truth_of(reel)
    return {
        "reel_types.csv": _csv([dict(zip(TYPE_COLUMNS, (code, *row), strict=True)) for code, row in TYPES.items()]),
        "reels.csv": _csv([_reel_row(reel) for reel in reels]),
        "counts.csv": _csv(counts),
        "cable_events.csv": _csv(events),
        "month.json": _lines(diary(reels)),
        "truth.json": json.dumps({"about": "Invented. What the drift report should find.", "hidden": truth}, indent=1)
        + "\n",
    }


def _reel_row(reel: PlayedReel) -> dict[str, Any]:
    turns = float(turns_of_length(reel.length_m, reel.drum)) + reel.lead_wraps
    return {
        "serial": reel.serial, "type": reel.type, "site": reel.site, "received_on": BEGINS.date().isoformat(),
        "cable_length_m": f"{float(length_of_turns_m(turns, reel.drum)):.1f}",
    }  # fmt: skip


def _count_row(reel: PlayedReel, chance: Chance, day: float, layers: int, wraps: int) -> dict[str, Any]:
    return {
        "reel": reel.serial, "counted_at": _at(day), "layers": layers, "wraps": wraps,
        "counted_by": chance.one_of(COUNTERS[reel.site]), "verified_by": chance.one_of(VERIFIERS[reel.site]),
        "document": f"{SITES[reel.site]}-WO-{chance.whole(10000, 99999)}",
    }  # fmt: skip


def _truth_of(reel: PlayedReel) -> list[dict[str, Any]]:
    unlogged = [
        {"reel": reel.serial, "what": "unlogged cut", "at": _at(event.day), "length_m": event.length_m}
        for event in reel.events
        if not event.logged
    ]
    log = [
        {"reel": reel.serial, "what": f"log slip: {event.slip}", "at": _at(event.day), "length_m": event.length_m}
        for event in reel.events
        if event.slip
    ]
    slips = [
        {"reel": reel.serial, "what": f"count slip: {kind}", "at": _at(reel.count_days[place]), "length_m": None}
        for place, kind in sorted(reel.slips.items())
    ]
    return [*unlogged, *log, *slips]


def _csv(rows: list[dict[str, Any]]) -> str:
    text = io.StringIO()
    writer = csv.DictWriter(text, fieldnames=list(rows[0]), lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue()


def _lines(acts: list[dict[str, Any]]) -> str:
    """One act a line, so that a person can read it."""
    return "[\n" + ",\n".join(f" {json.dumps(act)}" for act in acts) + "\n]\n"


def main(folder: Path) -> None:
    for name, text in files().items():
        (folder / name).write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if sys.argv[1:] else HERE)
