"""What becomes of people's slips: `python -m tests.benchmarks.slip_study [INSPECTIONS]`.

So many simulated inspections (10,000), each driven through the services from the preparation to values that are
confirmed in the machine: 38 % of them sound, the others with one slip each, of every kind alike often. Reels have 4 to
12 earlier counts, logged cuts, and are wound a little more or less loosely each time; nothing is lost unlogged. Each
inspection is taken back after it was looked at. A slip is caught when any check stops the work before the values are
confirmed: the comparison of the two, a rule of counting, the reel's history, the read-back. Types accept unusual
counts; with types that hold them, flush and stepped-down counts would be referred on top.
"""

import argparse
import os
import sys
import tempfile
from collections import defaultdict
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import repeat
from multiprocessing import get_context
from typing import TYPE_CHECKING, Any

import numpy as np

from tests.benchmarks.slip_tables import (
    BOTH,
    COPIED,
    MORE_OFF,
    ONE,
    ONE_OFF,
    RIGHT,
    SOUND,
    STALE,
    WRONG_REEL,
    SlipCell,
    Table,
    summary_lines,
    table_lines,
)  # fmt: skip

if TYPE_CHECKING:
    from tests.builders import Cast

SOUND_SHARE = 0.38
PART = 2500  # inspections, with a fleet of their own
COUNTS = (4, 12)
MEDIAN_LOOSENESS_WRAPS, LOOSENESS_SPREAD = 0.4, 0.4
LOGGED_CUT_PER_MONTH = 0.08


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Known:
    """A reel of the fleet: what it has been, and how it may be found today."""

    serial: str
    drum: Any
    shape: Any
    anchor_side: Any
    length_m: float
    looseness: float
    last: tuple[int, int]

    def today(self, rng: np.random.Generator) -> Any:
        from tests.benchmarks.slips import Wound

        layers, wraps = _counted(self.shape, self.length_m, self.looseness, rng)
        turns = int(self.shape.turns_below[layers]) + wraps
        return Wound(drum=self.drum, shape=self.shape, anchor_side=self.anchor_side, turns=turns,
                     is_first=bool(rng.random() < 0.5))  # fmt: skip


def _counted(shape: Any, length_m: float, looseness: float, rng: np.random.Generator) -> tuple[int, int]:
    found: tuple[int, int] = shape.count(float(shape.turns(length_m)) + looseness * float(rng.standard_normal()))
    return found


# The fleet ----------------------------------------------------------------------------------------------------------


def make_fleet(reels: int, rng: np.random.Generator, now: datetime) -> list[Known]:
    """Reels of three types with their history, stored as older records are; the fleet's rates are learned from them."""
    from reports.services import assessments
    from tests import builders
    from tests.inspections.services.intake.test_records import COUNTS_HEADER, EVENTS_HEADER, bring_in

    types = [_make_type(f"t{number}", rng) for number in range(3)]
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
    builders.make_machine("RM-7")
    return fleet


def _make_type(code: str, rng: np.random.Generator) -> tuple[str, Any, Any]:
    from reels.domain.words import Side
    from tests import builders
    from tests.benchmarks.drift.fleets import drum_for

    drum, anchor_side = drum_for(rng), Side(str(rng.choice(["left", "right"])))
    builders.make_type(
        code, core_diameter_mm=f"{drum.core_diameter_mm:.3f}", cable_diameter_mm=f"{drum.cable_diameter_mm:.3f}",
        wraps_odd_layer=drum.wraps_odd_layer, wraps_even_layer=drum.wraps_even_layer, max_layers=drum.max_layers,
        anchor_side=anchor_side.value, least_length_m=None,
    )  # fmt: skip
    return code, drum, anchor_side


def _known(kind: tuple[str, Any, Any], serial: str, rows: dict[str, list[str]], rng: np.random.Generator,
           now: datetime) -> Known:  # fmt: skip
    """A reel, and the rows that tell its past."""
    from tests.benchmarks.drift.fleets import DrumTables

    code, drum, anchor_side = kind
    shape = DrumTables.of(drum)
    length_m = float(shape.metres_below[-1] * rng.uniform(0.55, 0.85))
    rows["reels"].append(f"{serial},{code},kettle-point,2024-03-01,{length_m:.1f}\n")
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
    return Known(serial=serial, drum=drum, shape=shape, anchor_side=anchor_side, length_m=length_m,
                 looseness=looseness, last=last)  # fmt: skip


