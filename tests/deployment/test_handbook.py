"""deploy/handbook/deployment.md, from the database to the first backup: its steps are run as they stand there."""

import os
import re
import shutil
import signal
import subprocess
import sys
from contextlib import suppress
from pathlib import Path

import psycopg
import pytest

from tests.deployment import clusters
from tests.deployment.processes import HOME, HOST, SERVER, Direct, free_port, plain, proxy, wait_until

PAGE = HOME / "deploy" / "handbook" / "deployment.md"
pytestmark = pytest.mark.long  # a machine as the page sets it up
PASSWORD = "an-invented-password-9"


def steps(name):
    """The commands of a block that the page marks as run."""
    block = re.search(rf"<!-- run: {name} -->\n\n((?:    .*\n|\n)+)", PAGE.read_text(encoding="utf-8"))
    assert block, name
    return re.sub(r"^    ", "", block[1], flags=re.M)


class HandbookMachine:
    """Where the steps are run: every folder of the page is one under here."""

    def __init__(self, folder: Path, cluster: clusters.Cluster) -> None:
        self.folder, self.cluster = folder, cluster
        self.ports = free_port(), free_port()
        self.fitted: set[Path] = set()
        for name in ("etc/wrapledger", "lib", "units", "sites", "run", "bin"):
            (folder / name).mkdir(parents=True)
        shim = f'#!/bin/sh\nexec "{sys.executable}" "{HOME}/tests/deployment/systemctl.py" "$@"\n'
        self._program("systemctl", shim)
        (folder / "nginx.conf").write_text(f"events {{}} pid {folder}/pid; http {{ include {folder}/sites/*; }}\n")
        self._program(
            "nginx", f'#!/bin/sh\nexec {shutil.which("nginx")} "$@" -c {folder}/nginx.conf -e {folder}/run/log\n'
        )
        self.env = {
            "PATH": f"{folder}/bin:{clusters.bin_folder()}:{os.environ['PATH']}", "UNITS": str(folder / "units"),
            "RUN": str(folder / "run"), "PGHOST": "127.0.0.1", "PGPORT": str(cluster.port), "PGUSER": "postgres",
            "DJANGO_SUPERUSER_PASSWORD": PASSWORD, "PG_BIN": str(clusters.bin_folder()), "HOME": str(folder),
        }  # fmt: skip

    def _program(self, name, text):
        (self.folder / "bin" / name).write_text(text)
        (self.folder / "bin" / name).chmod(0o755)

    def here(self, text):
        """The page's folders, addresses and ports as they are here."""
        for theirs, ours in {
            "/opt/wrapledger": HOME, "/etc/wrapledger": self.folder / "etc/wrapledger",
            "/var/lib/wrapledger": self.folder / "lib", "/etc/systemd/system": self.folder / "units",
            "/etc/nginx/sites-enabled": self.folder / "sites", "%2Fvar%2Frun%2Fpostgresql": "127.0.0.1",
            "8001": self.ports[0], "8002": self.ports[1], "pip install": "pip install --dry-run",
        }.items():  # fmt: skip
            text = text.replace(theirs, str(ours))
        return text

    def run(self, name):
        done = subprocess.run(["sh", "-eu", "-c", self.here(steps(name))], env=self.env, cwd=self.folder,
                              capture_output=True, text=True, check=False)  # fmt: skip
        assert done.returncode == 0, f"{name}: {done.stdout[-1500:]}{done.stderr[-3000:]}"
        self._make_it_fit()
        return done.stdout

    def _make_it_fit(self):
        """What an administrator edits: the files that were copied name the page's folders."""
        for path in {*self.folder.glob("etc/wrapledger/environment"), *self.folder.glob("units/*")} - self.fitted:
            path.write_text(self.here(path.read_text()))
            self.fitted.add(path)

    def systemctl(self, *words):
        return subprocess.run([self.folder / "bin" / "systemctl", *words], env=self.env, check=False).returncode

    def end(self):
        for file in self.folder.glob("run/*.pid"):
            with suppress(ProcessLookupError):
                os.killpg(int(file.read_text()), signal.SIGKILL)


