"""nginx, two nodes and PostgreSQL as real processes: TLS, restarts under load, and a node that is killed."""

import re
import socket
from threading import Thread

import pytest

from inspections.api.import_views import ImportEndpoint
from reports.pdf.examination import MAX_BYTES
from tests.deployment import clusters
from tests.deployment.checks import make_world, wrong
from tests.deployment.load import Load
from tests.deployment.processes import (
    HOST,
    METRICS_TOKEN,
    Node,
    manage,
    plain,
    proxy,
    settings_of,
    wait_until,
)

pytestmark = pytest.mark.long  # what each node does by itself, and the kill study on SQLite, are tried always
REELS = 200
STORM = 150


@pytest.fixture(scope="module")
def site(tmp_path_factory):
    """Two nodes, the second on a socket that is held open for it, behind the proxy; and a world to work in."""
    folder = tmp_path_factory.mktemp("site")
    with clusters.running() as cluster:
        env = settings_of(folder, cluster.url)
        world = make_world(env, REELS)
        manage(env, "collectstatic", "--noinput", "--verbosity", "0")
        held = socket.create_server(("127.0.0.1", 0), backlog=512)
        nodes = [Node(env, application="tests.served_app").start(),
                 Node(env, handed_over=held, application="tests.served_app").start()]  # fmt: skip
        try:
            for node in nodes:
                node.ready()
            with proxy(folder, [node.port for node in nodes]) as client:
                yield RunningSite(env, world, nodes, client)
        finally:
            for node in nodes:
                node.stop()
            held.close()


class RunningSite:
    def __init__(self, env, world, nodes, client) -> None:
        self.env, self.nodes, self.client = env, nodes, client
        self.load = Load(client, world)


def test_the_proxy_speaks_tls_and_sends_plain_requests_there(site):
    page = site.client.send("GET", "/login")
    assert (page.status, "Wrapledger" in page.body) == (200, True)
    assert page.headers["Strict-Transport-Security"].startswith("max-age=31536000")
    assert re.fullmatch(r"[0-9a-f]{32}", page.headers["X-Request-ID"])


def test_static_files_come_compressed_and_to_be_kept(site):
    page = site.client.send("GET", "/login").body
    [style] = re.findall(r'href="(/static/[^"]+\.css)"', page)[:1]
    answer = site.client.send("GET", style, headers={"Accept-Encoding": "gzip"})
    assert (answer.status, answer.headers["Content-Encoding"]) == (200, "gzip")
    assert "immutable" in answer.headers["Cache-Control"]


def test_what_belongs_to_a_node_is_not_shown_outside(site):
    for path in ("/metrics", "/healthz", "/readyz"):
        answer = site.client.send("GET", path, headers={"Authorization": f"Bearer {METRICS_TOKEN}"})
        assert answer.status == 404, path


def test_each_node_tells_the_metrics_of_all_its_processes(site):
    for node in site.nodes:
        for _ in range(8):
            plain(node.port, "/healthz")
        text = plain(node.port, "/metrics", {"Authorization": f"Bearer {METRICS_TOKEN}"}).body
        [told] = re.findall(r'wrapledger_requests_total\{method="GET",route="healthz",status="200"\} (\d+)', text)
        assert int(float(told)) == 8


def test_the_log_is_json_with_the_id_that_the_proxy_gave(site):
    given = site.client.send("GET", "/api/v1/reels")
    assert (given.status, given.body["request_id"]) == (401, given.headers["X-Request-ID"])
    logs = "".join(node.log.read_text() for node in site.nodes)
    [line] = [line for line in logs.splitlines() if given.body["request_id"] in line and "wrapledger.requests" in line]
    assert line.startswith("{")
    assert '"status": 401' in line


def test_a_body_that_is_too_large_is_told_in_json(site):
    answer = site.client.send("POST", "/api/v1/workings", b"x" * 1_100_000)
    assert (answer.status, answer.body["type"]) == (413, "/problems/body-too-large")
    assert answer.body["request_id"] == answer.headers["X-Request-ID"]


@pytest.mark.parametrize(
    ("path", "most"), [("/api/v1/imports", ImportEndpoint.most_body_bytes), ("/documents/check", MAX_BYTES)]
)
def test_what_the_service_takes_large_the_proxy_lets_through(site, path, most):
    for size, is_refused in ((most, False), (int(most * 1.1), True)):
        answer = site.client.send("POST", path, b"x" * size)
        assert (answer.status == 413) == is_refused, (path, size, answer.status)


def test_a_client_that_sends_slowly_keeps_nobody_else_waiting(site):
    slow = [socket.create_connection(("127.0.0.1", site.client.port)) for _ in range(20)]
    wrapped = [site.client.context.wrap_socket(each, server_hostname=HOST) for each in slow]
    for each in wrapped:
        each.sendall(f"POST /api/v1/workings HTTP/1.1\r\nHost: {HOST}\r\nContent-Length: 100000\r\n\r\n{{".encode())
    answers = [site.client.send("GET", "/login", timeout=10).status for _ in range(5)]
    for each in wrapped:
        each.close()
    assert answers == [200] * 5


def test_a_storm_of_connections_is_answered(site):
    answers: list[int] = []
    storm = [Thread(target=lambda: answers.append(site.client.send("GET", "/login").status)) for _ in range(STORM)]
    for each in storm:
        each.start()
    for each in storm:
        each.join(120)
    assert answers == [200] * STORM


def test_new_code_is_taken_up_under_load_without_a_request_refused(site):
    node = site.nodes[0]
    before = set(node.workers())
    with site.load.running():
        site.load.more(10)
        site.load.sent_again.clear()
        node.reload()
        wait_until(lambda: node.workers() and not before & set(node.workers()), "the old processes are gone", 60)
        site.load.more(10)
    assert (site.load.refused, site.load.sent_again) == ([], [])
    assert wrong(site.env, site.load) == []


def test_a_node_is_stopped_and_started_on_its_socket_without_a_request_refused(site):
    node = site.nodes[1]
    with site.load.running():
        site.load.more(10)
        site.load.sent_again.clear()
        node.stop()
        node.start().ready()
        site.load.more(10)
    assert (site.load.refused, site.load.sent_again) == ([], [])
    assert wrong(site.env, site.load) == []


def test_a_node_killed_under_load_loses_nothing_and_stores_nothing_twice(site):
    node = site.nodes[0]
    with site.load.running():
        site.load.more(10)
        node.kill()
        site.load.more(10)
        node.start().ready()
    assert site.load.refused == []
    assert wrong(site.env, site.load) == []


def test_without_any_node_the_proxy_says_when_to_come_back(site):
    for node in site.nodes:
        node.kill()
    site.nodes[1].handed_over.close()
    api, page = (site.client.send("GET", path) for path in ("/api/v1/reels", "/login"))
    assert (api.status, api.body["type"], api.headers["Retry-After"]) == (503, "/problems/unreachable", "5")
    assert (page.status, "starting or was stopped" in page.body) == (503, True)
