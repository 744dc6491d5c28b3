"""A few kills of the long study, and the other things that go wrong with machines: each has a clear answer."""

import os
import shutil
import subprocess
from contextlib import contextmanager

import pytest

from tests.deployment import clusters, faults
from tests.deployment.checks import make_world, wrong
from tests.deployment.load import PREPARATION, Load, readings_of
from tests.deployment.processes import Direct, Node, manage, plain, settings_of, wait_until

KILLS = {"sqlite": 3, "postgresql": 5}


@pytest.mark.parametrize("database", ["sqlite", pytest.param("postgresql", marks=pytest.mark.long)])
def test_killed_under_load_it_loses_nothing_that_it_acknowledged(database):
    said: list[str] = []
    assert faults.study(database, KILLS[database], 7, said.append) == [], said


@pytest.fixture
def node_on():
    started = []

    def start(env, application="tests.served_app"):
        started.append(Node(env, application=application).start().ready())
        return started[-1]

    yield start
    for node in started:
        node.stop()


@pytest.mark.long
def test_a_database_that_goes_is_told_and_when_it_is_back_work_goes_on(tmp_path, node_on):
    with clusters.running() as cluster:
        env = settings_of(tmp_path, cluster.url)
        world = make_world(env, 2)
        manage(env, "collectstatic", "--noinput", "--verbosity", "0")
        node = node_on(env)
        client, token = Direct(node.port), {"Authorization": f"Bearer {world['token']}"}
        assert client.send("GET", "/api/v1/reels", headers=token).status == 200
        cluster.kill()
        gone = client.send("GET", "/api/v1/reels", headers=token)
        assert (gone.status, gone.body["type"], gone.headers["Retry-After"]) == (503, "/problems/unreachable", "5")
        page = client.send("GET", "/board", headers={"Cookie": world["cookies"]["control"]})
        assert (page.status, "The records cannot be reached" in page.body) == (503, True)
        assert (plain(node.port, "/healthz").status, plain(node.port, "/readyz").status) == (200, 503)
        cluster.start()
        wait_until(node.is_ready, "the node is ready again")
        assert client.send("GET", "/api/v1/reels", headers=token).status == 200


@contextmanager
def small_disk(folder, size):
    """A disk of its own, mounted there."""
    folder.mkdir()
    subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={size}", "tmpfs", folder], check=True)
    try:
        yield folder
    finally:
        subprocess.run(["umount", "-l", folder], check=True)


def fill(disk, *, but_bytes):
    """Leave so few bytes free; what takes the room."""
    left = os.statvfs(disk)
    ballast = disk / "ballast"
    ballast.write_bytes(b"x" * max(0, left.f_bavail * left.f_bsize - but_bytes))
    return ballast


def goes_on_after_a_full_disk(env, node, disk, is_up):
    """The disk fills under load; what is answered then; and that work goes on once there is room again."""
    world = make_world(env, 40)
    load = Load(Direct(node.start().ready().port), world, patience_s=2)
    ballast = fill(disk, but_bytes=100_000)
    with load.running():
        wait_until(lambda: load.sent_again, "the disk is full", 90)
    assert all("/problems/unreachable" in why for why in load.sent_again), load.sent_again[:3]
    ballast.unlink()
    is_up()
    wait_until(node.is_ready, "the node is ready")
    load.refused.clear()
    load.patience_s = 60
    done = len(load.acknowledged)
    with load.running():
        wait_until(lambda: len(load.acknowledged) > done, "work goes on", 60)
    assert wrong(env, load) == []


ONLY_ROOT = pytest.mark.skipif(os.geteuid() != 0, reason="a small disk is mounted, which only root may")


@pytest.mark.long
@ONLY_ROOT
def test_a_disk_that_sqlite_fills_is_told_and_what_was_acknowledged_stays(tmp_path):
    with small_disk(tmp_path / "disk", "6m") as disk:
        env = settings_of(tmp_path, f"sqlite:///{disk}/records.sqlite3")
        node = Node(env, application="tests.served_app")
        try:
            goes_on_after_a_full_disk(env, node, disk, lambda: None)
        finally:
            node.stop()


@pytest.mark.long
@ONLY_ROOT
def test_a_disk_that_postgresql_fills_is_told_and_what_was_acknowledged_stays(tmp_path):
    with clusters.workshop() as folder, small_disk(folder / "disk", "160m") as disk:
        shutil.chown(disk, *clusters.owner())
        cluster = clusters.Cluster(disk / "data", max_wal_size="32MB", min_wal_size="32MB").make().start()
        env = settings_of(tmp_path, cluster.url)
        node = Node(env, application="tests.served_app")
        try:
            goes_on_after_a_full_disk(env, node, disk, cluster.ensure_running)
        finally:
            node.stop()
            cluster.stop()


def test_a_clock_that_steps_back_spoils_no_record(tmp_path, node_on):
    clock = tmp_path / "clock"
    clock.write_text("0")
    env = {**settings_of(tmp_path, f"sqlite:///{tmp_path}/records.sqlite3"), "CLOCK_IS_OFF": str(clock)}
    world = make_world(env, 3)
    node = node_on(env, "tests.deployment.odd_clock_app")
    client, token = Direct(node.port), {"Authorization": f"Bearer {world['token']}"}
    answers = []
    for back_s, serial in ((0, world["serials"][0]), (3600, world["serials"][1])):
        clock.write_text("0")
        key = {**token, "Idempotency-Key": f'"open-{serial}"'}
        opened = client.send("POST", f"/api/v1/reels/{serial}/inspections", PREPARATION, key)
        assert opened.status == 201, opened.body
        clock.write_text(f"-{back_s}")
        key = {**token, "Idempotency-Key": f'"read-{serial}"'}
        read = client.send("POST", f"/api/v1/inspections/{opened.body['id']}/readings", readings_of(serial), key)
        answers.append((read.status, read.body.get("type", "")))
    assert answers[0] == (201, "")
    assert answers[1][0] < 500, answers
    assert wrong(env, Load(client, world)) == []
