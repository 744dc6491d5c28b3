"""What open worksheets cost that ask for news: `python -m tests.benchmarks.worksheets [PAGES] [SECONDS]`.

So many open pages (200, unless said), of half as many counts, each ask for news as often as their script has it, over
HTTP with TLS as a production has it (nginx, gunicorn with two workers), for so many seconds; and in turn, at the same
rate, a bare Django view behind the same middleware, and the page of the worksheet, as without a resource of its own.
Told: how long the answers take, and how much of one processor the service needs. Then the processor time of one
request of each, within one process. The client shares the machine. The database is DATABASE_URL, or an SQLite file.
"""

import os
import re
import sys
import tempfile
import time
from collections.abc import Callable
from http.client import HTTPException
from pathlib import Path
from statistics import median, quantiles
from threading import Thread
from typing import Any

from tests.benchmarks.posting import prepare_settings
from tests.deployment.processes import HOME, HOST, Node, Tls, proxy

CONNECTIONS = 10  # of the client, each for a share of the pages
ROUNDS = 300
Ask = tuple[str, dict[str, str]]


def every_s() -> float:
    """How often a page of a count asks, as its script has it."""
    [milliseconds] = re.findall(
        r"^const COUNT_MS = (\d+);", (HOME / "reels/static/reels/live.js").read_text("utf-8"), re.M
    )
    return int(milliseconds) / 1000


def make_world(pages: int) -> list[tuple[Any, int, str, dict[str, str]]]:
    """For each page: its client, its inspection, the stamp that it has, and its headers."""
    import django

    django.setup()
    from django.conf import settings
    from django.core.management import call_command
    from django.test import Client

    call_command("collectstatic", interactive=False, verbosity=0)
    call_command("migrate", verbosity=0)
    call_command("migrate", run_syncdb=True, verbosity=0)  # the bare view's table
    from django.utils import timezone

    from tests import builders

    cast = builders.Cast()
    opened = []
    for number in range(pages):
        if number % 2 == 0:
            builders.make_reel(f"WB-{number:05}")
            inspection = builders.open_count(cast, f"WB-{number:05}", timezone.now(), has_gauge=False)
        client = Client(SERVER_NAME=HOST)
        client.force_login(cast.verifier if number % 2 else cast.technician)
        stamp = client.get(f"/inspections/{inspection.pk}/stamp", secure=True).json()["stamp"]
        cookie = f"{settings.SESSION_COOKIE_NAME}={client.cookies[settings.SESSION_COOKIE_NAME].value}"
        opened.append((client, inspection.pk, stamp, {"Cookie": cookie, "If-None-Match": f'"{stamp}"'}))
    return opened


def asked(kind: str, inspection: int, number: int) -> str:
    part = "witness" if number % 2 else "worksheet"
    return {"news": f"/inspections/{inspection}/stamp", "bare view": "/bare-rows?rows=1&filler=0",
            "whole page": f"/inspections/{inspection}/{part}"}[kind]  # fmt: skip


def processor_s(node: Node) -> float:
    """What the node's processes have used by now."""
    assert node.process is not None
    ticks = os.sysconf("SC_CLK_TCK")
    fields = [Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split() for pid in node.workers()]
    return sum(int(each[11]) + int(each[12]) for each in fields) / ticks


def under_way(tls: Tls, asks: list[Ask], seconds: float) -> tuple[list[float], int]:
    """Ask for each of these again and again; the seconds that answers took, and how many failed."""
    took: list[float] = []
    failed: list[int] = []

    def share(mine: list[tuple[int, Ask]]) -> None:
        connection, began = tls.connect(timeout=60), time.monotonic()
        for turn in range(int(seconds / every_s())):
            for place, (path, headers) in mine:
                due = began + (turn + place / len(asks)) * every_s()
                time.sleep(max(0, due - time.monotonic()))
                try:
                    connection.request("GET", path, headers={**headers, "Host": HOST})
                    answer = connection.getresponse()
                    answer.read()
                except (OSError, HTTPException):
                    connection = tls.connect(timeout=60)
                    failed.append(0)
                    continue
                took.append(time.monotonic() - due) if answer.status in (200, 304) else failed.append(answer.status)

    numbered = list(enumerate(asks))
    clients = [Thread(target=share, args=(numbered[first::CONNECTIONS],)) for first in range(CONNECTIONS)]
    for each in clients:
        each.start()
    for each in clients:
        each.join()
    return took, len(failed)


def measured(node: Node, tls: Tls, asks: list[Ask], seconds: float) -> str:
    before, began = processor_s(node), time.monotonic()
    took, failed = under_way(tls, asks, seconds)
    elapsed = time.monotonic() - began
    used = (processor_s(node) - before) / elapsed
    late = quantiles(took, n=100)[98] if len(took) > 1 else 0
    half = f"{median(took) * 1000:.0f} ms"
    return f"{len(took) / elapsed:.0f} | {failed} | {half} | {late * 1000:.0f} ms | {used * 100:.0f} %"


def in_process(one: Callable[[], Any]) -> float:
    """The median processor time of a request, in milliseconds."""
    took = []
    for _ in range(ROUNDS):
        started = time.process_time()
        one()
        took.append(time.process_time() - started)
    return median(took[ROUNDS // 10 :]) * 1000


def main(pages: int, seconds: float) -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        prepare_settings(folder)
        print(f"Opening {pages} pages ...", file=sys.stderr)
        opened = make_world(pages)
        client, inspection, stamp, _ = opened[0]

        def once(kind: str) -> Callable[[], Any]:
            path = asked(kind, inspection, 0)
            return lambda: client.get(path, secure=True, headers={"If-None-Match": f'"{stamp}"'})

        single = {kind: in_process(once(kind)) for kind in ("news", "bare view", "whole page")}
        heads = f"{pages} pages, each every {every_s():g} s | answers a second | failed | half within | 99 % within"
        print(f"| {heads} | of one processor | processor time of one |\n{'|---' * 7}|", flush=True)
        node = Node(dict(os.environ)).start()
        try:
            with proxy(folder, [node.ready().port]) as tls:
                for kind, one_ms in single.items():
                    asks = [(asked(kind, pk, number), head) for number, (_, pk, _, head) in enumerate(opened)]
                    under_way(tls, asks, every_s())
                    print(f"| {kind} | {measured(node, tls, asks, seconds)} | {one_ms:.1f} ms |", flush=True)
        finally:
            node.stop()


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 200, float(sys.argv[2]) if len(sys.argv) > 2 else 30)
