"""Rows of an import, kept in a temporary file and given back reel by reel, so that memory does not grow with them."""

import json
import sqlite3
from collections.abc import Iterable, Iterator
from types import TracebackType
from typing import Self

Staged = tuple[str, int, dict[str, str]]  # file, line, cells by column


class Staging:
    """A temporary database of one's own; it is gone when it is closed."""

    def __init__(self) -> None:
        self._database = sqlite3.connect("", isolation_level=None)
        self._database.execute("CREATE TABLE staged (reel TEXT, file TEXT, line INTEGER, cells TEXT)")
        self._database.execute("BEGIN")

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._database.close()

    def put(self, rows: Iterable[tuple[str, Staged]]) -> None:
        """Keep rows, each with the serial of its reel ("" for none)."""
        self._database.executemany(
            "INSERT INTO staged VALUES (?, ?, ?, ?)",
            ((reel, file, line, json.dumps(cells)) for reel, (file, line, cells) in rows),
        )

    def sort(self) -> None:
        """Make `reels` and `rows_of` quick, once everything is put."""
        self._database.execute("CREATE INDEX by_reel ON staged (reel)")

    def reels(self, at_once: int) -> Iterator[list[str]]:
        """The serials of all reels that rows are about, sorted, so many at a time."""
        some: list[str] = [""]
        while some:
            sql = "SELECT DISTINCT reel FROM staged WHERE reel > ? ORDER BY reel LIMIT ?"
            some = [reel for (reel,) in self._database.execute(sql, (some[-1], at_once))]
            if some:
                yield some

    def rows_of(self, reel: str) -> list[Staged]:
        """The rows about a reel ("": about none), as they stood in the files."""
        sql = "SELECT file, line, cells FROM staged WHERE reel = ? ORDER BY file, line"
        return [(file, line, json.loads(cells)) for file, line, cells in self._database.execute(sql, (reel,))]
