"""PostgreSQL as a deployment runs it: durable, on a port of loopback, archived, replicated, killed, started again.

`python -m tests.deployment.clusters COMMAND…` runs a command with one, which it finds through DATABASE_URL.
"""

import os
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

import psycopg

from tests.deployment.processes import HOME, free_port, wait_until
from tests.postgres import WATCHER, is_ready, programs, unprivileged


def bin_folder() -> Path:
    found = programs()
    assert found is not None, "PostgreSQL is not installed (initdb, postgres), and PG_BIN names no folder of it"
    return found


def owner() -> tuple[int, int]:
    """Whom PostgreSQL's files belong to."""
    who = unprivileged()
    return (who["user"], who["group"]) if who else (os.geteuid(), os.getegid())


@contextmanager
def workshop() -> Iterator[Path]:
    """A folder in which PostgreSQL's user may write; gone afterwards, with every server in it."""
    folder = Path(tempfile.mkdtemp(prefix="pgd-", dir="/tmp"))
    folder.chmod(0o711)
    # Copies, for PostgreSQL's user may not be able to look into this house.
    shutil.copytree(HOME / "deploy" / "server", folder / "server")
    os.chown(folder, *owner())
    try:
        yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def as_postgres(*command: Any, **env: str) -> str:
    """Run one of PostgreSQL's programs, or ours, as its user."""
    whole = {**os.environ, "PATH": f"{bin_folder()}:{os.environ['PATH']}", "PG_BIN": str(bin_folder()), **env}
    done = subprocess.run(
        [str(part) for part in command],
        cwd="/tmp",
        env=whole,
        capture_output=True,
        text=True,
        check=False,
        **unprivileged(),
    )
    assert done.returncode == 0, f"{command}: {done.stdout}{done.stderr}"
    return str(done.stdout)


class Cluster:
    """One server. `data` is its folder, beside which its socket and log are."""

    def __init__(self, data: Path, **settings: str) -> None:
        self.data, self.port, self.settings = data, free_port(), settings
        self.process: subprocess.Popen[bytes] | None = None
        self.watcher: subprocess.Popen[bytes] | None = None

    @property
    def url(self) -> str:
        return f"postgres://postgres@127.0.0.1:{self.port}/postgres"

    def make(self) -> "Cluster":
        as_postgres(
            "initdb", "-D", self.data, "-U", "postgres", "-A", "trust", "-E", "UTF8", "--locale=C.UTF-8", "--no-sync"
        )
        return self

    def start(self, *, wait: bool = True) -> "Cluster":
        where = {"listen_addresses": "127.0.0.1", "port": str(self.port)}
        own = {**where, "unix_socket_directories": str(self.data.parent), "shared_buffers": "32MB", **self.settings}
        given = [part for name, value in own.items() for part in ("-c", f"{name}={value}")]
        (self.data / "postmaster.pid").unlink(missing_ok=True)
        with (self.data.parent / f"{self.data.name}.log").open("ab") as log:
            command = [str(bin_folder() / "postgres"), "-D", str(self.data), *given]
            self.process = subprocess.Popen(
                command, cwd="/tmp", stdout=log, stderr=log, start_new_session=True, **unprivileged()
            )
        if self.watcher is None:
            watch = ["sh", "-c", WATCHER.replace("/data/", "/").replace('; rm -rf "$1"', ""), "watcher", str(self.data)]
            self.watcher = subprocess.Popen(watch, stdin=subprocess.PIPE, start_new_session=True)
        if wait:
            wait_until(lambda: is_ready(self.data), "PostgreSQL starts", within_s=60)
        return self

    def log(self) -> str:
        return (self.data.parent / f"{self.data.name}.log").read_text(errors="replace")

    def ensure_running(self) -> None:
        """Start it again if it gave up, as systemd would."""
        assert self.process is not None
        if self.process.poll() is not None:
            self.start()

    def kill(self) -> None:
        """`kill -9` of the whole server at once, as a machine that loses its power."""
        assert self.process is not None
        for pid in (self.process.pid, *self.backends()):
            try:
                os.kill(pid, signal.SIGKILL)
            except ProcessLookupError:
                continue
        self.process.wait()
        time.sleep(0.1)

    @contextmanager
    def frozen(self) -> Iterator[None]:
        """Stopped in the midst of it all: its connections stay open, and nobody answers."""
        assert self.process is not None
        pids = [self.process.pid, *self.backends()]
        for pid in pids:
            os.kill(pid, signal.SIGSTOP)
        try:
            yield
        finally:
            for pid in pids:
                os.kill(pid, signal.SIGCONT)

    def backends(self) -> list[int]:
        assert self.process is not None
        children = Path(f"/proc/{self.process.pid}/task/{self.process.pid}/children")
        return [int(pid) for pid in children.read_text().split()] if children.exists() else []

    def stop(self) -> None:
        if self.process is not None and self.process.poll() is None:
            self.process.send_signal(signal.SIGINT)
            self.process.wait(30)
        if self.watcher is not None:
            self.watcher.communicate()
            self.watcher = None

    def ask(self, sql: str) -> Any:
        with psycopg.connect(self.url, autocommit=True, connect_timeout=5) as link:
            cursor = link.execute(sql)
            return cursor.fetchall() if cursor.description else None


@contextmanager
def running(**settings: str) -> Iterator[Cluster]:
    """A new cluster, with PostgreSQL's own durable settings."""
    with workshop() as folder:
        cluster = Cluster(folder / "primary", **settings).make().start()
        try:
            yield cluster
        finally:
            cluster.stop()


if __name__ == "__main__":
    with running() as own:
        sys.exit(subprocess.run(sys.argv[1:], check=False, env={**os.environ, "DATABASE_URL": own.url}).returncode)
