"""Checks disabled by hand, one at a time (checks.toml), each of which the tests named there must notice."""

import os
import shutil
import subprocess
import sys
import tomllib
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from queue import SimpleQueue

HERE = Path(__file__).resolve().parent


@dataclass(frozen=True, slots=True)
class Check:
    """One check, and the source that disables it."""

    path: str
    tests: tuple[str, ...]
    unseen: str  # what nobody sees without it
    old: str
    new: str
    in_a_file: bool = False  # the tests start the file as a process of its own, so it has to be changed itself

    def disabled(self, source: str) -> str:
        """The source without the check. Raises ValueError unless it has it exactly once."""
        if source.count(self.old) != 1:
            raise ValueError(f"{self.path} has the check for “{self.unseen}” {source.count(self.old)} times, not once")
        return source.replace(self.old, self.new)


def checks(path: Path = HERE / "checks.toml") -> Iterator[Check]:
    for file in tomllib.loads(path.read_text(encoding="utf-8"))["file"]:
        for each in file["check"]:
            yield Check(file["path"], tuple(file["tests"]), **each, in_a_file=file.get("in_a_file", False))


def survivors(chosen: Sequence[Check], tree: Path, jobs: int) -> list[Check]:
    """The checks that no test missed. tree: a copy of the sources, in which files are changed; each job has its own."""
    trees: SimpleQueue[Path] = SimpleQueue()
    for job in range(jobs):
        trees.put(_another(tree, job))

    def is_missed(check: Check) -> bool:
        mine = trees.get()
        try:
            return _is_missed(check, mine)
        finally:
            trees.put(mine)

    with ThreadPoolExecutor(jobs) as pool:
        return [check for check, missed in zip(chosen, pool.map(is_missed, chosen), strict=True) if not missed]


def _another(tree: Path, job: int) -> Path:
    copy = tree.with_name(f"{tree.name}-{job}")
    shutil.rmtree(copy, ignore_errors=True)
    return Path(shutil.copytree(tree, copy))


def _is_missed(check: Check, tree: Path) -> bool:
    file = tree / check.path
    source = file.read_text(encoding="utf-8")
    file.write_text(check.disabled(source), encoding="utf-8")
    try:
        command = [sys.executable, "-m", "pytest", "-x", "-q", *check.tests]
        # A mistake of the same length within the same second would be taken for the source it replaces.
        surroundings = {**os.environ, "PYTHONDONTWRITEBYTECODE": "1"}
        done = subprocess.run(command, cwd=tree, env=surroundings, capture_output=True, text=True, check=False)
    finally:
        file.write_text(source, encoding="utf-8")
    if done.returncode not in (0, 1):  # the tests were not run to their end or to their first failure
        raise SystemExit(
            f"{done.stdout[-4000:]}\nWithout the check for “{check.unseen}” in {check.path}, pytest fails."
        )
    return done.returncode == 1