@pytest.fixture(scope="module")
def machine(tmp_path_factory):
    with clusters.running() as cluster:
        made = HandbookMachine(tmp_path_factory.mktemp("machine"), cluster)
        try:
            made.run("database")
            made.run("settings")
            made.run("keys")
            made.run("tables")
            made.run("units")
            made.run("start")
            yield made
        finally:
            made.end()


def test_the_nodes_are_ready_as_the_page_asks_them(machine):
    for port in machine.ports:
        wait_until(lambda: is_ready(port), "the node is ready", 60)  # noqa: B023  # waited for within the loop
    assert machine.run("health").count('"ready": true') == 2


def test_the_worker_runs(machine):
    wait_until(lambda: plain(machine.ports[0], "/readyz").body["worker"] == "ok", "a worker says that it runs", 60)


def is_ready(port):
    with suppress(OSError):
        return plain(port, "/readyz").status == 200
    return False


def test_the_first_administrator_logs_in(machine):
    answer = Direct(machine.ports[0]).send("POST", "/api/v1/session", {"username": "orla", "password": PASSWORD})
    assert (answer.status, answer.body["person"]["full_name"]) == (200, "Orla Finch")


def test_the_service_itself_cannot_touch_what_guards_its_records(machine):
    with psycopg.connect(f"postgres://wrapledger@127.0.0.1:{machine.cluster.port}/wrapledger", autocommit=True) as link:
        for statement in (
            "TRUNCATE reels_historyentry CASCADE",
            "ALTER TABLE reels_historyentry DISABLE TRIGGER ALL",
            "DROP TABLE reels_historyentry",
            "CREATE TABLE reels_mine (x int)",
            "SET session_replication_role = replica",
        ):
            with pytest.raises(psycopg.errors.InsufficientPrivilege):
                link.execute(statement)
        with pytest.raises(psycopg.IntegrityError):
            link.execute("DELETE FROM reels_historyentry")


def test_the_proxy_takes_the_site_as_it_is_installed(machine):
    if not (machine.folder / "etc/wrapledger/tls.crt").exists():
        with proxy(machine.folder / "etc/wrapledger", list(machine.ports)) as client:
            assert client.send("GET", "/login").status == 200
    (machine.folder / "var").mkdir(exist_ok=True)
    site = machine.folder / "sites" / "wrapledger.conf"
    shutil.copy(SERVER / "nginx.conf", site)
    text = machine.here(site.read_text()).replace("/var/log/nginx", str(machine.folder / "run"))
    site.write_text(text.replace("listen 80", f"listen {free_port()}").replace("listen 443", f"listen {free_port()}"))
    assert subprocess.run([machine.folder / "bin" / "nginx", "-t", "-q"], env=machine.env, check=False).returncode == 0
    assert HOST in text


@pytest.mark.parametrize("task", ["nightly", "checkpoint", "backup"])
def test_each_nightly_task_ends_well(machine, task):
    if task == "backup":
        environment = machine.folder / "etc/wrapledger/environment"
        environment.write_text(f"{environment.read_text()}\nBACKUP_URL={machine.cluster.url}\n")
    assert machine.systemctl("start", f"wrapledger-{task}.service") == 0


def test_a_new_release_is_installed_as_the_page_says(machine):
    machine.run("release")
    for port in machine.ports:
        wait_until(lambda: is_ready(port), "the node is ready", 60)  # noqa: B023  # waited for within the loop


def test_the_backup_of_the_page_is_made(machine):
    machine.env["BACKUP_URL"] = machine.cluster.url
    kept = machine.run("backup").splitlines()[-1]
    assert (Path(kept) / "PG_VERSION").exists()
