"""Judge one module by its tests: run them once to see which lines each covers, then once for each mutant, in a fork.

A mutant within a function is put in by exchanging the code of the functions that are there, after everything has been
imported and collected, so that it costs no more than the tests that cover its lines. One that takes effect while the
module is imported, and one that nobody seemed to see, is imported anew in a process that has imported nothing of ours.

    python -m tests.mutation.worker TASK    (a file in JSON, as `judge` in __main__.py writes it)
"""

import ast
import functools
import gc
import importlib
import importlib.abc
import importlib.machinery
import json
import os
import resource
import shutil
import signal
import sys
import time
import traceback
from collections.abc import Callable, Iterable, Sequence
from contextlib import nullcontext
from dataclasses import dataclass, field
from pathlib import Path
from types import CodeType, FunctionType
from typing import Any

import coverage
import pytest
from django.conf import settings
from django.db import connections

from tests.mutation import checks
from tests.mutation.mutants import Mutant, functions_in, mutants_of, sample

KILLED, SURVIVED, TIMED_OUT = "killed", "survived", "timed out"
# What is imported before all forks, and by the tests of most modules; nothing of ours.
IMPORTED = (
    "hypothesis",
    "numpy",
    "scipy",
    "rfc8785",
    "cryptography.hazmat.primitives.asymmetric.ed25519",
    "django.test",
)
SLOWER, GRACE_S = 5, 3  # a mutant may take so many times the processor time of the same tests, and as long on top
WALL = 30  # and this many times that by the clock, for the machine may be busy
MEMORY = 4 << 30  # bytes of address space; a loop without end fills it


@dataclass(frozen=True, eq=False)
class Disabled:
    """A check that was disabled by hand (checks.toml): what nobody sees without it, and the module's source then."""

    key: str
    lines: range
    source: str
    in_function = True


AnyMutant = Mutant | Disabled


