"""Reports read from a real standby: what it has not got yet is not in them, and they say so; lost, it is not missed."""

import re

import pytest

from inspections.domain.words import ReelStatus
from inspections.pages.words import STATUS
from tests.deployment import pairs
from tests.deployment.checks import make_world
from tests.deployment.clusters import as_postgres
from tests.deployment.load import Load
from tests.deployment.processes import METRICS_TOKEN, Direct, Node, manage, plain, python, settings_of, wait_until
from tests.reports.fleet import COUNTS_A_REEL

pytestmark = pytest.mark.long  # a cluster of two for each; tests/deploy/test_standby.py tries the choice without one
OF_A_COUNT = 5  # requests
SEEN = 3  # reels of the fleet at the site of whoever asks
BRING_IN = "import django; django.setup(); from tests.reports.fleet import assessed_fleet; assessed_fleet()"


class Service:
    """A node that was told of both, and what somebody sees there who may read everything."""

    def __init__(self, pair, folder, **settings):
        self.pair = pair
        own = {"STANDBY_DATABASE_URL": pair.standby.url, "STANDBY_LIMIT_SECONDS": "600", **settings}
        self.env = {**settings_of(folder, pair.url), **own}
        self.world = make_world(self.env, 4)
        manage(self.env, "collectstatic", "--noinput", "--verbosity", "0")
        self.node = Node(self.env, application="tests.served_app").start()
        self.client = Direct(self.node.ready().port)
        self.uncounted = list(self.world["serials"])

    def count(self):
        """One reel, whole: two signatures."""
        load = Load(self.client, {**self.world, "serials": [self.uncounted.pop()]}, senders=1)
        with load.running():
            wait_until(lambda: len(load.acknowledged) == OF_A_COUNT, "a count is done", 60)

    def get(self, path):
        answer = self.client.send("GET", path, headers={"Cookie": self.world["cookies"]["control"]})
        assert answer.status == 200, answer.body
        return answer

    def signatures(self):
        """How many the report has, and how far behind it says that it is; None: read from the primary."""
        answer = self.get("/audit.csv")
        behind = answer.headers.get("Seconds-Behind")
        return len(answer.body.splitlines()) - 1, behind if behind is None else int(behind)

    def is_read_from_standby(self):
        return self.signatures()[1] is not None

    def intervals(self):
        """How many the drift report has, as it is streamed in both forms; None: read from the primary."""
        table, tree = self.get("/api/v1/reports/drift?format=csv"), self.get("/api/v1/reports/drift")
        if not {"Seconds-Behind"} <= set(table.headers) & set(tree.headers):
            return None
        return len(table.body.splitlines()) - 1, len(tree.body["results"])

    def says_it_is_away(self):
        return "The standby does not answer" in self.node.log.read_text()


@pytest.fixture
def pair():
    with pairs.running() as made:
        yield made


@pytest.fixture
def service(pair, tmp_path):
    made = Service(pair, tmp_path)
    yield made
    made.node.stop()


def test_a_report_shows_what_the_standby_has_and_the_board_what_the_primary_has(service, pair):
    service.count()
    wait_until(lambda: service.signatures() == (2, 0), "the standby has all of it")
    pair.standby.ask("SELECT pg_wal_replay_pause()")
    service.count()
    wait_until(lambda: service.signatures()[1] > 2, "it is behind")
    assert service.signatures()[0] == 2
    page = service.get("/audit").body
    assert "2 signatures." in page
    assert re.search(r"Read from the standby, which is \d+ seconds behind\.", page)
    board, counts = service.get("/board"), service.get("/api/v1/inspections")
    assert [each["state"] for each in counts.body["results"]] == ["signed", "signed"]
    assert board.body.count(STATUS[ReelStatus.VALUES_ISSUED].word + "</span>") == 2
    assert "Seconds-Behind" not in {*board.headers, *counts.headers}
    metrics = plain(service.node.port, "/metrics", {"Authorization": f"Bearer {METRICS_TOKEN}"}).body
    assert float(re.findall(r"^wrapledger_standby_behind_seconds (\S+)", metrics, re.M)[0]) > 2
    pair.standby.ask("SELECT pg_wal_replay_resume()")
    wait_until(lambda: service.signatures() == (4, 0), "the standby has all of it")


def test_a_report_that_is_worked_out_first_is_written_to_the_primary_and_streamed_from_the_standby(service, pair):
    python({**service.env, "DJANGO_SETTINGS_MODULE": "deploy.settings"}, "-c", BRING_IN)
    whole = SEEN * (COUNTS_A_REEL - 1)
    wait_until(lambda: service.intervals() == (whole, whole), "the standby has all of it")
    scans = "SELECT seq_scan + idx_scan FROM pg_stat_user_tables WHERE relname = 'reports_assessedinterval'"
    wait_until(lambda: pair.standby.ask(scans) > [(0,)], "the standby counted that it was read")


def test_one_that_is_further_behind_than_allowed_is_not_read(pair, tmp_path):
    service = Service(pair, tmp_path, STANDBY_LIMIT_SECONDS="2")
    try:
        wait_until(service.is_read_from_standby, "it is read")
        pair.standby.ask("SELECT pg_wal_replay_pause()")
        service.count()
        wait_until(lambda: service.signatures() == (2, None), "it is too far behind")
        assert "standby" not in service.get("/audit").body
        pair.standby.ask("SELECT pg_wal_replay_resume()")
        wait_until(lambda: service.signatures() == (2, 0), "it is read again")
    finally:
        service.node.stop()


def test_a_standby_that_is_killed_is_not_missed_and_is_read_again_when_it_is_back(service, pair):
    service.count()
    wait_until(lambda: service.signatures() == (2, 0), "the standby has all of it")
    pair.go_on_with_one()
    pair.standby.kill()
    for _ in range(6):
        assert service.signatures() == (2, None)
    assert "standby" not in service.get("/audit").body
    assert service.says_it_is_away()
    assert service.node.is_ready()
    pair.standby.start()
    wait_until(service.is_read_from_standby, "it is read again")


def test_a_standby_that_is_frozen_is_not_waited_for(service, pair):
    service.count()
    wait_until(lambda: service.signatures() == (2, 0), "the standby has all of it")
    pair.go_on_with_one()
    with pair.standby.frozen():
        for _ in range(6):
            assert service.signatures() == (2, None)
    assert service.says_it_is_away()
    wait_until(service.is_read_from_standby, "it is read again")


def test_a_standby_that_was_promoted_is_the_primary_and_nobody_is_told_of_another(service, pair):
    service.count()
    wait_until(lambda: service.signatures() == (2, 0), "the standby has all of it")
    pair.primary.kill()
    as_postgres(pair.scripts / "promote_standby", pair.standby.data)
    wait_until(service.node.is_ready, "the nodes find it")
    assert service.signatures() == (2, None)
    service.count()
    assert service.signatures() == (4, None)
