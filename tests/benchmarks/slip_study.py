"""What becomes of people's slips: `python -m tests.benchmarks.slip_study [INSPECTIONS]`.

So many simulated inspections (10,000), each driven through the services from the preparation to values that are
confirmed in the machine: 38 % of them sound, the others with one slip each, of every kind alike often. Reels have 4 to
12 earlier counts, logged cuts, and are wound a little more or less loosely each time; nothing is lost unlogged. Each
inspection is taken back after it was looked at. A slip is caught when any check stops the work before the values are
confirmed: the preparation, the serial, the gauge, the comparison of the two, a rule of counting, the reel's history,
the read-back. Types accept unusual counts; with types that hold them, flush and stepped-down counts would be referred
on top.
"""

import argparse
import os
import sys
import tempfile
from collections import defaultdict
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from datetime import datetime
from itertools import repeat
from multiprocessing import get_context
from typing import TYPE_CHECKING, Any

import numpy as np

from tests.benchmarks.slip_fleet import (
    OTHER_MACHINES,
    PAST_DUE,
    RIGHT_GAUGE,
    SUPERSEDED_REVISION,
    Known,
    KnownType,
    make_fleet,
)
from tests.benchmarks.slip_tables import (
    AT_THE_MACHINE,
    BOTH,
    COPIED,
    GAUGE_COPIED,
    GAUGE_PAST_DUE,
    GAUGE_TURNED,
    HALF_BY_HABIT,
    HALF_BY_WORDS,
    MARKS_DIFFER,
    MORE_OFF,
    NOT_FITTING,
    ONE,
    ONE_OFF,
    OTHERS_GAUGE,
    READ_OFF_THE_THING,
    REEL_COPIED,
    RIGHT,
    SOUND,
    STALE,
    STOP_AS_WATCH,
    STOP_IGNORED,
    STOPS,
    SUPERSEDED,
    WRONG_GAUGES,
    WRONG_REEL,
    SlipCell,
    Table,
    summary_lines,
    table_lines,
)
from tests.benchmarks.slip_team import BEFORE_ALL, BEFORE_ISSUE, BEFORE_SIGNING, Case, GaugeInHand, SeenStop, Team

if TYPE_CHECKING:
    from tests.builders import Cast

SOUND_SHARE = 0.38
PART = 1000  # inspections, with a fleet of their own
PEOPLE = ("technician", "verifier")
STOP_MOMENTS = (BEFORE_ALL, *(f"before step {number}" for number in range(6)), BEFORE_SIGNING, BEFORE_ISSUE)


# The slips, one after the other -------------------------------------------------------------------------------------


def cells(aims: bool = False) -> list[tuple[str, str]]:
    """Every kind of slip with who makes it. aims: those alone of which almost all have to be caught."""
    from tests.benchmarks.slips import READING_SLIPS

    every = [
        *((kind, who) for kind in (*READING_SLIPS, WRONG_REEL, REEL_COPIED) for who in (ONE, BOTH)),
        *((kind, ONE) for kind in WRONG_GAUGES), (GAUGE_TURNED, BOTH), (GAUGE_COPIED, ONE), (SUPERSEDED, ONE),
        (STOP_IGNORED, ONE), (STOP_AS_WATCH, ONE), (HALF_BY_HABIT, ONE), (HALF_BY_HABIT, BOTH), (HALF_BY_WORDS, BOTH),
        (STALE, ONE), (COPIED, ONE), (COPIED, BOTH),
    ]  # fmt: skip
    return [each for each in every if each[0] in (*READ_OFF_THE_THING, *STOPS)] if aims else every


def make_case(kind: str, who: str, fleet: Sequence[Known], rng: np.random.Generator) -> tuple[Case, Any]:
    """An inspection with this slip, and the reel as it truly lies; drawn again where the slip cannot be made."""
    while True:
        known = fleet[int(rng.integers(len(fleet)))]
        reel = known.today(rng)
        if made := _case(kind, who, known, reel, fleet, rng):
            return made, reel


