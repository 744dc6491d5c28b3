"""What posting a full inspection costs: `python -m tests.benchmarks.posting [INSPECTIONS]`.

A script's token posts whole inspections over HTTP, two requests each: the count is opened with its preparation, and
both people's readings are posted, compared and worked out. Beside it, in the same run and in turn, a bare Django REST
framework view with the same authentication gets as many requests and inserts as many rows, one transaction a request.
(Signatures are left out: they hash a password slowly, on purpose.) The database is DATABASE_URL, or an SQLite file;
for PostgreSQL: `python tests/postgres.py python -m tests.benchmarks.posting`. The server is gunicorn with two workers.
"""

import json
import os
import subprocess
import sys
import tempfile
import time
from http.client import HTTPConnection
from pathlib import Path
from statistics import median
from typing import Any

HOME = Path(__file__).parents[2]
ROUNDS = 7
PORT = 8791


def prepare_settings(folder: str) -> None:
    os.environ["DJANGO_SETTINGS_MODULE"] = "tests.benchmarks.bare.settings"
    os.environ.setdefault("DATABASE_URL", f"sqlite:///{folder}/posting.sqlite3")


def make_world(count: int) -> tuple[str, list[str]]:
    """The people, a token, and a reel for each inspection; in a process of its own server's database."""
    import django

    django.setup()
    from django.core.management import call_command

    call_command("migrate", verbosity=0)
    call_command("migrate", run_syncdb=True, verbosity=0)  # the bare table, which refers to the others
    from reels.domain.words import Scope
    from tests import builders
    from tests.api_fixtures import make_token

    cast = builders.Cast()
    builders.make_machine("RM-7")
    serials = [f"PB-{number:05}" for number in range(count)]
    for serial in serials:
        builders.make_reel(serial)
    return make_token(cast.technician, Scope.READINGS, Scope.READ), serials


class Client:
    """One connection to the server, kept open."""

    def __init__(self, token: str) -> None:
        self.connection = HTTPConnection("127.0.0.1", PORT, timeout=60)
        self.token, self.sent = token, 0

    def post(self, path: str, body: Any) -> dict[str, Any]:
        self.sent += 1
        headers = {
            "Authorization": f"Bearer {self.token}", "Content-Type": "application/json",
            "Idempotency-Key": f'"{time.time_ns()}-{self.sent}"',
        }  # fmt: skip
        self.connection.request("POST", path, json.dumps(body), headers)
        response = self.connection.getresponse()
        answer: dict[str, Any] = json.loads(response.read())
        if response.status != 201:
            raise SystemExit(f"{path} answered {response.status}: {answer}")
        return answer


def post_inspection(client: Client, serial: str) -> None:
    from tests.api_fixtures import HOLD_POINTS, PREPARATION
    from tests.builders import GOOD

    opened = client.post(f"/api/v1/reels/{serial}/inspections", {**PREPARATION, "technician": "tess"})
    points = {name: GOOD[name] for name in HOLD_POINTS}
    body = {"technician": {"person": "tess", **GOOD}, "verifier": {"person": "vic", **points}}
    client.post(f"/api/v1/inspections/{opened['id']}/readings", body)


def post_bare(client: Client, serial: str, rows: tuple[int, int]) -> None:
    row = {"point": "hand_count", "value": {"face": "even", "wraps": 12}, "digest": "0" * 64}
    for count in rows:
        client.post(f"/bare/{serial}", [row] * count)


def rows_stored() -> int:
    """Rows in every table that a posted inspection writes to."""
    from inspections.models import Inspection, Keying, Participant, Reading
    from reels.models import FeedPlace, HistoryEntry, Submission

    tables = (Inspection, Participant, Reading, Keying, HistoryEntry, FeedPlace, Submission)
    return sum(table._default_manager.count() for table in tables)


def measure(client: Client, serials: list[str]) -> list[tuple[float, float]]:
    """Seconds for each round's inspections, and for as many bare ones, in turn. The first round only warms up."""
    before = rows_stored()
    each = len(serials) // (ROUNDS + 1)
    post_inspection(client, serials[0])
    opening = 6  # inspection, participant, reading, history entry, place in the feed, submission
    rows = (opening, rows_stored() - before - opening)
    print(f"An inspection stores {sum(rows)} rows in 2 requests; so does the bare view.")
    pairs = []
    for number in range(ROUNDS + 1):
        batch = serials[1 + number * each : 1 + (number + 1) * each]
        started = time.perf_counter()
        for serial in batch:
            post_inspection(client, serial)
        between = time.perf_counter()
        for serial in batch:
            post_bare(client, serial, rows)
        ended = time.perf_counter()
        if number:
            pairs.append(((between - started) / len(batch), (ended - between) / len(batch)))
            print(f"round {number} of {ROUNDS}: {_line(*pairs[-1])}", flush=True)
    return pairs


def _line(service: float, bare: float) -> str:
    return f"an inspection {service * 1000:.1f} ms, bare {bare * 1000:.1f} ms, rate {bare / service:.2f} of bare"


def main(count: int) -> None:
    with tempfile.TemporaryDirectory() as folder:
        prepare_settings(folder)
        print(f"Making {count} reels ...", flush=True)
        token, serials = make_world(count)
        where = f"127.0.0.1:{PORT}"
        command = [sys.executable, "-m", "gunicorn", "deploy.wsgi", "-c", "python:deploy.serving", "--bind", where]
        server = subprocess.Popen([*command, "--workers", "2", "--log-level", "error"], cwd=HOME)
        try:
            subprocess.run([sys.executable, "deploy/port.py", "wait", str(PORT)], check=True, cwd=HOME)
            pairs = measure(Client(token), serials)
        finally:
            server.terminate()
            server.wait()
        print(f"median: {_line(*(median(column) for column in zip(*pairs, strict=True)))}")
        print(f"median of the rounds' rates: {median(bare / service for service, bare in pairs):.2f} of bare")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 401)
