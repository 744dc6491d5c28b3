"""What becomes of a storm of connections, on a deployment: `python -m tests.benchmarks.storm [CONNECTIONS…]`.

PostgreSQL, two nodes and nginx as deploy/server has them, and so many clients (50, 200, 800, unless said) that all
connect at once, each with a TLS handshake of its own, and ask for a page that reads the database. The client is in
Python and shares the machine, so the times are those of both.
"""

import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from http.client import HTTPException
from pathlib import Path
from statistics import median
from threading import Barrier, Thread
from typing import Any

from tests.deployment import clusters
from tests.deployment.checks import make_world
from tests.deployment.processes import Node, Tls, proxy, python, settings_of

WAIT_S = 120
PATH = "/api/v1/reels/LD-00000"


def storm(tls: Tls, headers: dict[str, str], connections: int) -> str:
    """One row: how many clients got their answer, what the others got, and the seconds that it took."""
    took: list[float] = []
    others: list[str] = []
    at_once = Barrier(connections)

    def ask() -> None:
        at_once.wait()
        started = time.perf_counter()
        try:
            status = tls.send("GET", PATH, headers=headers, timeout=WAIT_S).status
        except (OSError, HTTPException) as failed:
            others.append(type(failed).__name__)
        else:
            took.append(time.perf_counter() - started) if status == 200 else others.append(str(status))

    clients = [Thread(target=ask) for _ in range(connections)]
    for each in clients:
        each.start()
    for each in clients:
        each.join()
    others_said = ", ".join(f"{others.count(kind)} × {kind}" for kind in sorted(set(others))) or "none"
    times = f"{median(took):.1f} s | {max(took):.1f} s" if took else "– | –"
    return f"| {connections} | {len(took)} | {others_said} | {times} |"


@contextmanager
def deployment() -> Iterator[tuple[Tls, dict[str, Any]]]:
    """A proxy in front of two nodes, and the world that is in their database."""
    with tempfile.TemporaryDirectory() as name, clusters.running() as cluster:
        folder = Path(name)
        env = settings_of(folder, cluster.url)
        world = make_world(env, 1)
        python(env, "manage.py", "collectstatic", "--noinput", "--verbosity", "0")
        nodes = [Node(env).start() for _ in range(2)]
        try:
            with proxy(folder, [node.ready().port for node in nodes]) as tls:
                yield tls, world
        finally:
            for node in nodes:
                node.stop()


def main(sizes: list[int]) -> None:
    print("| connections at once | answered | others | half within | all within |\n|---|---|---|---|---|", flush=True)
    with deployment() as (tls, world):
        headers = {"Authorization": f"Bearer {world['token']}"}
        tls.send("GET", PATH, headers=headers)
        for connections in sizes:
            print(storm(tls, headers, connections), flush=True)


if __name__ == "__main__":
    main([int(each) for each in sys.argv[1:]] or [50, 200, 800])
