"""What reading costs as the fleet grows, on a deployment: `python -m tests.benchmarks.reading [REELS…]`.

PostgreSQL with its own durable settings, gunicorn as deploy/server starts it, and for each size of the fleet (1000,
10000 reels, unless said) the median of many requests, the last size beside the first: the aim is at most 1.3. A reel
has so many counts (--counts-each, 10), and as many entries. Afterwards, the memory of each process. On a
busy machine only the ratios say anything.
"""

import argparse
import json
import os
import re
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from statistics import median
from typing import Any

from tests.deployment import clusters
from tests.deployment.processes import METRICS_TOKEN, Direct, Node, python, settings_of

REQUESTS = 40
WARM_UP = 5
READS = {
    "a reel": "/api/v1/reels/LD-00000",
    "a reel's history": "/api/v1/reels/LD-00000/history",
    "the first 50 reels": "/api/v1/reels",
    "the last 50 of the feed": "/api/v1/changes?page_size=50&after={end}",
    "the feed from its beginning": "/api/v1/changes?page_size=50&after=0",
    "the page of a reel": "/reels/LD-00000",
    "the board": "/board",
    "the metrics": "/metrics",
}


def grow(env: dict[str, str], reels: int, counts_each: int) -> None:
    """Fill the tables up to so many reels, and have the feed numbered; in a process of its own."""
    python(env, "-m", "tests.benchmarks.reading", "--fill", str(reels), "--counts-each", str(counts_each))


def fill(reels: int, counts_each: int) -> None:
    import django

    django.setup()
    from reels.models import Reel
    from reels.services import feed
    from tests.benchmarks.large_fleet import fill as put_in

    put_in(reels - Reel.objects.count(), counts_each)
    feed.number_waiting()


def timed(client: Direct, path: str, headers: dict[str, str]) -> float:
    """The median of many requests, in milliseconds."""
    took = []
    for _ in range(WARM_UP + REQUESTS):
        started = time.perf_counter()
        answer = client.send("GET", path, headers=headers)
        took.append((time.perf_counter() - started) * 1000)
        if answer.status != 200:
            raise SystemExit(f"{path} answered {answer.status}: {answer.body}")
    return median(took[WARM_UP:])


def measure(node: Node, world: dict[str, Any], reels: int, counts_each: int) -> dict[str, float]:
    client = Direct(node.port)
    script = {"Authorization": f"Bearer {world['token']}"}
    ways = {
        "/api/": script, "/metrics": {"Authorization": f"Bearer {METRICS_TOKEN}"},
        "/": {"Cookie": world["cookies"]["control"]},
    }  # fmt: skip
    end = (reels - 20) * counts_each - 50  # the world's own entries come on top
    found = {}
    for name, path in READS.items():
        headers = next(each for start, each in ways.items() if path.startswith(start))
        found[name] = timed(client, path.format(end=end), headers)
        print(f"  {reels} reels, {name}: {found[name]:.1f} ms", file=sys.stderr)
    return found


def memory(node: Node, cluster: clusters.Cluster) -> Iterator[tuple[str, float]]:
    """In MB: the share of memory of each kind of process (Pss in smaps_rollup), and the size of the database."""
    assert node.process is not None
    assert cluster.process is not None
    kinds = {"gunicorn, the master": [node.process.pid], "gunicorn, a worker": node.workers(),
             "PostgreSQL, all of it": [cluster.process.pid, *cluster.backends()]}  # fmt: skip
    for kind, pids in kinds.items():
        kilobytes = [int(found[1]) for pid in pids if (found := re.search(r"^Pss:\s+(\d+) kB", rollup(pid), re.M))]
        yield kind, (sum(kilobytes) if "all" in kind else max(kilobytes)) / 1024
    yield "the database, on disk", cluster.ask("SELECT pg_database_size('postgres')")[0][0] / 1024**2


def rollup(pid: int) -> str:
    try:
        return Path(f"/proc/{pid}/smaps_rollup").read_text()
    except OSError:
        return ""


def table(sizes: list[int], counts_each: int, found: dict[int, dict[str, float]], used: list[tuple[str, float]]) -> str:
    head = "".join(f" {size} reels, {size * counts_each} counts |" for size in sizes)
    lines = [f"| read |{head} last beside first |", f"|---|{'---|' * len(sizes)}---|"]
    for name in READS:
        times = [found[size][name] for size in sizes]
        lines.append(f"| {name} |{''.join(f' {ms:.1f} ms |' for ms in times)} {times[-1] / times[0]:.2f} |")
    lines += ["", "| process | size |", "|---|---|", *(f"| {kind} | {mb:.0f} MB |" for kind, mb in used)]
    return "\n".join(lines) + "\n"


def run(sizes: list[int], counts_each: int) -> str:
    with tempfile.TemporaryDirectory() as name, clusters.running(shared_buffers="128MB") as cluster:
        env = settings_of(Path(name), cluster.url)
        env["DJANGO_SETTINGS_MODULE"] = "deploy.settings"
        python(env, "manage.py", "migrate", "--verbosity", "0")
        python(env, "manage.py", "collectstatic", "--noinput", "--verbosity", "0")
        world = json.loads(python(env, "-m", "tests.deployment.world", "20"))
        node = Node(env).start()
        try:
            node.ready()
            found = {}
            for size in sizes:
                grow(env, size, counts_each)
                found[size] = measure(node, world, size, counts_each)
            return table(sizes, counts_each, found, list(memory(node, cluster)))
        finally:
            node.stop()


if __name__ == "__main__":
    asked = argparse.ArgumentParser(description="What reading costs as the fleet grows.")
    asked.add_argument("reels", type=int, nargs="*", default=[1000, 10000])
    asked.add_argument("--counts-each", type=int, default=10, help="how many counts, and entries, a reel has")
    asked.add_argument("--fill", type=int, help=argparse.SUPPRESS)
    given = asked.parse_args()
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "deploy.settings")
    if given.fill:
        fill(given.fill, given.counts_each)
        sys.exit()
    print(run(sorted(given.reels), given.counts_each), end="")
