"""Copy an SQLite database while it is used: `python copy_sqlite.py SOURCE TARGET`. Exits 1 if the copy is not whole."""

import sqlite3
import sys
from contextlib import closing
from pathlib import Path


def copy(source: str, target: str) -> str:
    """Copy it, what is still in the write-ahead log included; "ok", or what SQLite finds wrong with the copy."""
    readable = f"{Path(source).resolve().as_uri()}?mode=ro"
    with closing(sqlite3.connect(readable, uri=True)) as old, closing(sqlite3.connect(target)) as new:
        old.backup(new)
        new.execute("PRAGMA journal_mode=DELETE")  # one file, nothing beside it
        return str(new.execute("PRAGMA integrity_check").fetchone()[0])


if __name__ == "__main__":
    verdict = copy(*sys.argv[1:])
    if verdict != "ok":
        sys.exit(f"{sys.argv[2]} is not whole: {verdict}")
