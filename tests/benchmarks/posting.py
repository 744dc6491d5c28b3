"""What posting a full inspection costs: `python -m tests.benchmarks.posting [INSPECTIONS]`.

A script's token posts whole inspections over HTTP, two requests each: the count is opened with its preparation, and
both people's readings are posted, compared and worked out. Beside it, in the same run and in turn, a bare Django REST
framework view with the same authentication gets as many requests and inserts as many rows, one transaction a request.
(Signatures are left out: they hash a password slowly, on purpose.) The database is DATABASE_URL, or an SQLite file;
for a durable PostgreSQL: `python -m tests.deployment.clusters python -m tests.benchmarks.posting`. The rest is as in
production: its settings, gunicorn with two workers, and nginx with TLS in front, on one connection that is kept.
On a busy machine the clock wavers, and the processor time of the same requests within one process says more (on SQLite,
whose work is in it).
"""

import json
import os
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from statistics import median
from typing import Any

from tests.deployment.processes import HOST, Node, Tls, proxy, settings_of

WARM_UP = 10


def prepare_settings(folder: Path) -> None:
    """A production's, with the bare view beside the service; from here on they are this process's own, too."""
    os.environ.update(settings_of(folder, os.environ.get("DATABASE_URL", f"sqlite:///{folder}/posting.sqlite3")))
    os.environ["DJANGO_SETTINGS_MODULE"] = "tests.benchmarks.bare.settings"


def make_world(inspections: int) -> tuple[str, list[str]]:
    """The people, a token, and a reel for each inspection."""
    import django

    django.setup()
    from django.core.management import call_command

    call_command("collectstatic", interactive=False, verbosity=0)
    call_command("migrate", verbosity=0)
    call_command("migrate", run_syncdb=True, verbosity=0)  # the bare table, which refers to the others
    from reels.domain.words import Scope
    from tests import builders
    from tests.api_fixtures import make_token

    cast = builders.Cast()
    builders.make_gauge()
    serials = [f"PB-{number:05}" for number in range(inspections)]
    for serial in serials:
        builders.make_reel(serial)
    return make_token(cast.technician, Scope.READINGS, Scope.READ), serials


class Client:
    """A script with its token. send: takes path, body and headers; gives status and content."""

    def __init__(self, token: str, send: Callable[[str, str, dict[str, str]], tuple[int, bytes]]) -> None:
        self.token, self.send, self.sent = token, send, 0

    def post(self, path: str, body: Any) -> dict[str, Any]:
        self.sent += 1
        headers = {
            "Authorization": f"Bearer {self.token}", "Content-Type": "application/json",
            "Idempotency-Key": f'"{time.time_ns()}-{self.sent}"',
        }  # fmt: skip
        status, content = self.send(path, json.dumps(body), headers)
        if status != 201:
            raise SystemExit(f"{path} answered {status}: {content.decode()}")
        answer: dict[str, Any] = json.loads(content)
        return answer


def over_http(token: str, tls: Tls) -> Client:
    """A client with one connection to the proxy, kept open."""
    connection = tls.connect(timeout=60)

    def send(path: str, body: str, headers: dict[str, str]) -> tuple[int, bytes]:
        connection.request("POST", path, body, headers)
        response = connection.getresponse()
        return response.status, response.read()

    return Client(token, send)


def in_process(token: str) -> Client:
    """A client of the service in this very process, whose statements can be counted."""
    from django.test import Client as Requests

    requests = Requests(SERVER_NAME=HOST)

    def send(path: str, body: str, headers: dict[str, str]) -> tuple[int, bytes]:
        response = requests.post(path, body, content_type="application/json", headers=headers, secure=True)
        return response.status_code, response.content

    return Client(token, send)


def post_inspection(client: Client, serial: str) -> None:
    from tests.api_fixtures import HOLD_POINTS, PREPARATION
    from tests.builders import GOOD

    opened = client.post(f"/api/v1/reels/{serial}/inspections", {**PREPARATION, "technician": "tess"})
    seen = {"serial": serial, **GOOD}
    points = {name: seen[name] for name in HOLD_POINTS}
    gauge = {"wrap_gauge": "WG-RM-7", "end_marks_match": True, "is_back": True}
    body = {"gauge": gauge, "technician": {"person": "tess", **seen}, "verifier": {"person": "vic", **points}}
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


def statements(post: Callable[[], None]) -> str:
    """How many statements of each kind the database is given while something is posted."""
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    with CaptureQueriesContext(connection) as seen:
        post()
    kinds = Counter(query["sql"].split()[0] for query in seen.captured_queries)
    return f"{len(seen)} statements, " + ", ".join(f"{count} {kind}" for kind, count in sorted(kinds.items()))


def count(client: Client, serials: list[str]) -> tuple[int, int]:
    """Say what one inspection gives the database to do; the rows that it stores with each request."""
    before = rows_stored()
    post_inspection(client, serials[0])
    opening = 6  # inspection, participant, reading, history entry, place in the feed, submission
    rows = (opening, rows_stored() - before - opening)
    print(f"An inspection stores {sum(rows)} rows in 2 requests; so does the bare view.")
    print(f"The service: {statements(lambda: post_inspection(client, serials[1]))}.")
    print(f"The bare view: {statements(lambda: post_bare(client, serials[1], rows))}.")
    return rows


def measure(client: Client, serials: list[str], rows: tuple[int, int], clock: Callable[[], float]) -> str:
    """The medians of what an inspection and a bare one take by this clock, posted in turn after a few to warm up."""
    took: list[tuple[float, float]] = []
    for serial in serials:
        started = clock()
        post_inspection(client, serial)
        between = clock()
        post_bare(client, serial, rows)
        took.append((between - started, clock() - between))
    service, bare = (median(column) for column in zip(*took[WARM_UP:], strict=True))
    return f"an inspection {service * 1000:.1f} ms, bare {bare * 1000:.1f} ms, rate {bare / service:.2f} of bare"


@contextmanager
def serving(folder: Path) -> Iterator[Tls]:
    """A node behind the proxy, until the block ends."""
    node = Node(dict(os.environ)).start()
    try:
        with proxy(folder, [node.ready().port]) as tls:
            yield tls
    finally:
        node.stop()


def main(inspections: int) -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        prepare_settings(folder)
        print(f"Making {inspections} reels ...", file=sys.stderr)
        token, serials = make_world(inspections)
        inside, half = in_process(token), inspections // 2
        rows = count(inside, serials)
        with serving(folder) as tls:
            print(
                f"Over HTTP, by the clock: {measure(over_http(token, tls), serials[2:half], rows, time.perf_counter)}"
            )
        print(f"Without, by processor time: {measure(inside, serials[half:], rows, time.process_time)}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 402)