@dataclass
class Subject:
    """A module under study, with its tests and what was seen of them."""

    path: Path
    tests: list[str]
    plugins: list[str]
    jobs: int
    tree: ast.Module = field(init=False)
    seconds: dict[str, float] = field(default_factory=dict)
    lines: dict[str, set[int]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.tree = ast.parse(self.path.read_bytes())

    def code(self, mutant: "AnyMutant | None" = None) -> CodeType:
        """The module's code, as it is or with a mutant in it."""
        if isinstance(mutant, Disabled):
            return compile(mutant.source, str(self.path), "exec", dont_inherit=True)
        with mutant.applied() if mutant else nullcontext():
            return compile(self.tree, str(self.path), "exec", dont_inherit=True)

    @property
    def name(self) -> str:
        return ".".join(self.path.relative_to(Path.cwd()).with_suffix("").parts)


class Quickly:
    """Hypothesis says that a test fails and no more: nobody reads the smallest example that kills a mutant."""

    @pytest.hookimpl(tryfirst=True)
    def pytest_collection(self) -> None:
        import hypothesis  # last, so that tests without it need not wait for it

        phases = [hypothesis.Phase.explicit, hypothesis.Phase.generate]
        hypothesis.settings.register_profile("mutation", hypothesis.settings(), phases=phases)
        hypothesis.settings.load_profile("mutation")


class Judge(Quickly):
    """Takes the place of pytest's loop over the tests."""

    def __init__(self, subject: Subject, mutants: Sequence[AnyMutant]) -> None:
        self.subject, self.mutants = subject, mutants
        self.failed: list[str] = []
        self.verdicts: dict[str, str] = {}

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if report.failed:
            self.failed.append(f"{report.nodeid}\n{report.longreprtext}")

    @pytest.hookimpl(tryfirst=True)
    def pytest_runtestloop(self, session: pytest.Session) -> bool:
        if session.testsfailed or not session.items:
            raise SystemExit(f"No tests were collected for {self.subject.path}")
        self.see_what_tests_cover(session.items)
        if self.failed:
            raise SystemExit("Without a mutant, these fail:\n" + "\n".join(self.failed))
        quickest_first = sorted(session.items, key=lambda item: self.subject.seconds[item.nodeid])
        self.find_what_lives()
        _close_databases()
        run = [(None, quickest_first), *((each, self.covering(each, quickest_first)) for each in self.mutants)]
        runs = [
            (each, self.seconds_of(items), functools.partial(self.look_within, each, items))
            for each, items in run
            if items
        ]
        self.verdicts = in_forks(runs, self.subject.jobs)
        if self.verdicts.pop("") != SURVIVED:
            raise SystemExit("Without a mutant, the tests fail when they are run again in one process.")
        return True

    def see_what_tests_cover(self, items: Sequence[pytest.Item]) -> None:
        watch = coverage.Coverage(data_file=None, include=[str(self.subject.path)], config_file=False)
        watch.set_option("run:disable_warnings", ["no-data-collected"])  # nothing but definitions: seen at the import
        watch.start()
        for item, after in _in_a_ring(items):
            watch.switch_context(item.nodeid)
            began = time.process_time()
            item.ihook.pytest_runtest_protocol(item=item, nextitem=after)
            self.subject.seconds[item.nodeid] = time.process_time() - began
        watch.stop()
        for line, tests in watch.get_data().contexts_by_lineno(str(self.subject.path)).items():
            for test in tests:
                self.subject.lines.setdefault(test, set()).add(line)

    def covering(self, mutant: AnyMutant, items: Iterable[pytest.Item]) -> list[pytest.Item]:
        lines = self.subject.lines
        return [item for item in items if mutant.in_function and lines.get(item.nodeid, set()) & set(mutant.lines)]

    def seconds_of(self, items: Iterable[pytest.Item]) -> float:
        return sum(self.subject.seconds[item.nodeid] for item in items)

    def find_what_lives(self) -> None:
        objects = gc.get_objects()  # by `type`: to ask a lazy object whether it is an instance wakes it
        functions = (each for each in objects if type(each) is FunctionType)
        self.functions = [each for each in functions if each.__code__.co_filename == str(self.subject.path)]
        self.caches = [each for each in objects if type(each) is functools._lru_cache_wrapper]

    def exchange(self, mutant: AnyMutant) -> None:
        """Put a mutant's code into the functions that are there, and let them forget what they remember."""
        plain = functions_in(self.subject.code())
        mistaken = functions_in(self.subject.code(mutant))
        changed = {code: mistaken[at] for at, code in plain.items() if at in mistaken and code != mistaken[at]}
        for each in self.functions:
            each.__code__ = changed.get(each.__code__, each.__code__)
        for cache in self.caches:
            cache.cache_clear()

    def look_within(self, mutant: AnyMutant | None, items: list[pytest.Item]) -> bool:
        if mutant is not None:
            self.exchange(mutant)
        _take_databases_of_its_own()
        for item, after in _in_a_ring(items):
            item.ihook.pytest_runtest_protocol(item=item, nextitem=after)
            if self.failed:
                return False
        return True


def _in_a_ring(items: Sequence[pytest.Item]) -> Iterable[tuple[pytest.Item, pytest.Item]]:
    """Each with the next, the last with the first: what was made for the session, a database above all, is kept."""
    return zip(items, [*items[1:], items[0]], strict=True)


def _close_databases() -> None:
    for each in _open_databases():
        each.close()


def _open_databases() -> Sequence[Any]:
    return connections.all(initialized_only=True) if settings.configured else []


def _take_databases_of_its_own() -> None:
    """In a fork, a copy of each SQLite file: processes share no connection, nor see what another writes."""
    for each in _open_databases():
        file = Path(each.settings_dict["NAME"])
        if each.vendor == "sqlite" and file.is_file():
            mine = file.with_name(f"{file.name}-{os.getpid()}")
            shutil.copy(file, mine)
            each.settings_dict["NAME"] = str(mine)


# Imported anew ------------------------------------------------------------------------------------------------------


class MistakenImport(importlib.abc.MetaPathFinder):
    """Finds one module, and gives it another code than its file has."""

    def __init__(self, name: str, path: Path, code: CodeType) -> None:
        self.name, self.path, self.code = name, path, code

    def find_spec(self, fullname: str, path: Any = None, target: Any = None) -> importlib.machinery.ModuleSpec | None:
        if fullname != self.name:
            return None
        loader = importlib.machinery.SourceFileLoader(fullname, str(self.path))
        loader.get_code = lambda _: self.code  # type: ignore[method-assign, assignment]
        return importlib.util.spec_from_file_location(fullname, self.path, loader=loader)


def look_from_the_import_on(subject: Subject, mutant: AnyMutant | None) -> bool:
    """Whether all tests pass with this mutant imported; needs a process in which nothing of ours has been."""
    if mutant is not None:
        sys.meta_path.insert(0, MistakenImport(subject.name, subject.path, subject.code(mutant)))
    # A database of its own, for a mistake in what migrations call would be in it, and would be kept for others.
    own_database = ["--create-db"] if "pytest_django.plugin" in subject.plugins else []
    return _pytest(subject, "-x", *own_database, plugin=Quickly()) == pytest.ExitCode.OK


def _pytest(subject: Subject, *arguments: str, plugin: object) -> int:
    plugins = [f"-p{name}" for name in subject.plugins]
    return pytest.main(["-q", "-s", "--tb=short", *plugins, *arguments, *subject.tests], plugins=[plugin])


# Forks --------------------------------------------------------------------------------------------------------------

Run = tuple[AnyMutant | None, float, Callable[[], bool]]


def in_forks(runs: Iterable[Run], jobs: int) -> dict[str, str]:
    """Each in a process of its own, so many at once: the verdicts by the mutants' keys; "" is the module as it is."""
    running: dict[int, str] = {}
    verdicts: dict[str, str] = {}

    def wait() -> None:
        process, status = os.wait()
        verdicts[running.pop(process)] = _verdict(status)

    for mutant, seconds, look in runs:
        if len(running) == jobs:
            wait()
        running[_fork(seconds, look)] = mutant.key if mutant else ""
    while running:
        wait()
    return verdicts


def _fork(seconds: float, look: Callable[[], bool]) -> int:
    process = os.fork()
    if process:
        return process
    try:
        limit = GRACE_S + SLOWER * seconds
        os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
        os.dup2(1, 2)
        resource.setrlimit(resource.RLIMIT_CPU, (int(limit) + 1, int(limit) + 9))
        resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
        signal.signal(signal.SIGALRM, signal.SIG_DFL)
        signal.setitimer(signal.ITIMER_REAL, WALL * limit)
        os._exit(0 if look() else 1)
    except BaseException:  # noqa: BLE001  # whatever it dies of, the mutant did it
        os._exit(1)


def _verdict(status: int) -> str:
    if os.WIFEXITED(status):
        return KILLED if os.WEXITSTATUS(status) else SURVIVED
    return TIMED_OUT if os.WTERMSIG(status) in (signal.SIGALRM, signal.SIGXCPU) else KILLED


def _within(subject: Subject, mutants: Sequence[AnyMutant]) -> dict[str, str]:
    """The verdicts on those within functions, from a fork, so that this process stays one that has imported nothing."""
    reading, writing = os.pipe()
    process = os.fork()
    if process == 0:
        judge = Judge(subject, mutants)
        status = 1
        try:
            status = int(_pytest(subject, plugin=judge))
            with os.fdopen(writing, "w") as pipe:
                json.dump([judge.verdicts, sum(subject.seconds.values())], pipe)
        except BaseException:  # noqa: BLE001  # it is told, and this process must not go on as its parent
            traceback.print_exc()
        sys.stdout.flush()
        os._exit(status)
    os.close(writing)
    with os.fdopen(reading) as pipe:
        told = pipe.read()
    _, status = os.waitpid(process, 0)
    if status:
        raise SystemExit(f"The tests of {subject.path} could not be run.")
    verdicts: dict[str, str]
    verdicts, seconds = json.loads(told)
    subject.seconds = {"": seconds}
    return verdicts


def main() -> None:
    task = json.loads(Path(sys.argv[1]).read_text())
    os.environ["PYTEST_DISABLE_PLUGIN_AUTOLOAD"] = "1"  # most plugins take longer to load than a mutant to die
    for name in IMPORTED:
        importlib.import_module(name)
    subject = Subject(Path.cwd() / task["module"], task["tests"], task["plugins"], task["jobs"])
    mutants: list[Any] = sample(mutants_of(subject.tree), task["sample"])
    if task["checks"]:
        mutants = [_disabled(subject, checks.Check(subject.name, (), *each)) for each in task["checks"]]
    verdicts = _within(subject, mutants)
    anew = [each for each in mutants if _needs_an_import(verdicts.get(each.key), each.key in task["survivors"])]
    seconds = subject.seconds[""]
    looks = [
        (each, seconds, functools.partial(look_from_the_import_on, subject, each)) for each in (None, *anew) if anew
    ]
    verdicts |= in_forks(looks, subject.jobs)
    if verdicts.pop("", SURVIVED) != SURVIVED:
        raise SystemExit(f"Without a mutant, the tests of {subject.path} fail in a process of their own.")
    order = [each.key for each in mutants]
    Path(task["answer"]).write_text(json.dumps({key: verdicts[key] for key in order}))


def _disabled(subject: Subject, check: checks.Check) -> Disabled:
    source = subject.path.read_text(encoding="utf-8")
    first = source[: source.index(check.old)].count("\n") + 1
    return Disabled(check.unseen, range(first - 1, first + check.old.count("\n") + 2), check.disabled(source))


def _needs_an_import(verdict: str | None, is_listed: bool) -> bool:
    return verdict is None or (verdict == SURVIVED and not is_listed)


if __name__ == "__main__":
    main()