# One inspection -----------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """What the people of one inspection do. keyed: by role; machine: what it shows, None for the issued values.

    copies: how many of the two who read the machine key the issued values without looking.
    """

    serial: str
    keyed: dict[str, dict[str, Any]]
    wraps_off: int
    machine: tuple[int, int] | None = None
    copies: int = 0


class Team:
    """Drives one inspection through the services, until a check stops it or the values are confirmed."""

    def __init__(self, cast: "Cast", now: datetime) -> None:
        self.cast, self.now = cast, now

    def work(self, case: Case) -> tuple[str, tuple[int, int]]:
        """What stopped it ("" for nothing), and the numbers that are in the machine at the end."""
        from tests import builders

        inspection = builders.open_count(self.cast, case.serial, self.now)
        stopped = self._count(inspection.pk, case)
        builders.return_gauge(self.cast, inspection.pk, self.now)  # however the count ended
        if stopped := stopped or self._sign(inspection.pk):
            return stopped, (0, 0)
        return self._set(case)

    def _count(self, inspection_id: int, case: Case) -> str:
        from inspections.domain.keying import FIELDS, STEPS, roles_at
        from inspections.domain.words import Point, Role
        from inspections.services import drafts
        from reels.services.history import Actor

        people = {Role.TECHNICIAN: self.cast.technician, Role.VERIFIER: self.cast.verifier}
        for points in STEPS:
            for role, person in people.items():
                mine = [point for point in Point if point in points and role in roles_at(point)]
                seen = case.keyed[role]
                given = {point: {name: seen[name] for name in FIELDS[point] if name in seen} for point in mine}
                keyed = drafts.key_step(
                    inspection_id=inspection_id, reading=1, role=role, by_point=given, step="", actor=Actor(person),
                    at=self.now,
                )  # fmt: skip
                if keyed.state == "cancelled":
                    return "serial"
                if keyed.rereads or keyed.state == "referred":
                    return self._why(keyed)
        return ""

    def _why(self, inspection: Any) -> str:
        first = inspection.readings.get(number=1)
        return "comparison" if first.working is None else f"rule {first.working['problems'][0]['code']}"

    def _sign(self, inspection_id: int) -> str:
        """Both signatures; the reel's history may stand against them."""
        from inspections.domain.words import Meaning
        from inspections.errors import CountIsOutlier
        from inspections.services import signing
        from reels.services.history import Actor
        from tests.builders import PASSWORD

        people = {Meaning.COUNTED: self.cast.technician, Meaning.VERIFIED: self.cast.verifier}
        try:
            for meaning, person in people.items():
                signing.sign(inspection_id=inspection_id, meaning=meaning, password=PASSWORD, actor=Actor(person),
                             at=self.now)  # fmt: skip
        except CountIsOutlier:
            return "history"
        return ""

    def _set(self, case: Case) -> tuple[str, tuple[int, int]]:
        from inspections.services import maintenance, setup
        from reels.services.history import Actor

        cast, at = self.cast, self.now
        values = setup.issue(serial=case.serial, machine_serial="RM-7", actor=Actor(cast.control), at=at)
        maintenance.install(serial=case.serial, machine_serial="RM-7", actor=Actor(cast.control), at=at)
        setup.return_gauge(setup_id=values.pk, actor=Actor(cast.setter), at=at)
        issued = (values.layers, values.wraps)
        shown = case.machine or issued
        acts: tuple[tuple[str, Callable[..., Any], Any], ...] = (
            ("setter's read-back", setup.key_read_back, cast.setter),
            ("second person's read-back", setup.confirm, cast.confirmer),
        )
        for number, (name, act, person) in enumerate(acts):
            layers, wraps = issued if number < case.copies else shown
            if not act(setup_id=values.pk, layers=layers, wraps=wraps, actor=Actor(person), at=at).matches:
                return name, shown
        return "", shown


# The slips, one after the other -------------------------------------------------------------------------------------


def cells() -> list[tuple[str, str]]:
    """Every kind of slip with who makes it."""
    from tests.benchmarks.slips import READING_SLIPS

    return [
        *((kind, who) for kind in (*READING_SLIPS, WRONG_REEL) for who in (ONE, BOTH)),
        (STALE, ONE), (COPIED, ONE), (COPIED, BOTH),
    ]  # fmt: skip


def make_case(kind: str, who: str, fleet: Sequence[Known], rng: np.random.Generator) -> tuple[Case, Any]:
    """An inspection with this slip, and the reel as it truly lies; drawn again where the slip cannot be made."""
    while True:
        known = fleet[int(rng.integers(len(fleet)))]
        reel = known.today(rng)
        if made := _case(kind, who, known, reel, fleet, rng):
            return made, reel


def _case(kind: str, who: str, known: Known, reel: Any, fleet: Sequence[Known],
          rng: np.random.Generator) -> Case | None:  # fmt: skip
    from tests.benchmarks.slips import seen_on, wraps_off

    right = {**seen_on(reel), "serial": known.serial}
    if kind in (STALE, COPIED):
        machine = known.last if kind == STALE else _mis_set(reel.setup_values, rng)
        copies = {STALE: 0, COPIED: 1 if who == ONE else 2}[kind]
        both = {"technician": right, "verifier": right}
        off = _turns(reel, machine) - reel.turns
        return Case(serial=known.serial, keyed=both, wraps_off=off, machine=machine, copies=copies) if off else None
    slipped = _slipped(kind, reel, right, fleet, known, rng)
    if slipped is None or slipped == right:
        return None
    first = bool(rng.random() < 0.5)
    keyed = {
        "technician": slipped if who == BOTH or first else right,
        "verifier": slipped if who == BOTH or not first else right,
    }
    if kind == SOUND:
        keyed = {"technician": right, "verifier": right}
    return Case(serial=known.serial, keyed=keyed, wraps_off=wraps_off(reel, slipped))


