"""What lists of reels cost as the fleet grows: `python -m tests.benchmarks.board [REELS...] [--counts-each N]`.

For each fleet, 1000 and 20000 reels of 4 counts unless said, the board, the list of reels, their searches, drift,
findings and sign-offs are asked for as a browser asks, through every middleware, and in turn with each a bare Django
view that reads as many reels with their type and site and renders as many rows into a page of the same size. Asked for:
at most 1.5 times the bare view, and at most 1.3 times the smallest fleet's. The databases are SQLite files, or that of
DATABASE_URL for one fleet: `python -m tests.deployment.clusters python -m tests.benchmarks.board 20000`. The rows are
put in without their histories.
"""

import argparse
import json
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from statistics import median
from typing import Any

ROUNDS = 7
NOW = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
PAGES = (
    "/board", "/board?q=0042", "/board?q=Heron%2042", "/board?q=nowhere", "/board?q=tess", "/board?status=held",
    "/board?look=due", "/board?look=flagged", "/reels", "/reels?q=0042", "/reels?q=Heron%2042", "/reels?q=nowhere",
    "/reels?q=4", "/reels?q=bb-", "/reels?q=bb-9", "/reels?q=wren", "/reels?q=tess", "/reels?q=tess&status=held",
    "/reels?status=held", "/reels?type=w28", "/reels?site=kettle-point", "/reels?after={middle}", "/drift",
    "/drift?show=all", "/findings", "/audit",
)  # fmt: skip


def prepare_settings(folder: str) -> None:
    os.environ["DJANGO_SETTINGS_MODULE"] = "tests.benchmarks.bare.settings"
    os.environ.setdefault("DATABASE_URL", f"sqlite:///{folder}/board.sqlite3")


def make_world(reels: int, counts: int, intervals: int) -> Any:
    """A fleet in every status, half of its counts of older records; returns somebody who sees all of it."""
    from django.core.management import call_command

    call_command("migrate", verbosity=0)
    call_command("migrate", run_syncdb=True, verbosity=0)  # the bare view's table, which refers to others
    from django.db import transaction

    from inspections.services import status_rows
    from tests import builders

    cast = builders.Cast()
    with transaction.atomic():
        made = _put_reels(reels)
        _put_counts(made, counts, cast.technician)
        _put_sign_offs(cast)
        _put_elsewhere(made, cast.control)
        _put_drift(intervals)
    _look_at_tables()
    status_rows.AT_ONCE = 2000
    with transaction.atomic():
        for _ in status_rows.rebuild_status_rows():  # as acts would have kept them
            pass
        status_rows.fold()
    _look_at_tables()
    return cast.control


def _look_at_tables() -> None:
    """As PostgreSQL does by itself, a while after rows have come in."""
    from django.db import connection

    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SET statement_timeout = 0")
            cursor.execute("VACUUM ANALYZE")
            cursor.execute("RESET statement_timeout")


def _put_reels(reels: int) -> list[Any]:
    from reels.models import Chain, Reel
    from tests import builders

    kind, site = builders.make_type(), builders.make_site()
    names = [f"BB-{number:05}" for number in range(reels)]
    chains = Chain.objects.bulk_create([Chain(name=f"reel:{name}", length=1, head=name) for name in names])
    received = (NOW - timedelta(days=1500)).date()
    return Reel.objects.bulk_create(
        Reel(serial=name, type=kind, site=site, chain=chain, received_on=received, cable_length_m=420)
        for name, chain in zip(names, chains, strict=True)
    )


def _put_counts(reels: list[Any], counts: int, person: Any) -> None:
    """Half of them of older records, in so many days that no one of them has more than a hundredth of the fleet's."""
    from inspections.domain.words import InspectionState
    from inspections.models import ImportedCount, Inspection

    for back in range(counts):
        for day in range(97):
            at = NOW - timedelta(days=10 * (counts - back) + day, hours=day % 11)
            count = {"reel": reels[0], "recorded_at": at, "layers": 12, "wraps": 10 - back % 3}
            if back < counts // 2:
                row: Any = ImportedCount(counted_at=at, **count)
            else:
                row = Inspection(done_at=at, ended_at=at, parity="even", state=InspectionState.SIGNED, **count,
                                 work_order="WO-1", publication="LWS 12-3", publication_revision="C",
                                 wrap_gauge="WG-7", opened_by=person, parameters={})  # fmt: skip
            _put_for_each("reels_reel", row, {"reel_id": "id"}, f"id % 97 = {day}")


