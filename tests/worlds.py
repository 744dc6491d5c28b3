"""Worlds: what the database holds once a test has built what it needs, made once in a run and then put back.

A step is a function of `tests/builders.py` or its like that makes records through the services. The first time that
it is taken from a world, it runs, and its rows are noted as they are stored; whenever a later test takes the same step
from the same world, those rows are put back in a few statements instead. A test that writes anything by itself leaves
the known worlds, and every further step of it runs as it is. So does a step within a count of queries.
"""

import copy
import re
import threading
from collections.abc import Callable, Hashable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, fields, is_dataclass
from datetime import date
from decimal import Decimal
from enum import Enum
from functools import cache, wraps
from typing import Any, ParamSpec, TypeVar, cast

from django.apps import apps
from django.db import connection, models, transaction

Arguments = ParamSpec("Arguments")
Result = TypeVar("Result")
StoredRow = tuple[Any, ...]
Rows = dict[str, dict[Any, StoredRow]]  # by table and primary key

# What a test may find before it begins; steps neither write to these nor depend on them.
FURNITURE = frozenset({"django_content_type", "auth_permission"})
# Noting a step costs as much as there are rows, so a test that builds hundreds of reels in a loop soon runs as it is.
MOST_STEPS, MOST_ROWS = 60, 20_000

WRITES = re.compile(r'\s*(?:INSERT(?: OR \w+)? INTO|UPDATE|DELETE FROM)\s+"(\w+)"', re.IGNORECASE)
READS = re.compile(r"\s*(?:SELECT|EXPLAIN|RELEASE|PRAGMA|SET|SHOW|LOCK)\b", re.IGNORECASE)
SAVEPOINT = re.compile(r'\s*(SAVEPOINT|ROLLBACK TO SAVEPOINT)\s+"(\w+)"', re.IGNORECASE)


class Unknown(Exception):
    """An argument of which nobody can say whether it is the same as another."""


@dataclass(slots=True, eq=False)
class World:
    """All rows after a sequence of steps, and where further steps lead from here."""

    rows: Rows = field(default_factory=dict)
    steps: int = 0
    onward: dict[Hashable, "Arrival"] = field(default_factory=dict)


@dataclass(slots=True, eq=False)
class Arrival:
    """Where a step leads, what it returns, its statements, and what waits for its commit."""

    world: World
    result: Any
    statements: list[tuple[str, list[StoredRow]]]
    tables: set[str]
    on_commit: list[tuple[Callable[[], Any], bool]]


class Whereabouts:
    """Which world the test that runs is in, if it is a known one."""

    def __init__(self) -> None:
        self.is_on = False
        self.roots: dict[bool, World] = {}
        self.begin()
        self.is_on = False

    def begin(self) -> None:
        """A new test: it is in no world until its database is seen to be empty."""
        self.is_on = True
        self.world: World | None = None
        self.has_begun = False
        self.is_putting_back = False
        self.mark: Any = None
        self.noting: list[set[str]] = []  # the tables written to by each step that runs, the outermost first
        self.savepoints: dict[str, tuple[World | None, bool]] = {}

    def wrote(self, tables: Iterable[str]) -> None:
        for each in self.noting:
            each.update(tables)

    def watch(self, execute: Any, sql: Any, params: Any, many: bool, context: Any) -> Any:
        """Every statement on the way to the database: whoever writes leaves the known worlds."""
        result = execute(sql, params, many, context)
        if self.is_on and not self.is_putting_back:
            self._note(sql if isinstance(sql, str) else sql.as_string(context["connection"].connection))
        return result

    def _note(self, sql: str) -> None:
        if point := SAVEPOINT.match(sql):
            if point[1].upper() == "SAVEPOINT":
                self.savepoints[point[2]] = self.world, self.has_begun
            else:
                self.world, self.has_begun = self.savepoints.get(point[2], (None, True))
        elif not READS.match(sql):
            written = WRITES.match(sql)
            self.wrote([written[1]] if written else _tables())
            self.world = None

    def here(self) -> World | None:
        """The known world that the test is in, or None."""
        if self.watch not in connection.execute_wrappers:  # first, for those of a test are taken off from the end
            connection.execute_wrappers.insert(0, self.watch)
        if not self.has_begun:
            self.has_begun = True
            if _is_empty():
                self.world = self.roots.setdefault(connection.in_atomic_block, World())
        elif self.world and not connection.in_atomic_block and self.mark != _mark():
            self.world = None
        return self.world

    def arrive(self, world: World | None) -> None:
        self.world = world
        if world and not connection.in_atomic_block:
            self.mark = _mark()


