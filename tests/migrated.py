"""The migrated, empty database that a test process begins with: made once for the code as it is, and copied."""

import fcntl
import hashlib
import shutil
from functools import cache
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db import connection

TOP = Path(__file__).resolve().parents[1]
KEPT = TOP / ".test" / "migrated"


@cache
def digest() -> str:
    """Of all that a migrated database is made from: tables, triggers, and rows such as permissions."""
    code = [path for app in ("reels", "inspections", "reports", "deploy") for path in sorted((TOP / app).rglob("*.py"))]
    read = hashlib.sha256()
    for path in (*code, TOP / "deploy" / "runtime.lock", Path(__file__)):
        read.update(f"{path.relative_to(TOP)}\n".encode() + path.read_bytes())
    return read.hexdigest()


def copy_where_made() -> None:
    """Let the test database be a copy of one that was migrated before, by this process or by another."""
    creation: Any = connection.creation
    migrate = creation.create_test_db

    def create_test_db(verbosity: int, autoclobber: bool, serialize: bool, keepdb: bool) -> str:
        KEPT.mkdir(parents=True, exist_ok=True)
        kept = KEPT / f"{digest()}.sqlite3"
        with (KEPT / "lock").open("w") as lock:
            fcntl.flock(lock, fcntl.LOCK_EX)
            if not kept.exists():
                name = str(migrate(verbosity, autoclobber, serialize, keepdb))
                connection.close()  # the last one that closes writes the log back into the file
                for old in KEPT.glob("*.sqlite3"):
                    old.unlink()
                shutil.copyfile(name, kept)
                return name
            name = str(creation._create_test_db(verbosity, autoclobber, keepdb))
            shutil.copyfile(kept, name)
        connection.close()
        settings.DATABASES[connection.alias]["NAME"] = connection.settings_dict["NAME"] = name
        return name

    creation.create_test_db = create_test_db


def clone_where_made(template: str) -> None:
    """On a PostgreSQL of the run's own (tests/postgres.py): one process migrates, and the others copy its database."""
    creation: Any = connection.creation
    migrate = creation.create_test_db

    def create_test_db(verbosity: int, autoclobber: bool, serialize: bool, keepdb: bool) -> str:
        KEPT.mkdir(parents=True, exist_ok=True)
        with (KEPT / "lock").open("w") as lock:
            fcntl.flock(lock, fcntl.LOCK_EX)
            with creation._nodb_cursor() as cursor:
                is_made = creation._database_exists(cursor, template)
            if not is_made:
                name = str(migrate(verbosity, autoclobber, serialize, keepdb))
                connection.close()  # nobody may be connected to what is copied
                with creation._nodb_cursor() as cursor:
                    cursor.execute(f'CREATE DATABASE "{template}" TEMPLATE "{name}"')
                return name
            connection.settings_dict["TEST"]["TEMPLATE"] = template
            name = str(creation._create_test_db(verbosity, autoclobber, keepdb))
        connection.close()
        settings.DATABASES[connection.alias]["NAME"] = connection.settings_dict["NAME"] = name
        return name

    creation.create_test_db = create_test_db
