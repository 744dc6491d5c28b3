"""What the tests kill: small mistakes are made in a copy of the code, one at a time; the tests ought to notice each.

    python -m tests.mutation                                    everything in modules.toml and checks.toml
    python -m tests.mutation inspections/domain/counting.py     one module, or several
    python -m tests.mutation reports/services/verification/rows.py   the checks of checks.toml in that file
    python -m tests.mutation --since main                       what differs from a revision of git
    python -m tests.mutation --short                            a few dozen mutants of two modules, for `deploy/test`

It fails if fewer than 90 % of a module's mutants are killed, and for any survivor that is not in survivors.toml with
its reason; also for one that is listed there and does not survive. `--all` forgets the sample sizes of modules.toml.
"""

import argparse
import json
import os
import shutil
import subprocess
import sys
import tempfile
import time
import tomllib
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tests.mutation import checks

HERE = Path(__file__).resolve().parent
HOME = HERE.parents[1]
AIM = 0.90
PLUGINS = ("pytest_django.plugin",)
SHORT = {"reels/domain/merkle.py": 20, "reels/domain/ledger.py": 20}


@dataclass(frozen=True, slots=True)
class Study:
    """A module with the tests that are to kill its mutants, and how many of them are drawn; 0 for all."""

    module: str
    tests: list[str]
    sample: int = 0


@dataclass(frozen=True, slots=True)
class Result:
    """What became of a module's mutants."""

    study: Study
    verdicts: dict[str, str]
    listed: dict[str, str]
    seconds: float

    @property
    def survived(self) -> list[str]:
        return [key for key, verdict in self.verdicts.items() if verdict == "survived"]

    @property
    def killed(self) -> float:
        return 1 - len(self.survived) / max(len(self.verdicts), 1)

    def complaints(self) -> list[str]:
        found = [f"survived, and is not listed: {key}" for key in self.survived if key not in self.listed]
        for key in self.listed:
            verdict = self.verdicts.get(key, "is not a mutant" if not self.study.sample else "survived")
            found += [] if verdict == "survived" else [f"listed as a survivor, but {verdict}: {key}"]
        if self.killed < AIM:
            found.append(f"only {self.killed:.0%} are killed; {AIM:.0%} are wanted")
        return [f"{self.study.module}: {each}" for each in found]

    def row(self) -> str:
        n = Counter(self.verdicts.values())
        drawn = f"{len(self.verdicts)} drawn" if self.study.sample else str(len(self.verdicts))
        killed = n["killed"] + n["timed out"]
        cells = (f"`{self.study.module}`", drawn, killed, n["survived"], f"{self.killed:.1%}", f"{self.seconds:.0f} s")
        return f"| {' | '.join(map(str, cells))} |"


def studies() -> list[Study]:
    return [Study(**each) for each in tomllib.loads((HERE / "modules.toml").read_text())["module"]]


def survivors(path: Path = HERE / "survivors.toml") -> dict[str, dict[str, str]]:
    """The survivors that were looked at, by module: each with the reason why it may live."""
    listed: dict[str, dict[str, str]] = {}
    for each in tomllib.loads(path.read_text()).get("survivor", []):
        for mutant in each["mutants"]:
            listed.setdefault(each["module"], {})[mutant] = each["why"]
    return listed


def study_of(module: str, known: Iterable[Study]) -> Study:
    for each in known:
        if each.module == module:
            return each
    path = Path(module)
    tests = sorted((HOME / "tests" / path.parent).glob(f"test_{path.stem}*.py"))
    if not tests:
        raise SystemExit(f"{module} is not in modules.toml, and has no tests of its name.")
    return Study(module, [str(each.relative_to(HOME)) for each in tests])


def changed_since(revision: str) -> set[str]:
    return set(_git("diff", "--name-only", revision, "--").splitlines())