_whereabouts = Whereabouts()
_in_this_thread = threading.local()


def begin() -> None:
    """A test begins."""
    _whereabouts.begin()


def end() -> None:
    """It has ended: what is written now is no test's."""
    _whereabouts.is_on = False


def forget() -> None:
    """The ids that rows have been given will be given again."""
    _whereabouts.roots.clear()


@contextmanager
def every_step_runs() -> Iterator[None]:
    """Nothing is put back within."""
    was_on, _whereabouts.is_on = _whereabouts.is_on, False
    try:
        yield
    finally:
        _whereabouts.is_on, _whereabouts.world = was_on, None


@contextmanager
def in_this_thread() -> Iterator[None]:
    """Steps are put back in this thread as well, which the test waits for; elsewhere threads race, and run them."""
    _in_this_thread.waited_for = True
    try:
        yield
    finally:
        _in_this_thread.waited_for = False


def step(build: Callable[Arguments, Result]) -> Callable[Arguments, Result]:
    """A function that makes records, and no others for the same arguments in the same world."""

    @wraps(build)
    def taken(*args: Arguments.args, **kwargs: Arguments.kwargs) -> Result:
        if not _may_be_taken():
            return build(*args, **kwargs)
        world = _whereabouts.here()
        try:
            key = (build.__module__, build.__qualname__, frozen(args), frozen(kwargs))
        except Unknown:
            world = None
        if world is None or world.steps >= MOST_STEPS:
            return build(*args, **kwargs)
        if key in world.onward:
            return cast(Result, _put_back(world.onward[key]))
        return cast(Result, _note_step(world, key, lambda: build(*args, **kwargs)))

    return taken


def _may_be_taken() -> bool:
    is_awaited = threading.current_thread() is threading.main_thread() or getattr(_in_this_thread, "waited_for", False)
    return _whereabouts.is_on and is_awaited and not connection.force_debug_cursor


def _put_back(arrival: Arrival) -> Any:
    _whereabouts.is_putting_back = True
    try:
        with transaction.atomic(), connection.cursor() as cursor:
            for sql, rows in arrival.statements:
                cursor.executemany(sql, rows)
            for callback, robust in arrival.on_commit:
                transaction.on_commit(callback, robust=robust)
    finally:
        _whereabouts.is_putting_back = False
    _whereabouts.wrote(arrival.tables)
    _whereabouts.arrive(arrival.world)
    return copy.deepcopy(arrival.result)


def _note_step(world: World, key: Hashable, run: Callable[[], Any]) -> Any:
    tables: set[str] = set()
    waiting = len(connection.run_on_commit)
    _whereabouts.noting.append(tables)
    try:
        result = run()
    finally:
        _whereabouts.noting.pop()
    reached = _whereabouts.world  # known where all that the step wrote was written by steps within it
    if reached is None:
        rows = {**world.rows, **{table: _rows(table, world.rows.get(table, {})) for table in tables}}
        if sum(map(len, rows.values())) > MOST_ROWS:
            return result
        reached = World(rows, world.steps + 1)
    callbacks = [(each[1], each[2]) for each in connection.run_on_commit[waiting:]]  # type: ignore[misc]  # stubs lack robust
    statements = _statements(world.rows, reached.rows, tables)
    world.onward[key] = Arrival(reached, copy.deepcopy(result), statements, tables, callbacks)
    _whereabouts.arrive(reached)
    return result


def frozen(value: Any) -> Hashable:
    """The value as part of a step's name. Raises Unknown."""
    if value is None or isinstance(value, bool | int | float | str | bytes | Decimal | date | Enum):
        return (type(value).__name__, value)
    if isinstance(value, models.Model):
        return (value._meta.label, value.pk)
    if isinstance(value, dict):
        return tuple((name, frozen(each)) for name, each in sorted(value.items()))
    if isinstance(value, list | tuple):
        return tuple(frozen(each) for each in value)
    if is_dataclass(value) and not isinstance(value, type):
        return (type(value).__name__, *(frozen(getattr(value, each.name)) for each in fields(value)))
    if hasattr(value, "as_part_of_a_step"):
        return cast(Hashable, value.as_part_of_a_step())
    raise Unknown(type(value))


