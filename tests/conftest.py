"""What every test stands on: the database, quick passwords, and a count of queries."""

import gc
import os
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any
from unittest import mock

import pytest
from django.core.servers.basehttp import WSGIRequestHandler
from django.db import connection, connections
from django.test.utils import CaptureQueriesContext, override_settings
from hypothesis import settings as hypothesis_settings
from whitenoise.middleware import WhiteNoiseMiddleware

from reels import append_only
from tests import migrated, selection, worlds

# The same examples in every run: a red test stays red until its cause is gone.
hypothesis_settings.register_profile("steady", derandomize=True, database=None, deadline=None)
hypothesis_settings.load_profile("steady")

# The live server writes an answer in two pieces; without this the second waits 40 ms for the first to be acknowledged.
WSGIRequestHandler.disable_nagle_algorithm = True


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--everything", action="store_true", help="also what runs elsewhere or in a short form otherwise")


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    selection.leave_out(config, items)


def pytest_ignore_collect(collection_path: Path, config: pytest.Config) -> bool | None:
    """Tests in a browser and of whole deployments run only when they are named.

    The first need a setting that would hide mistakes in the others; the second keep a machine busy.
    """
    name = collection_path.name
    return True if name in ("browser", "deployment") and not selection.is_named(config, name) else None


def pytest_collection_finish() -> None:
    """The garbage collector leaves alone what is loaded by now, which it would go through again and again."""
    gc.collect()
    gc.freeze()
    gc.set_threshold(50_000, 20, 50)


@pytest.hookimpl(tryfirst=True)
def pytest_runtest_setup(item: pytest.Item) -> None:
    marker = item.get_closest_marker("django_db")
    if marker is not None and marker.kwargs.get("reset_sequences"):
        worlds.forget()
    worlds.begin()


@pytest.hookimpl(trylast=True)
def pytest_runtest_teardown() -> None:
    worlds.end()


@pytest.fixture(scope="session")
def django_db_modify_db_settings(django_db_modify_db_settings: None, tmp_path_factory: pytest.TempPathFactory,
                                 django_db_createdb: bool) -> None:  # fmt: skip
    """SQLite in a file, as in earnest: in memory there is no write-ahead log and no second writer."""
    if connection.vendor == "sqlite":
        folder = tmp_path_factory.mktemp("database")
        connection.settings_dict["TEST"]["NAME"] = str(folder / "test.sqlite3")
        if not django_db_createdb:
            migrated.copy_where_made()
    elif template := os.environ.get("TEST_TEMPLATE"):
        migrated.clone_where_made(template)


@pytest.fixture(scope="session")
def django_db_setup(django_db_setup: None) -> Iterator[None]:
    """Let the flush between transactional tests, and nothing else, past the triggers of kept tables; and be quick.

    What migrations leave (worlds.FURNITURE) stays, so that it need not be made again after each of these tests.
    """
    for operations in {type(each.ops) for each in connections.all()}:
        _make_flush_quick(operations)
    with mock.patch("django.core.management.commands.flush.emit_post_migrate_signal", _guard_again):
        yield


def _guard_again(verbosity: int, interactive: bool, database: str) -> None:
    """A test may have taken a guard away."""
    if append_only.faults(connections[database]):
        append_only.install(connections[database])


def _make_flush_quick(operations: Any) -> None:
    # The class is changed, not the instance: within a browser's event loop Django hands out another connection.
    plain_flush = operations.sql_flush

    def sql_flush(self: Any, style: Any, tables: Any, **options: Any) -> list[str]:
        emptied = [table for table in tables if table not in worlds.FURNITURE]
        if not options["reset_sequences"]:
            emptied = worlds.tables_with_rows(emptied, self.connection)
        statements = plain_flush(self, style, emptied, **options)
        if self.connection.vendor == "postgresql" and not options["reset_sequences"]:
            # To truncate a table means new files for it and all its indexes. As a replica, it looks at no foreign key.
            deletes = [f'DELETE FROM "{table}"' for table in emptied]  # noqa: S608  # our own names
            statements = ["SET LOCAL session_replication_role = replica", *deletes] if emptied else []
        kept = [(self.connection.vendor, t, how) for t, how in append_only.tables().items() if t in emptied]
        lift = [sql for each in kept for sql in append_only.drop_sql(*each)]
        guard = [sql for each in kept for sql in append_only.create_sql(*each)]
        return [*lift, *statements, *guard] if statements else statements

    operations.sql_flush = sql_flush


@pytest.fixture(scope="session", autouse=True)
def quick_passwords() -> Iterator[None]:
    with override_settings(PASSWORD_HASHERS=["django.contrib.auth.hashers.MD5PasswordHasher"]):
        yield


@pytest.fixture(scope="session", autouse=True)
def as_many_requests_as_tests_make() -> Iterator[None]:
    with override_settings(RATES={"login": "", "request": "", "as_of": "", "stands": ""}):
        yield


@pytest.fixture(scope="session", autouse=True)
def static_files_looked_for_once() -> Iterator[None]:
    """Every client of a test loads the middleware, which otherwise looks for some hundred files each time."""
    look_for_files = WhiteNoiseMiddleware.add_files_from_finders
    kept: dict[str, Any] = {}

    def add_files(middleware: WhiteNoiseMiddleware) -> None:
        if not kept:
            look_for_files(middleware)
            kept.update(middleware.files)
        middleware.files.update(kept)

    with mock.patch.object(WhiteNoiseMiddleware, "add_files_from_finders", add_files):
        yield


@pytest.fixture(scope="session", autouse=True)
def checkpoint_key_of_its_own(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    with override_settings(CHECKPOINT_KEY_FILE=str(tmp_path_factory.mktemp("checkpoints") / "key.pem")):
        yield


@pytest.fixture
def count_queries() -> Callable[[Callable[[], Any]], int]:
    """How many queries an action runs; they are printed, which pytest shows when the test fails."""

    def count(action: Callable[[], Any]) -> int:
        with CaptureQueriesContext(connection) as seen:
            action()
        print(*(query["sql"] for query in seen.captured_queries), sep="\n")  # noqa: T201  # shown on failure only
        return len(seen)

    return count
