"""What a checkpoint and a proof cost as entries grow: `python -m tests.benchmarks.checkpoints [HOW MANY…]`.

In one database, filled to each size in turn: a checkpoint over a day's entries that came since the last one, and an
inclusion, an end and a consistency proof, each the median of several at other places. Beside them, in the same run, a
read of one row by its key, which grows with nothing, and the number of all entries counted, which grows with them.

Counted exactly, not timed: statements, rows and entries of indexes that PostgreSQL looked at, and hashes. The entries
are made up, put straight into the tables: chained with nothing, so that verify_records would rightly find fault with
them. On SQLite, unless DATABASE_URL says otherwise.
"""

import argparse
import hashlib
import os
import resource
import statistics
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from types import SimpleNamespace
from typing import Any

ENTRIES_EACH = 100  # of a chain
DAY = 1000  # entries between one checkpoint and the next
ROUNDS = 7
ROWS_AT_ONCE = 50_000
CONTENT = b'{"v":1}' + b" " * 393  # as long as an entry often is
FEED_ID = 10**9  # beyond all others
AT = "2026-03-02 09:00:00"


@dataclass
class Counts:
    """What was done since the last time it was set to nothing. looked: None where the database does not say."""

    statements: int = 0
    hashes: int = 0
    looked: int | None = None


# The tables, filled --------------------------------------------------------------------------------------------------


def entries(first: int, last: int) -> Iterator[tuple[Any, ...]]:
    """Rows of entries, numbered from 1."""
    for n in range(first, last + 1):
        chain, seq = divmod(n - 1, ENTRIES_EACH)
        digest = hashlib.sha256(n.to_bytes(8, "big")).hexdigest()
        yield n, chain + 1, seq + 1, AT, "count_imported", None, "0" * 64, digest, CONTENT


