"""A PostgreSQL of one's own for the length of a command: `python tests/postgres.py COMMAND…`.

It lives in a new folder under /tmp, listens on a socket there and on no port, and is gone when the command ends,
however it ends. The command finds it through DATABASE_URL. PG_BIN names another folder of PostgreSQL's programs.
Exits with the command's status. Standard library only.
"""

import os
import pwd
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

START_S = 30.0
# Nothing here outlives the tests, so nothing needs to survive a crash.
HASTE = ("fsync=off", "synchronous_commit=off", "full_page_writes=off", "autovacuum=off", "listen_addresses=")
# Reads until its input closes, which is when the starter is gone, even by `kill -9`.
WATCHER = 'read _; kill -QUIT "$(head -n 1 "$1/data/postmaster.pid" 2>/dev/null)" 2>/dev/null; sleep 0.3; rm -rf "$1"'


def programs() -> Path | None:
    """The folder with initdb and postgres: PG_BIN, else the newest one that Debian keeps, else what PATH finds."""
    debian = sorted(
        Path("/usr/lib/postgresql").glob("*/bin"), key=lambda path: int(re.sub(r"\D", "", path.parent.name))
    )
    on_path = shutil.which("initdb")
    choices = [
        Path(os.environ.get("PG_BIN", "/nowhere")),
        *reversed(debian),
        *([Path(on_path).parent] if on_path else []),
    ]
    return next((folder for folder in choices if (folder / "initdb").exists() and (folder / "postgres").exists()), None)


def unprivileged() -> dict[str, Any]:
    """How to start a process that is not root's, since PostgreSQL refuses to run as root."""
    if os.geteuid() != 0:
        return {}
    names = {entry.pw_name: entry for entry in pwd.getpwall()}
    user = names.get("postgres") or names["nobody"]
    return {"user": user.pw_uid, "group": user.pw_gid, "extra_groups": []}


@contextmanager
def running_cluster(bin_folder: Path) -> Iterator[str]:
    """A new, empty cluster; gives its address as a DATABASE_URL."""
    folder = Path(tempfile.mkdtemp(prefix="pgt-", dir="/tmp"))  # a short path: a socket's is at most 107 bytes
    folder.chmod(0o711)
    who = unprivileged()
    if who:
        os.chown(folder, who["user"], who["group"])
    watcher = subprocess.Popen(
        ["sh", "-c", WATCHER, "watcher", str(folder)], stdin=subprocess.PIPE, start_new_session=True
    )
    server: subprocess.Popen[str] | None = None
    try:
        server = start(bin_folder, folder, who)
        yield f"postgres://postgres@{str(folder).replace('/', '%2F')}/postgres"
    finally:
        if server is not None:
            server.send_signal(signal.SIGINT)
            server.wait()
        watcher.communicate()  # closes its input, and waits until it has removed the folder


def start(bin_folder: Path, folder: Path, who: dict[str, Any]) -> "subprocess.Popen[str]":
    data = folder / "data"
    make: list[str | Path] = [bin_folder / "initdb", "-D", data, "-U", "postgres", "-A", "trust", "-E", "UTF8"]
    quickly = ["--locale=C.UTF-8", "--no-sync", "--no-instructions"]
    subprocess.run([*make, *quickly], check=True, cwd=folder, stdout=subprocess.DEVNULL, **who)
    settings = [part for each in HASTE for part in ("-c", each)]
    serve: list[str | Path] = [bin_folder / "postgres", "-D", data, "-k", folder, *settings]
    with (folder / "log").open("w") as log:
        server = subprocess.Popen(serve, start_new_session=True, cwd=folder, stdout=log, stderr=log, **who)
    deadline = time.monotonic() + START_S
    while not is_ready(data):
        if server.poll() is not None or time.monotonic() > deadline:
            server.kill()
            raise RuntimeError(f"PostgreSQL did not start within {START_S} s:\n{(folder / 'log').read_text()}")
        time.sleep(0.02)
    return server


def is_ready(data: Path) -> bool:
    """PostgreSQL writes its state into line 8 of postmaster.pid; no client is needed to ask."""
    try:
        lines = (data / "postmaster.pid").read_text().splitlines()
    except FileNotFoundError:
        return False
    return len(lines) > 7 and lines[7].strip() == "ready"


def main(command: list[str]) -> int:
    bin_folder = programs()
    if bin_folder is None:
        sys.exit("There is no PostgreSQL here (initdb, postgres). Install it, or name its folder in PG_BIN.")
    with running_cluster(bin_folder) as url:
        env = {**os.environ, "DATABASE_URL": url, "TEST_TEMPLATE": "migrated"}  # tests/migrated.py
        return subprocess.run(command, check=False, env=env).returncode


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
