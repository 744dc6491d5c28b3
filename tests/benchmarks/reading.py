"""What reading costs as the fleet grows, on a deployment: `python -m tests.benchmarks.reading [REELS…]`.

PostgreSQL with its own durable settings, and for each size of the fleet (1000, 10000 reels, unless said) a database and
a node of its own, as deploy/server starts it. They are asked in turn, so that what else the machine does falls on all
of them; the median of many requests, the last size beside the first: the aim is at most 1.3. A reel has so many counts
(--counts-each, 10), and as many entries. Afterwards, the memory of each process.
"""

import argparse
import os
import re
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from statistics import median
from typing import Any

from tests.deployment import clusters
from tests.deployment.checks import make_world
from tests.deployment.processes import METRICS_TOKEN, Direct, Node, python, settings_of

OWN_REELS = 20  # of the world that is asked; the others are there to be many
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


@dataclass(slots=True)
class FleetOfSize:
    """A database with so many reels, and the node in front of it."""

    reels: int
    counts_each: int
    node: Node
    world: dict[str, Any]

    def ask(self, path: str) -> float:
        """The milliseconds that one request took."""
        ways = {
            "/api/": {"Authorization": f"Bearer {self.world['token']}"},
            "/metrics": {"Authorization": f"Bearer {METRICS_TOKEN}"}, "/": {"Cookie": self.world["cookies"]["control"]},
        }  # fmt: skip
        headers = next(each for start, each in ways.items() if path.startswith(start))
        end = (self.reels - OWN_REELS) * self.counts_each - 50  # the world's own entries come on top
        started = time.perf_counter()
        answer = Direct(self.node.port).send("GET", path.format(end=end), headers=headers)
        took_ms = (time.perf_counter() - started) * 1000
        if answer.status != 200:
            raise SystemExit(f"{path} answered {answer.status}: {answer.body}")
        return took_ms


@contextmanager
def fleet(cluster: clusters.Cluster, folder: Path, reels: int, counts_each: int) -> Iterator[FleetOfSize]:
    cluster.ask(f"CREATE DATABASE fleet_{reels}")
    env = settings_of(folder, f"{cluster.url.rpartition('/')[0]}/fleet_{reels}")
    env["DJANGO_SETTINGS_MODULE"] = "deploy.settings"
    world = make_world(env, OWN_REELS)
    python(env, "manage.py", "collectstatic", "--noinput", "--verbosity", "0")
    python(env, "-m", "tests.benchmarks.reading", "--fill", str(reels - OWN_REELS), "--counts-each", str(counts_each))
    say(f"{reels} reels and {reels * counts_each} counts are there")
    node = Node(env).start()
    try:
        yield FleetOfSize(reels, counts_each, node.ready(), world)
    finally:
        node.stop()


def fill(reels: int, counts_each: int) -> None:
    import django

    django.setup()
    from tests.benchmarks.large_fleet import fill as put_in

    put_in(reels, counts_each)


def measure(fleets: list[FleetOfSize], path: str) -> list[float]:
    """The median of each, in milliseconds, asked in turn."""
    took = [[each.ask(path) for each in fleets] for _ in range(WARM_UP + REQUESTS)]
    return [median(times) for times in zip(*took[WARM_UP:], strict=True)]


def say(line: str) -> None:
    print(f"  {line}", file=sys.stderr, flush=True)


def memory(of: FleetOfSize, cluster: clusters.Cluster) -> Iterator[tuple[str, float]]:
    """In MB: the share of memory of each kind of process (Pss in smaps_rollup), and the size of the database."""
    assert of.node.process is not None
    assert cluster.process is not None
    kinds = {"gunicorn, the master": [of.node.process.pid], "gunicorn, a worker": of.node.workers(),
             "PostgreSQL, all of it": [cluster.process.pid, *cluster.backends()]}  # fmt: skip
    for kind, pids in kinds.items():
        kilobytes = [int(found[1]) for pid in pids if (found := re.search(r"^Pss:\s+(\d+) kB", rollup(pid), re.M))]
        yield kind, (sum(kilobytes) if "all" in kind else max(kilobytes)) / 1024
    size = cluster.ask(f"SELECT pg_database_size('fleet_{of.reels}')")
    yield f"the database of {of.reels} reels, on disk", size[0][0] / 1024**2


def rollup(pid: int) -> str:
    try:
        return Path(f"/proc/{pid}/smaps_rollup").read_text()
    except OSError:
        return ""


def table(fleets: list[FleetOfSize], found: dict[str, list[float]], used: list[tuple[str, float]]) -> str:
    head = "".join(f" {each.reels} reels, {each.reels * each.counts_each} counts |" for each in fleets)
    lines = [f"| read |{head} last beside first |", f"|---|{'---|' * len(fleets)}---|"]
    for name, times in found.items():
        lines.append(f"| {name} |{''.join(f' {ms:.1f} ms |' for ms in times)} {times[-1] / times[0]:.2f} |")
    lines += ["", "| process | size |", "|---|---|", *(f"| {kind} | {mb:.0f} MB |" for kind, mb in used)]
    return "\n".join(lines) + "\n"


def run(sizes: list[int], counts_each: int) -> str:
    with ExitStack() as stack:
        cluster = stack.enter_context(clusters.running(shared_buffers="128MB"))
        fleets = []
        for reels in sizes:
            folder = Path(stack.enter_context(tempfile.TemporaryDirectory()))
            fleets.append(stack.enter_context(fleet(cluster, folder, reels, counts_each)))
        found = {}
        for name, path in READS.items():
            found[name] = measure(fleets, path)
            say(f"{name}: {', '.join(f'{ms:.1f} ms' for ms in found[name])}")
        return table(fleets, found, list(memory(fleets[-1], cluster)))


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