def _case(kind: str, who: str, known: Known, reel: Any, fleet: Sequence[Known],
          rng: np.random.Generator) -> Case | None:  # fmt: skip
    from tests.benchmarks.slips import seen_on

    right = {**seen_on(reel), "serial": known.serial}
    sound = Case(serial=known.serial, keyed=dict.fromkeys(PEOPLE, right), wraps_off=0,
                 gauge=GaugeInHand(serial=f"{RIGHT_GAUGE}-{known.type.code}"))  # fmt: skip
    if kind == SOUND:
        return sound
    if kind == SUPERSEDED:
        return replace(sound, preparation={"publication_revision": SUPERSEDED_REVISION})
    if kind in WRONG_GAUGES:
        return replace(sound, gauge=_wrong_gauge(kind, known, fleet))
    if kind in (STOP_IGNORED, STOP_AS_WATCH):
        moment = STOP_MOMENTS[int(rng.integers(len(STOP_MOMENTS)))]
        return replace(sound, stop=SeenStop(moment=moment, severity="stop" if kind == STOP_IGNORED else "watch"))
    if kind in AT_THE_MACHINE:
        return _at_the_machine(kind, who, sound, known, reel, rng)
    return _misread(kind, who, sound, known, reel, fleet, rng)


def _wrong_gauge(kind: str, known: Known, fleet: Sequence[Known]) -> GaugeInHand:
    """Read off the gauge itself; back at RM-7 the serial is keyed that belongs there."""
    right, other_type = f"{RIGHT_GAUGE}-{known.type.code}", _another_type(known, fleet).code
    serials = {NOT_FITTING: f"{RIGHT_GAUGE}-{other_type}", GAUGE_PAST_DUE: f"{PAST_DUE}-{known.type.code}",
               OTHERS_GAUGE: f"{OTHER_MACHINES}-{known.type.code}", MARKS_DIFFER: right}  # fmt: skip
    return GaugeInHand(serial=serials[kind], marks_match=kind != MARKS_DIFFER, returned=right)


def _another_type(known: Known, fleet: Sequence[Known]) -> KnownType:
    return next(each.type for each in fleet if each.type is not known.type)


def _at_the_machine(kind: str, who: str, sound: Case, known: Known, reel: Any, rng: np.random.Generator) -> Case | None:
    machine = known.last if kind == STALE else _mis_set(reel.setup_values, rng)
    copies = {STALE: 0, COPIED: 1 if who == ONE else 2}[kind]
    off = _turns(reel, machine) - reel.turns
    return replace(sound, wraps_off=off, machine=machine, copies=copies) if off else None


def _misread(kind: str, who: str, sound: Case, known: Known, reel: Any, fleet: Sequence[Known],
             rng: np.random.Generator) -> Case | None:  # fmt: skip
    """What one of the two, or both alike, key otherwise than it is; the other keys what is there."""
    from tests.benchmarks.slips import wraps_off

    right = sound.keyed["technician"]
    slipped, others = _slipped(kind, reel, right, fleet, known, rng)
    if slipped is None or (slipped == right and kind != HALF_BY_WORDS):
        return None
    is_alone = who == ONE and kind != GAUGE_COPIED  # both read the gauge that the technician brought
    first = bool(rng.random() < 0.5)
    keyed = {"technician": others if is_alone and not first else slipped,
             "verifier": others if is_alone and first else slipped}  # fmt: skip
    return replace(sound, keyed=keyed, wraps_off=wraps_off(reel, slipped))


def _slipped(kind: str, reel: Any, right: dict[str, Any], fleet: Sequence[Known], known: Known,
             rng: np.random.Generator) -> tuple[dict[str, Any] | None, dict[str, Any]]:  # fmt: skip
    """What whoever slips keys, and what the other one does."""
    from tests.benchmarks.slips import READING_SLIPS, read_on_another_gauge, seen_on, wrong_face_unseen

    layer = reel.as_read[0] - (reel.as_read[1] == 0)
    capacity = int(reel.shape.capacities[layer])
    if kind == GAUGE_TURNED:
        return wrong_face_unseen(right, capacity, rng), right
    if kind == GAUGE_COPIED:
        other_drum = _another_type(known, fleet).drum
        return read_on_another_gauge(right, known.type.drum.cable_diameter_mm / other_drum.cable_diameter_mm), right
    if kind in (HALF_BY_HABIT, HALF_BY_WORDS):
        return _by_habit(kind, known, right, fleet), right
    if kind not in (WRONG_REEL, REEL_COPIED):
        return READING_SLIPS[kind](right, capacity, rng), right
    alike = [each for each in fleet if each.type is known.type and each is not known]
    other = alike[int(rng.integers(len(alike)))]
    there = {**seen_on(other.today(rng)), "serial": other.serial}
    return ({**there, "serial": known.serial}, there) if kind == REEL_COPIED else (there, right)