def _put_for_each(table: str, row: Any, columns: dict[str, str], where: str = "1 = 1") -> None:
    """The same row for each of a table's rows, in one statement. columns: what differs, in SQL."""
    from django.db import connection

    names, parts, values = [], [], []
    for field in row._meta.concrete_fields:
        if not field.primary_key:
            names.append(field.column)
            parts.append(columns.get(field.column, "%s"))
            if field.column not in columns:
                values.append(field.get_db_prep_save(field.pre_save(row, add=True), connection))
    into = f"{row._meta.db_table} ({', '.join(names)})"
    sql = f"INSERT INTO {into} SELECT {', '.join(parts)} FROM {table} WHERE {where}"  # noqa: S608  # our own names
    with connection.cursor() as cursor:
        cursor.execute(sql.replace(" % ", " %% "), values)


def _put_sign_offs(cast: Any) -> None:
    """Two of each signed count, by the same two people; of one in a thousand by somebody else."""
    from inspections.domain.words import Meaning, Role
    from inspections.models import Authorisation, Participant, SignOff

    authorisation = Authorisation.objects.filter(person=cast.technician)[0]
    for role, meaning, person in (
        (Role.TECHNICIAN, Meaning.COUNTED, cast.technician), (Role.VERIFIER, Meaning.VERIFIED, cast.verifier),
    ):  # fmt: skip
        here = Participant(inspection_id=1, person=person, role=role, joined_at=NOW)
        _put_for_each("inspections_inspection", here, {"inspection_id": "id", "joined_at": "done_at"})
        signature = SignOff(
            inspection_id=1, participant_id=1, meaning=meaning, person=person, authorisation=authorisation,
            record_digest="0" * 64, statement=b"",
        )  # fmt: skip
        columns = {
            "inspection_id": "inspection_id", "participant_id": "id", "digest": "CAST(id AS VARCHAR(20))",
            "full_name": f"CASE WHEN id % 997 = 0 THEN 'Wren Sallow' ELSE '{person.full_name}' END",
            "signed_at": "joined_at",
        }  # fmt: skip
        _put_for_each("inspections_participant", signature, columns, f"role = '{role}'")


def _put_elsewhere(reels: list[Any], person: Any) -> None:
    """Machines for two reels in three, values for half of them, holds, open counts and retired ones."""
    from inspections.domain.words import InspectionState
    from inspections.models import Finding, Inspection, SetupValues
    from reels.models import Hold, Installation, Machine

    newest = {row.reel_id: row for row in Inspection.objects.order_by("done_at").iterator(2000)}
    kinds = [(reel, number) for number, reel in enumerate(reels)]
    site = reels[0].site
    machines = Machine.objects.bulk_create(
        Machine(serial=f"BM-{number:05}", host=f"Heron {number}", site=site)
        for reel, number in kinds if number % 3
    )  # fmt: skip
    installed = list(zip([reel for reel, number in kinds if number % 3], machines, strict=True))
    Installation.objects.bulk_create(
        Installation(reel=reel, machine=machine, installed_at=NOW, installed_by=person) for reel, machine in installed
    )
    SetupValues.objects.bulk_create(
        SetupValues(reel=reel, machine=machine, inspection=newest[reel.pk], layers=12, wraps=10, parity="even",
                    issued_by=person, issued_at=NOW)
        for reel, machine in installed[::2]
    )  # fmt: skip
    Finding.objects.bulk_create(
        Finding(reel=reel, part="drum", kind="other", kind_words="something else", severity="watch", words="scratched",
                recorded_at=NOW, recorded_by=person)
        for reel in reels[::50]
    )  # fmt: skip
    free = [reel for reel, number in kinds if number % 3 == 0]
    Hold.objects.bulk_create(
        Hold(reel=reel, placed_at=NOW, placed_by=person, reason="A flange is bent.") for reel in free[::9]
    )
    states = (InspectionState.OPEN, InspectionState.REFERRED)
    Inspection.objects.bulk_create(
        Inspection(reel=reel, state=states[number % 2], parameters={}, opened_by=person, recorded_at=NOW, done_at=NOW,
                   work_order="WO-2", publication="LWS 12-3", publication_revision="C",
                   wrap_gauge="WG-7")
        for number, reel in enumerate(free[1::9])
    )  # fmt: skip