def _slipped(kind: str, reel: Any, right: dict[str, Any], fleet: Sequence[Known], known: Known,
             rng: np.random.Generator) -> dict[str, Any] | None:  # fmt: skip
    from tests.benchmarks.slips import READING_SLIPS, seen_on

    if kind == SOUND:
        return {**right, "sound": True}
    if kind == WRONG_REEL:
        alike = [each for each in fleet if each.drum is known.drum and each is not known]
        other = alike[int(rng.integers(len(alike)))]
        return {**seen_on(other.today(rng)), "serial": other.serial}
    layer = reel.as_read[0] - (reel.as_read[1] == 0)
    return READING_SLIPS[kind](right, int(reel.shape.capacities[layer]), rng)


def _mis_set(values: tuple[int, int], rng: np.random.Generator) -> tuple[int, int]:
    """What a hand at the machine's knobs may leave there."""
    layers, wraps = values
    off = int(rng.choice([-2, -1, 1, 2, 10]))
    return (max(layers + off, 0), wraps) if rng.random() < 0.3 else (layers, max(wraps + off, 0))


def _turns(reel: Any, numbers: tuple[int, int]) -> int:
    layers, wraps = numbers
    return int(reel.shape.turns_below[min(layers, len(reel.shape.turns_below) - 1)]) + wraps


def study(numbers: range, of: int, seed: Sequence[int], cast: "Cast", now: datetime) -> Table:
    """Work these inspections of all, and give what became of each. Every inspection's rows are taken back."""
    from django.db import transaction

    rng = np.random.default_rng(list(seed))
    fleet = make_fleet(max(12, min(len(numbers) // 20, 120)), rng, now)
    team, table, kinds = Team(cast, now), defaultdict[tuple[str, str], SlipCell](SlipCell), cells()
    sound = round(of * SOUND_SHARE)
    for number in numbers:
        kind, who = (SOUND, "") if number < sound else kinds[number % len(kinds)]
        case, reel = make_case(kind, who, fleet, rng)
        with transaction.atomic():
            stopped, shown = team.work(case)
            transaction.set_rollback(True)
        _enter(table[kind, who], case, stopped, abs(_turns(reel, shown) - reel.turns))
    return dict(table)


def _enter(cell: SlipCell, case: Case, stopped: str, off: int) -> None:
    if stopped:
        cell.caught[stopped] += 1
        cell.caught_above_one += abs(case.wraps_off) > 1
    else:
        cell.through[RIGHT if off == 0 else ONE_OFF if off == 1 else MORE_OFF] += 1


def study_part(part: int, parts: int, inspections: int, seed: int) -> Table:
    """A part of the study, in a process and a database of its own."""
    with tempfile.TemporaryDirectory() as folder:
        os.environ["DJANGO_SETTINGS_MODULE"] = "deploy.settings"
        os.environ["DATABASE_URL"] = f"sqlite:///{folder}/slips.sqlite3"
        import django

        django.setup()
        from django.core.management import call_command
        from django.test.utils import override_settings

        call_command("migrate", verbosity=0)
        from tests.builders import NOW, Cast

        with override_settings(PASSWORD_HASHERS=["django.contrib.auth.hashers.MD5PasswordHasher"]):
            return study(range(part, inspections, parts), inspections, (seed, part), Cast(), NOW)


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the study and print it."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.slip_study", description=__doc__)
    parser.add_argument("inspections", nargs="?", type=int, default=10_000)
    parser.add_argument("--seed", type=int, default=5)
    parser.add_argument("--processes", type=int, default=2, help="they change nothing but how long it takes")
    chosen = parser.parse_args(arguments)
    table: Table = {place: SlipCell() for place in ((SOUND, ""), *cells())}
    with ProcessPoolExecutor(chosen.processes, max_tasks_per_child=1, mp_context=get_context("spawn")) as pool:
        parts = max(1, round(chosen.inspections / PART))
        rest = (repeat(parts), repeat(chosen.inspections), repeat(chosen.seed))
        for part, found in enumerate(pool.map(study_part, range(parts), *rest), start=1):
            print(f"part {part} of {parts} is done", flush=True)
            for place, cell in found.items():
                table[place].take_in(cell)
    for line in ("", *table_lines(table), "", *summary_lines(table)):
        print(line)


if __name__ == "__main__":
    main(sys.argv[1:])