# The rows, as they are stored ---------------------------------------------------------------------------------------


@cache
def _tables() -> dict[str, tuple[str, list[str]]]:
    """The column of the primary key, and all columns, of every table that steps may write to."""
    return {
        model._meta.db_table: (str(model._meta.pk.column), [str(f.column) for f in model._meta.local_concrete_fields])
        for model in apps.get_models(include_auto_created=True)
        if model._meta.managed and not model._meta.proxy and model._meta.db_table not in FURNITURE
    }


def all_rows() -> Rows:
    """Every row there is."""
    return {table: rows for table in _tables() if (rows := _rows(table, {}))}


def _rows(table: str, known: dict[Any, StoredRow]) -> dict[Any, StoredRow]:
    """The rows of a table; those that are as they were are the same objects, so that worlds share them."""
    key, names = _tables()[table]
    # SQLite's driver makes a boolean or a time of what it reads from a bare column; of a term it gives what is stored.
    term = '+"{}"' if connection.vendor == "sqlite" else '"{}"'
    columns = ", ".join(term.format(name) for name in names)
    with connection.cursor() as cursor:
        cursor.execute(f'SELECT {columns} FROM "{table}" ORDER BY "{key}"')  # noqa: S608  # our own names
        place = names.index(key)
        read = {row[place]: _storable(row) for row in cursor.fetchall()}
    return {pk: known[pk] if known.get(pk) == row else row for pk, row in read.items()}


def _storable(row: StoredRow) -> StoredRow:
    return tuple(bytes(value) if isinstance(value, memoryview) else value for value in row)


def _statements(before: Rows, after: Rows, tables: set[str]) -> list[tuple[str, list[StoredRow]]]:
    """What makes the one of the other. Foreign keys are looked at when all is done, but "one open hold" at once."""
    deletes, updates, inserts = [], [], []
    for table in sorted(tables):
        key, names = _tables()[table]
        old, new = before.get(table, {}), after.get(table, {})
        if gone := [(pk,) for pk in old if pk not in new]:
            deletes.append((f'DELETE FROM "{table}" WHERE "{key}" = %s', gone))  # noqa: S608  # our own names
        if changed := [(old[pk], row) for pk, row in new.items() if pk in old and old[pk] is not row]:
            moved = [i for i in range(len(names)) if any(was[i] != row[i] for was, row in changed)]
            sets = ", ".join(f'"{names[i]}" = %s' for i in moved)
            values = [(*(row[i] for i in moved), row[names.index(key)]) for _, row in changed]
            updates.append((f'UPDATE "{table}" SET {sets} WHERE "{key}" = %s', values))  # noqa: S608  # our own names
        if added := [row for pk, row in new.items() if pk not in old]:
            listed, marks = ", ".join(f'"{name}"' for name in names), ", ".join(["%s"] * len(names))
            inserts.append((f'INSERT INTO "{table}" ({listed}) VALUES ({marks})', added))  # noqa: S608  # our own names
    return [*deletes, *updates, *inserts]


def _is_empty() -> bool:
    return not tables_with_rows(_tables(), connection)


def tables_with_rows(tables: Iterable[str], asked: Any) -> list[str]:
    """Those of the tables that hold anything, by a single question over the connection that is asked."""
    names = list(tables)
    questions = ", ".join(f'EXISTS(SELECT 1 FROM "{table}")' for table in names)  # noqa: S608  # our own names
    with asked.cursor() as cursor:
        cursor.execute(f"SELECT {questions}")
        return [name for name, has_rows in zip(names, cursor.fetchone(), strict=True) if has_rows]


def _mark() -> Any:
    """Other than before when somebody else has acted in between."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT (SELECT count(*) FROM reels_historyentry), (SELECT max(id) FROM reels_historyentry), "
            "(SELECT count(*) FROM reels_chain), (SELECT max(id) FROM reels_chain)"
        )
        return cursor.fetchone()
