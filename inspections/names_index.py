"""The index of trigrams over the names in status rows, on SQLite: a table of its full-text search, kept by triggers.

On PostgreSQL it is an ordinary index, made by a migration. SQLite drops a table's triggers without a word when it
remakes the table, so they are installed again after every migration.
"""

from django.db.backends.base.base import BaseDatabaseWrapper

SOURCE, TABLE = "reports_standing", "reports_standing_names"
_OUT = f"INSERT INTO {TABLE} ({TABLE}, rowid, names) VALUES ('delete', OLD.id, OLD.names);"  # noqa: S608  # our own names
_IN = f"INSERT INTO {TABLE} (rowid, names) VALUES (NEW.id, NEW.names);"  # noqa: S608  # our own names
TRIGGERS = {
    f"{TABLE}_come": f"AFTER INSERT ON {SOURCE} BEGIN {_IN} END",
    f"{TABLE}_go": f"AFTER DELETE ON {SOURCE} BEGIN {_OUT} END",
    f"{TABLE}_change": f"AFTER UPDATE OF names ON {SOURCE} WHEN OLD.names <> NEW.names BEGIN {_OUT} {_IN} END",
}


def install(connection: BaseDatabaseWrapper) -> None:
    """Make the index and its triggers where the table is there and any of them is not; safe to run again."""
    if connection.vendor != "sqlite" or SOURCE not in connection.introspection.table_names():
        return
    with connection.cursor() as cursor:
        cursor.execute("SELECT name FROM sqlite_master WHERE name = %s OR type = 'trigger'", [TABLE])
        missing = {TABLE, *TRIGGERS} - {row[0] for row in cursor.fetchall()}
        if TABLE in missing:
            columns = f"names, content='{SOURCE}', content_rowid='id', tokenize='trigram case_sensitive 1'"
            cursor.execute(f"CREATE VIRTUAL TABLE {TABLE} USING fts5({columns})")
        for name in missing & TRIGGERS.keys():
            cursor.execute(f"CREATE TRIGGER {name} {TRIGGERS[name]}")
    if missing:
        rebuild(connection)


def rebuild(connection: BaseDatabaseWrapper) -> None:
    """Make the index from the rows again."""
    if connection.vendor == "sqlite":
        with connection.cursor() as cursor:
            cursor.execute(f"INSERT INTO {TABLE} ({TABLE}) VALUES ('rebuild')")  # noqa: S608  # our own names


def uninstall(connection: BaseDatabaseWrapper) -> None:
    """Take it away, as before a migration that goes back behind it."""
    if connection.vendor == "sqlite":
        with connection.cursor() as cursor:
            for name in TRIGGERS:
                cursor.execute(f"DROP TRIGGER IF EXISTS {name}")
            cursor.execute(f"DROP TABLE IF EXISTS {TABLE}")
