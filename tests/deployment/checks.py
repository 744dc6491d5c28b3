"""What is asked of the records after something happened to the service."""

import json
from collections import Counter
from dataclasses import asdict
from typing import Any

from tests.deployment.load import Load
from tests.deployment.processes import python


def make_world(env: dict[str, str], reels: int) -> dict[str, Any]:
    """The tables, and the people and reels of a load."""
    python(env, "manage.py", "migrate", "--verbosity", "0")
    found: dict[str, Any] = json.loads(python(env, "-m", "tests.deployment.world", str(reels)))
    return found


def wrong(env: dict[str, str], load: Load) -> list[str]:
    """What was acknowledged and is not there, or twice; and whether a history is broken. Empty: all is well."""
    given = json.dumps([asdict(each) for each in load.acknowledged])
    return python(env, "-m", "tests.deployment.audit", given=given).splitlines()


def figures(*loads: Load) -> str:
    done = [each for load in loads for each in load.acknowledged]
    kinds = Counter(each.kind for each in done)
    said = ", ".join(f"{number} {kind}" for kind, number in sorted(kinds.items()))
    again, longest_s = sum(len(load.sent_again) for load in loads), max(load.longest_s for load in loads)
    return f"{len(done)} acknowledged ({said}), {again} sent again, longest wait {longest_s:.1f} s"
