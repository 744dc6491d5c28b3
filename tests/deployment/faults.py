"""The service and its database are killed, again and again, under load: `python -m tests.deployment.faults`.

    python -m tests.deployment.faults --database sqlite --kills 200
    python -m tests.deployment.faults --database postgresql --kills 200 --seed 2

Each round lets people and a script count reels, kills something with `kill -9` at a random moment, starts it again, and
looks whether all that was ever acknowledged is in the records, once, and every history whole. Exit 1 at the first loss.
After so many kills (KILLS_A_WORLD) it goes on with a new database, for each look reads all there is.
On SQLite the database is part of the service's processes, so that each of them is what is killed. `kill -9` leaves the
machine running: what the operating system was given is written. A loss of power is another matter (see operations.md).
"""

import argparse
import os
import random
import signal
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tests.deployment import clusters
from tests.deployment.checks import figures, make_world, wrong
from tests.deployment.load import Load
from tests.deployment.processes import Direct, Node, settings_of

MOST_WAIT_S = 1.5
REELS_A_ROUND = 8
KILLS_A_WORLD = 25

Say = Callable[[str], None]


@dataclass(slots=True)
class Victims:
    """What may be killed, and how it comes back."""

    node: Node
    cluster: clusters.Cluster | None
    chance: random.Random

    def kinds(self) -> list[str]:
        return ["process", "node"] + (["backend", "database"] if self.cluster else [])

    def kill(self, kind: str) -> None:
        if kind == "process":
            self._kill_one_of(self.node.workers())
        elif kind == "node":
            self.node.kill()
            self.node.start()
        elif self.cluster and kind == "backend":
            self._kill_one_of(self.cluster.backends())
        elif self.cluster:
            self.cluster.kill()
            self.cluster.start()

    def _kill_one_of(self, processes: list[int]) -> None:
        with suppress(ProcessLookupError):
            os.kill(self.chance.choice(processes), signal.SIGKILL)


@contextmanager
def service(
    database: str, folder: Path, reels: int
) -> Iterator[tuple[dict[str, str], Any, Node, clusters.Cluster | None]]:
    """A node on a database of that kind, with a world for a load."""
    with ExitStack() as stack:
        cluster = stack.enter_context(clusters.running()) if database == "postgresql" else None
        env = settings_of(folder, cluster.url if cluster else f"sqlite:///{folder}/records.sqlite3")
        world = make_world(env, reels)
        node = Node(env, application="tests.served_app").start()
        stack.callback(node.stop)
        yield env, world, node.ready(), cluster


def study(database: str, kills: int, seed: int, say: Say) -> list[str]:
    """Kill so many times; what was wrong after the first round in which something was. Empty: all was well."""
    chance = random.Random(seed)  # noqa: S311  # a study that can be repeated
    killed: Counter[str] = Counter()
    loads: list[Load] = []
    while killed.total() < kills:
        some = range(killed.total() + 1, min(killed.total() + KILLS_A_WORLD, kills) + 1)
        reels = 20 + REELS_A_ROUND * len(some)
        with tempfile.TemporaryDirectory() as name, service(database, Path(name), reels) as (env, world, node, cluster):
            victims = Victims(node, cluster, chance)
            loads.append(Load(Direct(node.port), world))
            for number in some:
                kind, found = _round(victims, loads[-1], env)
                killed[kind] += 1
                say(f"round {number} of {kills}: {kind} killed, {found or 'nothing lost'}")
                if found:
                    return found
    said = ", ".join(f"{number} × {kind}" for kind, number in sorted(killed.items()))
    say(f"{kills} kills ({said}): {figures(*loads)}; nothing lost, nothing twice, every history whole")
    return []


def _round(victims: Victims, load: Load, env: dict[str, str]) -> tuple[str, list[str]]:
    """One kill within a running load: of what, and what is wrong when work has gone on afterwards."""
    kind = victims.chance.choice(victims.kinds())
    with load.running():
        load.more(4, "work is under way")
        time.sleep(victims.chance.uniform(0, MOST_WAIT_S))
        victims.kill(kind)
        load.more(4, "work goes on")
    return kind, [*wrong(env, load), *load.refused]


def main() -> int:
    asked = argparse.ArgumentParser(description="Kill the service and its database again and again, under load.")
    asked.add_argument("--database", choices=("sqlite", "postgresql", "both"), default="both")
    asked.add_argument("--kills", type=int, default=200)
    asked.add_argument("--seed", type=int, default=1)
    given = asked.parse_args()
    kinds = ("sqlite", "postgresql") if given.database == "both" else (given.database,)
    wrongs = []
    for kind in kinds:
        print(f"On {kind}:", flush=True)
        wrongs += study(kind, given.kills, given.seed, lambda line: print(f"  {line}", flush=True))
    print("\n".join(wrongs))
    return 1 if wrongs else 0


if __name__ == "__main__":
    sys.exit(main())