def _by_habit(kind: str, known: Known, right: dict[str, Any], fleet: Sequence[Known]) -> dict[str, Any] | None:
    """Where the crossover lies is seen rightly, and named as on another type; who reads the choices takes its words.

    None where that type has no word for the place, or the same one.
    """
    from inspections.domain.reading import Half
    from inspections.domain.type_words import half_in_words
    from inspections.queries.parameters import parameters_json
    from reels.domain.reel_figures import drum_of
    from reels.domain.words import LinePlace, Side, where_halves_lie
    from reels.models import ReelType
    from tests.benchmarks.slips import SIDES_SAID, half_by_place

    own, others = (where_halves_lie(LinePlace(line), Side(side)) for line, side, _ in
                   (known.type.geometry, _another_type(known, fleet).geometry))  # fmt: skip
    place = own[right["crossover_half"] == Half.SECOND]
    habit = half_by_place(place, others)
    if habit is None or habit == right["crossover_half"]:
        return None
    if kind == HALF_BY_HABIT:
        return {**right, "crossover_half": habit}
    drum = drum_of(parameters_json(ReelType.objects.get(code=known.type.code)), known.type.geometry[1])
    words = [half_in_words(half, drum) for half in (Half.FIRST, Half.SECOND)]
    return {**right, "crossover_half": half_by_place(SIDES_SAID[place], words)}


def _mis_set(values: tuple[int, int], rng: np.random.Generator) -> tuple[int, int]:
    """What a hand at the machine's knobs may leave there."""
    layers, wraps = values
    off = int(rng.choice([-2, -1, 1, 2, 10]))
    return (max(layers + off, 0), wraps) if rng.random() < 0.3 else (layers, max(wraps + off, 0))


def _turns(reel: Any, numbers: tuple[int, int]) -> int:
    layers, wraps = numbers
    return int(reel.shape.turns_below[min(layers, len(reel.shape.turns_below) - 1)]) + wraps


def study(numbers: range, of: int, seed: Sequence[int], cast: "Cast", now: datetime, *, aims: bool = False) -> Table:
    """Work these inspections of all, and give what became of each. Every inspection's rows are taken back.

    aims: only slips of READ_OFF_THE_THING and STOPS, and no sound inspection.
    """
    from django.db import transaction

    rng = np.random.default_rng(list(seed))
    fleet = make_fleet(max(12, min(len(numbers) // 20, 120)), rng, now)
    team, table, kinds = Team(cast, now), defaultdict[tuple[str, str], SlipCell](SlipCell), cells(aims)
    sound = 0 if aims else round(of * SOUND_SHARE)
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


def study_part(part: int, parts: int, inspections: int, seed: int, aims: bool) -> Table:
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
            return study(range(part, inspections, parts), inspections, (seed, part), Cast(), NOW, aims=aims)


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the study and print it."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.slip_study", description=__doc__)
    parser.add_argument("inspections", nargs="?", type=int, default=10_000)
    parser.add_argument("--seed", type=int, default=5)
    parser.add_argument("--processes", type=int, default=2, help="they change nothing but how long it takes")
    parser.add_argument("--aims", action="store_true", help="only wrong reels and gauges, and stop findings")
    chosen = parser.parse_args(arguments)
    places = cells(chosen.aims) if chosen.aims else [(SOUND, ""), *cells()]
    table: Table = {place: SlipCell() for place in places}
    with ProcessPoolExecutor(chosen.processes, max_tasks_per_child=1, mp_context=get_context("spawn")) as pool:
        parts = max(1, round(chosen.inspections / PART))
        rest = (repeat(parts), repeat(chosen.inspections), repeat(chosen.seed), repeat(chosen.aims))
        for part, found in enumerate(pool.map(study_part, range(parts), *rest), start=1):
            print(f"part {part} of {parts} is done", flush=True)
            for place, cell in found.items():
                table[place].take_in(cell)
    for line in ("", *table_lines(table), "", *summary_lines(table)):
        print(line)


if __name__ == "__main__":
    main(sys.argv[1:])