def fill(first: int, last: int) -> None:
    """Entries and their places, from one number to another, and their chains: chain n has the n-th hundred of them."""
    from django.db import connection

    from reels.models import Chain
    from reels.services import feed

    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute("SET statement_timeout = 0")
            cursor.execute("SET session_replication_role = replica")  # no look at what each row refers to
        known = Chain.objects.filter(pk__lt=FEED_ID).count()
        Chain.objects.get_or_create(pk=FEED_ID, name=feed.FEED)
        chains = (
            (n, f"reel:ZZ-{n:06}", ENTRIES_EACH, "0" * 64) for n in range(known + 1, -(-last // ENTRIES_EACH) + 1)
        )
        put(cursor, "reels_chain", "id name length head", chains)
        columns = "id chain_id seq at act actor_id prev digest content"
        put(cursor, "reels_historyentry", columns, entries(first, last))
        put(cursor, "reels_feedplace", "entry_id number", ((n, n) for n in range(first, last + 1)))
        cursor.execute("ANALYZE")
        if connection.vendor == "postgresql":
            cursor.execute("RESET session_replication_role")
            cursor.execute("RESET statement_timeout")


def put(cursor: Any, table: str, columns: str, rows: Iterator[tuple[Any, ...]]) -> None:
    """Rows into a table, some at a time."""
    from itertools import islice

    from django.db import connection, transaction

    names = columns.split()
    with transaction.atomic():
        if connection.vendor == "postgresql":
            with cursor.copy(f"COPY {table} ({', '.join(names)}) FROM STDIN") as copy:
                for row in rows:
                    copy.write_row(row)
            return
        sql = f"INSERT INTO {table} ({', '.join(names)}) VALUES ({', '.join('?' * len(names))})"  # noqa: S608  # our own
        while some := list(islice(rows, ROWS_AT_ONCE)):
            cursor.connection.executemany(sql, some)


# What is counted -----------------------------------------------------------------------------------------------------


class Counting:
    """Counts while it is entered: what comes from the database, and hashes of both trees."""

    def __init__(self) -> None:
        self.counts = Counts()

    def sha256(self, data: bytes = b"") -> Any:
        self.counts.hashes += 1
        return hashlib.sha256(data)

    def __enter__(self) -> Counts:
        from django.db import connection

        self.counts.looked = looked()
        hash_by(SimpleNamespace(sha256=self.sha256))
        self.wrapper = connection.execute_wrapper(self._executed)
        self.wrapper.__enter__()
        return self.counts

    def __exit__(self, *failed: Any) -> None:
        self.wrapper.__exit__(*failed)
        hash_by(hashlib)
        before, after = self.counts.looked, looked()
        self.counts.looked = None if before is None or after is None else after - before

    def _executed(self, execute: Callable[..., Any], sql: str, params: Any, many: bool, context: Any) -> Any:
        done = execute(sql, params, many, context)
        self.counts.statements += 1
        return done


def hash_by(library: Any) -> None:
    """Both trees hash by this."""
    from reels.domain import merkle, sparse_merkle

    for each in (merkle, sparse_merkle):
        each.hashlib = library  # type: ignore[attr-defined]


def looked() -> int | None:
    """Rows and entries of indexes that PostgreSQL has looked at so far for this database."""
    from django.db import connection

    if connection.vendor != "postgresql":
        return None
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_stat_force_next_flush()")
        cursor.execute("SELECT pg_stat_clear_snapshot()")
        cursor.execute(
            "SELECT (SELECT sum(seq_tup_read) FROM pg_stat_user_tables)"
            " + (SELECT sum(idx_tup_read) FROM pg_stat_user_indexes)"
        )
        return int(cursor.fetchone()[0])


def measured(action: Callable[[int], object]) -> tuple[float, Counts]:
    """Milliseconds of one of several, the median; and what the one that did most did. action: is given which one."""
    times, counted = [], []
    for n in range(ROUNDS):
        begun = time.perf_counter()
        action(n)
        times.append((time.perf_counter() - begun) * 1000)
    for n in range(ROUNDS, ROUNDS + 3):
        with Counting() as counts:
            action(n)
        counted.append(counts)
    return statistics.median(times), max(counted, key=lambda each: (each.looked or 0, each.hashes))


# One size ------------------------------------------------------------------------------------------------------------


class Size:
    """All that is measured at one number of entries."""

    def __init__(self, entries: int) -> None:
        from django.utils import timezone

        from reels.services import checkpoints

        self.service, self.now = checkpoints, timezone.now
        last = number_of_all()
        fill(last + 1, entries)
        begun = time.perf_counter()
        self.made = [checkpoints.make(timezone.now()).entries]
        print(f"{entries} entries: the first checkpoint over {entries - last} of them took "
              f"{time.perf_counter() - begun:.1f} s", file=sys.stderr, flush=True)  # fmt: skip

    def lines(self) -> Iterator[tuple[str, tuple[float, Counts]]]:
        from reels.models import FeedPlace

        yield f"a checkpoint, {DAY} entries later", self._checkpoints()
        newest = self.made[-1]
        yield "an inclusion proof", measured(lambda n: self.service.inclusion(newest, digest(newest * (n + 1) // 11)))
        yield "an end's proof", measured(lambda n: self.service.chain_path(newest, chain(newest * (n + 1) // 11)))
        yield "a consistency proof", measured(lambda n: self.service.consistency(self.made[n - 1], newest))
        yield "one row by its key", measured(lambda n: FeedPlace.objects.get(number=newest * (n + 1) // 11))
        yield "all entries counted", measured(lambda _: FeedPlace.objects.count())

    def _checkpoints(self) -> tuple[float, Counts]:
        """As `measured`, without the filling."""
        times, counted = [], []
        for n in range(ROUNDS + 3):
            last = self.made[-1]
            fill(last + 1, last + DAY)
            begun = time.perf_counter()
            if n < ROUNDS:
                self.made.append(self.service.make(self.now()).entries)
                times.append((time.perf_counter() - begun) * 1000)
                continue
            with Counting() as counts:
                self.made.append(self.service.make(self.now()).entries)
            counted.append(counts)
        return statistics.median(times), max(counted, key=lambda each: (each.looked or 0, each.hashes))


def number_of_all() -> int:
    from reels.services import feed

    return feed.last_number()


def digest(number: int) -> str:
    return hashlib.sha256(number.to_bytes(8, "big")).hexdigest()


def chain(number: int) -> str:
    return f"reel:ZZ-{(number - 1) // ENTRIES_EACH + 1:06}"


def table(sizes: dict[int, dict[str, tuple[float, Counts]]]) -> str:
    heads = [f"{size}: ms | statements | looked at | hashes" for size in sizes]
    lines = [f"| what | {' | '.join(heads)} |", "|---" * (1 + 4 * len(heads)) + "|"]
    for name in next(iter(sizes.values())):
        cells = []
        for rows in sizes.values():
            ms, counts = rows[name]
            of_database = "" if counts.looked is None else counts.looked
            cells.append(f"{ms:.1f} | {counts.statements} | {of_database} | {counts.hashes}")
        lines.append(f"| {name} | {' | '.join(cells)} |")
    return "\n".join(lines)


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("sizes", type=int, nargs="*", default=[10_000, 100_000])
    sizes = sorted(asked.parse_args().sizes)
    with tempfile.TemporaryDirectory() as folder:
        os.environ.setdefault("DATABASE_URL", f"sqlite:///{folder}/records.sqlite3")
        os.environ["CHECKPOINT_KEY_FILE"] = str(Path(folder) / "key.pem")
        os.environ.setdefault("DJANGO_SETTINGS_MODULE", "deploy.settings")
        import django

        django.setup()
        from django.core.management import call_command

        call_command("migrate", verbosity=0)
        found = {size: dict(Size(size).lines()) for size in sizes}
    print(table(found))
    print(f"\nMost memory of the process: {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB")


if __name__ == "__main__":
    main()