def _put_drift(intervals: int) -> None:
    """An assessment of every reel, each with so many intervals; of one reel in eighty one is flagged."""
    from dataclasses import asdict

    from inspections.domain.drift import DEFAULT_PARAMETERS
    from inspections.models import FlaggedReel, LearnedRates
    from reports.models import AssessedInterval, Assessment, FleetAssessment
    from reports.services import assessments

    rates = LearnedRates.objects.create(values=asdict(DEFAULT_PARAMETERS), learned_at=NOW, rows_known=1)
    _put_for_each("reels_reel", Assessment(reel_id=1, rates=rates, made_at=NOW), {"reel_id": "id", "head": "serial"})
    FleetAssessment.objects.create(
        place=0, rates=rates, flag_at=0.99, made_at=NOW,
        type_digests={str(pk): digest for pk, digest in assessments.type_digests().items()},
    )  # fmt: skip
    _put_for_each("reports_assessment", FlaggedReel(reel_id=1), {"reel_id": "reel_id"}, "id % 80 = 0")
    words = {"observed_change_m": 0, "logged_cut_m": 0, "p_when_counted": 0, "cut_m": 1, "cut_low_m": 1,
             "cut_high_m": 2, "explanation": "so", "explanation_ft": "so"}  # fmt: skip
    for back in range(intervals):
        row = AssessedInterval(
            assessment_id=1, from_at=NOW - timedelta(days=10 * back + 10), to_at=NOW - timedelta(days=10 * back),
            p_unlogged_cut=0.001 * (back % 7), **words,
        )  # fmt: skip
        columns = {"assessment_id": "id"}
        if back == 0:
            columns["p_unlogged_cut"] = "CASE WHEN id % 80 = 0 THEN 0.999 ELSE 0 END"
        _put_for_each("reports_assessment", row, columns)


def milliseconds(ask: Callable[[], Any]) -> float:
    begun = time.perf_counter()
    answer = ask()
    taken = (time.perf_counter() - begun) * 1000
    if answer.status_code != 200:
        raise SystemExit(f"It answered {answer.status_code}.")
    return taken


def measure(person: Any, address: str) -> dict[str, Any]:
    """The page and a bare one of the same size and number of rows, in turn."""
    from django.test import Client

    client = Client()
    client.force_login(person)
    html = client.get(address).content.decode()
    rows = html.count("<tr") - html.count("<thead")
    empty = len(client.get(f"/bare-rows?rows={rows}&filler=0").content)
    bare = f"/bare-rows?rows={rows}&filler={max(len(html.encode()) - empty, 0) // max(rows, 1)}"
    pairs = [(milliseconds(lambda: client.get(address)), milliseconds(lambda: client.get(bare))) for _ in range(ROUNDS)]
    ours, theirs = (median(column) for column in zip(*pairs, strict=True))
    return {"rows": rows, "ours": ours, "bare": theirs, "ratio": median(our / their for our, their in pairs)}


def measure_fleet(reels: int, counts: int, intervals: int) -> dict[str, dict[str, Any]]:
    with tempfile.TemporaryDirectory() as folder:
        prepare_settings(folder)
        import django

        django.setup()
        from django.conf import settings

        from inspections.models import ReelStatusRow
        from reels.queries import written_place

        settings.ALLOWED_HOSTS = ["testserver"]
        person = make_world(reels, counts, intervals)
        middle = written_place(ReelStatusRow(serial=f"BB-{reels // 2:05}"), ("serial",))
        return {address: measure(person, address.format(middle=middle)) for address in PAGES}


def table_of(fleets: dict[int, dict[str, dict[str, Any]]]) -> str:
    """Each page's time in each fleet, and beside the bare view's; last, how much the latter grew."""
    sizes = list(fleets)
    lines = ["| page | " + " | ".join(f"{size} reels | of bare" for size in sizes) + " | last beside first |"]
    lines.append("|---" * (2 * len(sizes) + 2) + "|")
    for address in PAGES:
        each = [fleets[size][address] for size in sizes]
        cells = (f"{one['ours']:.1f} ms, {one['rows']} rows | {one['ratio']:.2f}" for one in each)
        lines.append(f"| `{address}` | {' | '.join(cells)} | {each[-1]['ratio'] / each[0]['ratio']:.2f} |")
    return "\n".join(lines)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("reels", type=int, nargs="*", default=[1000, 20000])
    parser.add_argument("--counts-each", type=int, default=4)
    parser.add_argument("--intervals-each", type=int, default=3)
    parser.add_argument("--json", action="store_true", help="one fleet, in this process")
    asked = parser.parse_args()
    if asked.json:
        sys.stdout.write(json.dumps(measure_fleet(asked.reels[0], asked.counts_each, asked.intervals_each)))
        return
    fleets = {}
    for size in asked.reels:  # each in a process of its own: its settings name its database
        command = [sys.executable, "-m", __spec__.name, str(size), "--counts-each", str(asked.counts_each),
                   "--intervals-each", str(asked.intervals_each), "--json"]  # fmt: skip
        fleets[size] = json.loads(subprocess.run(command, check=True, stdout=subprocess.PIPE).stdout)
    sys.stdout.write(table_of(fleets) + "\n")


if __name__ == "__main__":
    main()