def copy_of_the_tree(folder: Path) -> Path:
    """The files as they are now, so that nobody's work in the tree is disturbed or disturbs."""
    copy = folder / "tree"
    for name in _git("ls-files", "-z", "--cached", "--others", "--exclude-standard").split("\0"):
        if name and (HOME / name).is_file():
            (copy / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy2(HOME / name, copy / name)
    return copy


def judge(
    study: Study,
    listed: dict[str, str],
    tree: Path,
    jobs: int,
    *,
    plugins: Sequence[str] = PLUGINS,
    disabled: Sequence[checks.Check] = (),
) -> Result:
    """Run the module's tests against its mutants, in a copy of the tree, with these plugins of pytest and no others.

    disabled: checks to be disabled one by one, instead of mutants.
    """
    task, answer = tree.parent / "task.json", tree.parent / "answer.json"
    told: dict[str, Any] = {"module": study.module, "tests": study.tests, "sample": study.sample}
    told |= {"survivors": list(listed), "answer": str(answer), "plugins": list(plugins), "jobs": jobs}
    told["checks"] = [(each.unseen, each.old, each.new) for each in disabled]
    task.write_text(json.dumps(told))
    began = time.monotonic()
    done = subprocess.run(
        [sys.executable, "-m", "tests.mutation.worker", str(task)],
        cwd=tree,
        env={**os.environ, "OPENBLAS_NUM_THREADS": "1"},
        capture_output=True,
        text=True,
        check=False,
    )
    if done.returncode:
        raise SystemExit(f"{done.stdout[-6000:]}\n{done.stderr[-6000:]}\n{study.module} could not be judged.")
    return Result(study, json.loads(answer.read_text()), listed, time.monotonic() - began)


def _git(*arguments: str) -> str:
    return subprocess.run(["git", *arguments], cwd=HOME, capture_output=True, text=True, check=True).stdout


def chosen_studies(options: argparse.Namespace, changed: set[str]) -> list[Study]:
    known = studies()
    if options.short:
        return [Study(each.module, each.tests, SHORT[each.module]) for each in known if each.module in SHORT]
    if options.since:
        known = [each for each in known if each.module in changed]
    elif options.modules:
        known = [
            study_of(module, known) for module in options.modules if module not in {c.path for c in checks.checks()}
        ]
    return [Study(each.module, each.tests) for each in known] if options.all else known


def chosen_checks(options: argparse.Namespace, changed: set[str]) -> list[checks.Check]:
    everything = not (options.short or options.since or options.modules)
    return [each for each in checks.checks() if everything or each.path in {*changed, *options.modules}]


def study_modules(chosen: Sequence[Study], tree: Path, jobs: int) -> list[str]:
    """Judge each, and print its row. Returns what is to be complained of."""
    complaints: list[str] = []
    listed = survivors()
    if chosen:
        print("| module | mutants | killed | survived | killed of all | took |\n|---|---|---|---|---|---|")
    for study in chosen:
        result = judge(study, listed.get(study.module, {}), tree, jobs)
        print(result.row(), flush=True)
        complaints += result.complaints()
    return complaints


def study_checks(chosen: Sequence[checks.Check], tree: Path, jobs: int) -> list[str]:
    """The same for the checks that are disabled by hand."""
    if not chosen:
        return []
    missed_by_nobody = checks.survivors([each for each in chosen if each.in_a_file], tree, jobs)
    in_place = [each for each in chosen if not each.in_a_file]
    for path in dict.fromkeys(each.path for each in in_place):
        here = [each for each in in_place if each.path == path]
        result = judge(Study(path, list(here[0].tests)), {}, tree, jobs, disabled=here)
        missed_by_nobody += [each for each in here if each.unseen in result.survived]
    print("\n| file | checks disabled | missed by a test |\n|---|---|---|")
    for path, count in Counter(each.path for each in chosen).items():
        print(f"| `{path}` | {count} | {count - sum(each.path == path for each in missed_by_nobody)} |")
    return [f"{each.path}: no test misses the check for “{each.unseen}”" for each in missed_by_nobody]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("modules", nargs="*", help="paths from the top folder")
    parser.add_argument("--since", metavar="REVISION", help="what differs from this revision of git")
    parser.add_argument("--short", action="store_true", help="a few dozen mutants, in seconds")
    parser.add_argument("--all", action="store_true", help="all mutants, where modules.toml would draw a sample")
    parser.add_argument("--jobs", type=int, default=os.cpu_count() or 1, help="so many at once")
    options = parser.parse_args()
    changed = changed_since(options.since) if options.since else set()
    (HOME / ".test").mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory(prefix="mutation-", dir=HOME / ".test") as folder:
        tree = copy_of_the_tree(Path(folder))
        complaints = study_modules(chosen_studies(options, changed), tree, options.jobs)
        complaints += study_checks(chosen_checks(options, changed), tree, options.jobs)
    if complaints:
        raise SystemExit("\n".join(["", *complaints]))


if __name__ == "__main__":
    main()
