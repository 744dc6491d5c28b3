"""A primary and a synchronous standby: the primary is killed under load, the standby promoted, and nothing is lost."""

import threading
import time

import pytest

from tests.deployment import pairs
from tests.deployment.checks import figures, make_world, wrong
from tests.deployment.clusters import as_postgres
from tests.deployment.load import Load
from tests.deployment.processes import Direct, Node, plain, settings_of, wait_until

REELS = 120

pytestmark = pytest.mark.long  # a cluster of two for each test


@pytest.fixture
def pair():
    with pairs.running() as made:
        yield made


def test_the_primary_is_killed_under_load_and_nothing_acknowledged_is_lost(pair, tmp_path):
    env = settings_of(tmp_path, pair.url)
    world = make_world(env, REELS)
    node = Node(env, application="tests.served_app").start()
    try:
        load = Load(Direct(node.ready().port), world, timeout_s=15)
        with load.running():
            wait_until(lambda: len(load.acknowledged) > 30, "work is done", 60)
            pair.primary.kill()
            killed_at = time.monotonic()
            as_postgres(pair.scripts / "promote_standby", pair.standby.data)
            promoted_at = time.monotonic()
            done = len(load.acknowledged)
            wait_until(lambda: len(load.acknowledged) > done + 30, "work goes on", 60)
        back_s = min(each.at for each in load.acknowledged if each.at > killed_at + 0.05) - killed_at
        print(f"promoted after {promoted_at - killed_at:.1f} s; work went on after {back_s:.1f} s; {figures(load)}")
        assert load.refused == []
        assert node.is_ready()
    finally:
        node.stop()
    env["DATABASE_URL"] = pair.standby.url
    assert wrong(env, load) == []


def test_a_standby_is_no_place_to_send_requests_to(pair, tmp_path):
    env = settings_of(tmp_path, pair.primary.url)
    world = make_world(env, 1)
    node = Node({**env, "DATABASE_URL": pair.standby.url}, application="tests.served_app").start()
    try:
        wait_until(node.is_alive, "the node answers", 60)
        ready = plain(node.port, "/readyz")
        assert (ready.status, ready.body["database"]) == (503, "read only: a standby")
        load = Load(Direct(node.port), world, senders=1, patience_s=1)
        with load.running():
            wait_until(lambda: load.refused, "patience ends", 60)
        assert load.acknowledged == []
        assert all("/problems/unreachable" in why for why in load.sent_again)
    finally:
        node.stop()


def test_without_its_standby_the_primary_acknowledges_nothing_until_somebody_decides(pair, tmp_path):
    env = settings_of(tmp_path, pair.url)
    world = make_world(env, 1)
    node = Node(env, application="tests.served_app").start()
    try:
        load = Load(Direct(node.ready().port), world, senders=1)
        pair.standby.kill()
        with load.running():
            threading.Event().wait(3)
            assert load.acknowledged == []
            pair.primary.ask("ALTER SYSTEM SET synchronous_standby_names = ''")
            pair.primary.ask("SELECT pg_reload_conf()")
            wait_until(lambda: len(load.acknowledged) == 5, "the whole count is done", 120)
        assert load.refused == []
        env["DATABASE_URL"] = pair.primary.url
        assert wrong(env, load) == []
    finally:
        node.stop()
