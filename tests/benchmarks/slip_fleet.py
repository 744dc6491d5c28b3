"""The reels, their past and the wrap gauges of the study of slips. Imports what needs settings once they are there."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

import numpy as np

COUNTS = (4, 12)
MEDIAN_LOOSENESS_WRAPS, LOOSENESS_SPREAD = 0.4, 0.4
LOGGED_CUT_PER_MONTH = 0.08
SUPERSEDED_REVISION = "B"
RIGHT_GAUGE, OTHER_MACHINES, PAST_DUE = "WG-7", "WG-8", "WG-OLD"  # and the code of the type that each fits
# Where a type's scale line sits, from which side its angles are seen, and how its cable is wound: no two alike.
GEOMETRIES = (
    ("bottom", "left", "clockwise"), ("bottom", "right", "counter_clockwise"), ("forward", "left", "clockwise")
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class KnownType:
    """A type of the fleet. geometry: one of GEOMETRIES."""

    code: str
    drum: Any
    anchor_side: Any
    geometry: tuple[str, str, str]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Known:
    """A reel of the fleet: what it has been, and how it may be found today."""

    serial: str
    type: KnownType
    shape: Any
    length_m: float
    looseness: float
    last: tuple[int, int]

    def today(self, rng: np.random.Generator) -> Any:
        from tests.benchmarks.slips import Wound

        layers, wraps = _counted(self.shape, self.length_m, self.looseness, rng)
        turns = int(self.shape.turns_below[layers]) + wraps
        return Wound(drum=self.type.drum, shape=self.shape, anchor_side=self.type.anchor_side, turns=turns,
                     is_first=bool(rng.random() < 0.5), is_clockwise=self.type.geometry[2] == "clockwise")  # fmt: skip


def _counted(shape: Any, length_m: float, looseness: float, rng: np.random.Generator) -> tuple[int, int]:
    found: tuple[int, int] = shape.count(float(shape.turns(length_m)) + looseness * float(rng.standard_normal()))
    return found


def make_fleet(reels: int, rng: np.random.Generator, now: datetime) -> list[Known]:
    """Reels of three types with their history, stored as older records are; the fleet's rates are learned from them."""
    from reports.services import assessments
    from tests import builders
    from tests.inspections.services.intake.test_records import COUNTS_HEADER, EVENTS_HEADER, bring_in

    for revision, days in ((SUPERSEDED_REVISION, 5000), ("C", 4000)):
        builders.make_publication(revision=revision, valid_from=now - timedelta(days=days))
    types = [_make_type(f"t{number}", geometry, rng) for number, geometry in enumerate(GEOMETRIES)]
    rows: dict[str, list[str]] = {"reels": [], "counts": [], "events": []}
    fleet = [_known(types[n % 3], f"SL-{n:04}", rows, rng, now) for n in range(reels)]
    bring_in(
        {
            "reels.csv": "serial,type,site,received_on,cable_length_m\n" + "".join(rows["reels"]),
            "counts.csv": COUNTS_HEADER + "".join(rows["counts"]),
            "cable_events.csv": EVENTS_HEADER + "".join(rows["events"]),
        },
        at=now,
    )
    assessments.bring_up_to_date(at=now)
    _make_gauges([each.code for each in types])
    return fleet


def _make_gauges(codes: list[str]) -> None:
    """For each type a gauge of RM-7, one of RM-8, and one of RM-7 that is past due."""
    from reels.models import ReelType
    from tests import builders

    here, there = builders.make_machine("RM-7"), builders.make_machine("RM-8")
    for code in codes:
        types = [ReelType.objects.get(code=code)]
        for gauge, machine, due in ((RIGHT_GAUGE, here, date(2030, 1, 1)), (OTHER_MACHINES, there, date(2030, 1, 1)),
                                    (PAST_DUE, here, date(2025, 1, 1))):  # fmt: skip
            builders.make_gauge(f"{gauge}-{code}", machine, types=types, due=due)


def _make_type(code: str, geometry: tuple[str, str, str], rng: np.random.Generator) -> KnownType:
    from reels.domain.words import Side
    from tests import builders
    from tests.benchmarks.drift.fleets import drum_for

    drum, anchor_side = drum_for(rng), Side(str(rng.choice(["left", "right"])))
    builders.make_type(
        code, core_diameter_mm=f"{drum.core_diameter_mm:.3f}", cable_diameter_mm=f"{drum.cable_diameter_mm:.3f}",
        wraps_odd_layer=drum.wraps_odd_layer, wraps_even_layer=drum.wraps_even_layer, max_layers=drum.max_layers,
        anchor_side=anchor_side.value, least_length_m=None,
        **dict(zip(("scale_line_at", "reference_side", "winding_sense"), geometry, strict=True)),
    )  # fmt: skip
    return KnownType(code=code, drum=drum, anchor_side=anchor_side, geometry=geometry)


def _known(kind: KnownType, serial: str, rows: dict[str, list[str]], rng: np.random.Generator,
           now: datetime) -> Known:  # fmt: skip
    """A reel, and the rows that tell its past."""
    from tests.benchmarks.drift.fleets import DrumTables

    shape = DrumTables.of(kind.drum)
    length_m = float(shape.metres_below[-1] * rng.uniform(0.55, 0.85))
    rows["reels"].append(f"{serial},{kind.code},kettle-point,2024-03-01,{length_m:.1f}\n")
    looseness = MEDIAN_LOOSENESS_WRAPS * float(np.exp(LOOSENESS_SPREAD * rng.standard_normal()))
    last = (0, 0)
    for months in range(int(rng.integers(COUNTS[0], COUNTS[1] + 1)), 0, -1):
        at = now - timedelta(days=30 * months)
        last = _counted(shape, length_m, looseness, rng)
        rows["counts"].append(f"{serial},{at.isoformat()},{last[0]},{last[1]},,,\n")
        if rng.random() < LOGGED_CUT_PER_MONTH:
            cut_m = float(rng.uniform(2, 15))
            when = (at + timedelta(days=10)).isoformat()
            rows["events"].append(f"{serial},{when},cut,{cut_m + 0.2 * float(rng.standard_normal()):.2f},,\n")
            length_m -= cut_m
    return Known(serial=serial, type=kind, shape=shape, length_m=length_m, looseness=looseness, last=last)
