"""The example clients of the handbook, against a real server and over a network that fails."""

import json
import os
import shutil
import subprocess
import sys
import threading
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from urllib.error import HTTPError
from urllib.request import Request, urlopen
from xml.etree import ElementTree

import pytest

from inspections.models import Inspection
from reels.domain.words import Scope
from reels.models import CableEvent, HistoryEntry, Person
from tests import builders
from tests.api_fixtures import PREPARATION, make_token
from tests.builders import GOOD, Cast
from tests.reports import fleet

pytestmark = pytest.mark.django_db(transaction=True)
EXAMPLES = Path(__file__).parents[2] / "deploy" / "handbook" / "examples"
CUT = {"kind": "cut", "happened_at": "2026-03-01T10:00:00Z", "length_removed_m": "12.5"}
HOLD_POINTS = (
    "serial", "open_side", "scale_left", "scale_right", "hand_wraps", "gauge_face", "gauge_wraps", "crossover_half",
)  # fmt: skip


class BadNetwork(BaseHTTPRequestHandler):
    """Stands between client and server; loses requests, cuts answers off, or answers 503 itself."""

    target = ""
    faults: list[str] = []

    def do_POST(self) -> None:
        body = self.rfile.read(int(self.headers["Content-Length"]))
        fault = self.faults.pop(0) if self.faults else "none"
        if fault == "lost":
            self.connection.close()
            return
        if fault == "busy":
            self.send_error(503)
            return
        status, content = self.passed_on(body)
        if fault == "cut off":  # carried out, and nobody is told
            self.connection.close()
            return
        self.send_response(status)
        self.send_header("Content-Length", str(len(content)))
        self.end_headers()
        self.wfile.write(content)

    def passed_on(self, body: bytes) -> tuple[int, bytes]:
        kept = {name: self.headers[name] for name in ("Authorization", "Content-Type", "Idempotency-Key")}
        try:
            request = Request(self.target + self.path, body, kept)  # noqa: S310  # the test's own server
            with urlopen(request, timeout=30) as answer:  # noqa: S310  # as above
                return answer.status, answer.read()
        except HTTPError as error:
            return error.code, error.read()

    def log_message(self, *_: object) -> None:
        pass


@pytest.fixture
def bad_network(live_server):
    server = ThreadingHTTPServer(("127.0.0.1", 0), BadNetwork)
    BadNetwork.target, BadNetwork.faults = live_server.url, []
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    yield f"http://127.0.0.1:{server.server_port}"
    server.shutdown()
    server.server_close()
    thread.join()


@pytest.fixture
def cast(transactional_db):
    cast = Cast()
    builders.make_reel()
    builders.make_gauge()
    return cast


def run(*command: str, token: str) -> subprocess.CompletedProcess[str]:
    settings = {**os.environ, "WRAPLEDGER_TOKEN": token, "FIRST_WAIT_S": "0.01", "no_proxy": "127.0.0.1,localhost"}
    return subprocess.run(command, env=settings, capture_output=True, text=True, timeout=120, check=False)


def spool_token(cast: Cast) -> str:
    return make_token(cast.technician, Scope.READINGS, Scope.CABLE_EVENTS, Scope.READ)


def a_count(**changes: object) -> dict[str, object]:
    seen = {"serial": "LW-0001", **GOOD, **changes}
    return {
        "reel": "LW-0001",
        "preparation": {**PREPARATION, "technician": "tess"},
        "reading": {
            "gauge": {"wrap_gauge": "WG-RM-7", "end_marks_match": True, "is_back": True},
            "technician": {"person": "tess", **seen},
            "verifier": {"person": "vic", **{name: seen[name] for name in HOLD_POINTS}},
        },
    }


def put(spool: Path, name: str, item: object) -> None:
    spool.mkdir(exist_ok=True)
    (spool / name).write_text(item if isinstance(item, str) else json.dumps(item), encoding="utf-8")


def post_spool(service: str, spool: Path, token: str) -> subprocess.CompletedProcess[str]:
    return run(sys.executable, str(EXAMPLES / "post_spool.py"), service, str(spool), token=token)


def test_a_spool_is_stored_once_over_a_network_that_fails(cast, bad_network, tmp_path):
    put(tmp_path, "1-cut.json", {"reel": "LW-0001", "cable_event": CUT})
    put(tmp_path, "2-count.json", a_count())
    BadNetwork.faults = ["lost", "cut off", "busy", "none", "cut off", "lost", "none", "busy", "cut off", "none"]
    ended = post_spool(bad_network, tmp_path, spool_token(cast))
    assert (ended.returncode, ended.stdout) == (0, "1-cut.json: stored\n2-count.json: stored\n"), ended.stderr
    assert CableEvent.objects.count() == 1
    inspection = Inspection.objects.get()
    assert (inspection.state, inspection.layers, inspection.wraps) == ("awaiting_sign_off", 12, 10)
    assert sorted(path.name for path in (tmp_path / "done").iterdir()) == [
        "1-cut.json", "1-cut.json.answer", "2-count.json", "2-count.json.answer",
    ]  # fmt: skip


def test_what_cannot_be_sent_stays_and_is_stored_once_by_the_next_run(cast, bad_network, tmp_path):
    put(tmp_path, "cut.json", {"reel": "LW-0001", "cable_event": CUT})
    BadNetwork.faults = ["cut off"] * 6
    assert post_spool(bad_network, tmp_path, spool_token(cast)).returncode == 1
    assert (tmp_path / "cut.json").exists()
    assert post_spool(bad_network, tmp_path, spool_token_again(cast)).returncode == 0
    assert CableEvent.objects.count() == 1


def spool_token_again(cast: Cast) -> str:
    """A new token of the same name, as after an expiry: it finds the answers to the old one's keys."""
    return spool_token(cast)


def test_what_is_refused_is_put_aside_with_the_reason(cast, live_server, tmp_path):
    put(tmp_path, "long.json", {"reel": "LW-0001", "cable_event": {**CUT, "length_removed_m": "9999"}})
    put(tmp_path, "odd.json", "not json")
    ended = post_spool(live_server.url, tmp_path, spool_token(cast))
    assert ended.returncode == 2
    problem = json.loads((tmp_path / "refused" / "long.json.answer").read_text())
    assert problem["type"] == "/problems/cut-too-long"
    assert (tmp_path / "refused" / "odd.json").read_text() == "not json"


def test_the_shell_script_logs_a_cut_once(cast, live_server):
    if not shutil.which("curl"):
        pytest.fail("curl is missing: apt-get install curl")
    command = ["sh", str(EXAMPLES / "log_cut.sh"), live_server.url, "LW-0001"]
    for _ in range(2):
        ended = run(*command, "12.5", "2026-03-01T10:00:00Z", "WO-1001", token=spool_token(cast))
        assert (ended.returncode, ended.stdout[:7]) == (0, "Stored:"), ended.stderr
    assert CableEvent.objects.get().document == "WO-1001"
    refused = run(*command, "-1", "2026-03-01T10:00:00Z", "WO-1001", token=spool_token(cast))
    assert (refused.returncode, "Refused (400)" in refused.stderr) == (1, True)


def test_a_follower_prints_every_entry_once(cast, live_server, tmp_path):
    command = [sys.executable, str(EXAMPLES / "follow_changes.py"), live_server.url, str(tmp_path / "cursor"), "--once"]
    token = make_token(cast.control, Scope.READ)
    builders.signed_count(cast)
    first = run(*command, token=token)
    assert first.returncode == 0, first.stderr
    builders.log_cut(cast, at=builders.later(days=1))
    second = run(*command, token=token)
    entries = HistoryEntry.objects.filter(chain__name="reel:LW-0001").order_by("seq")
    expected = [f"LW-0001 {entry.seq}: {entry.act} by" for entry in entries]
    printed = (first.stdout + second.stdout).splitlines()
    assert [line.split(" ", 1)[1].rsplit(" by ", 1)[0] + " by" for line in printed] == expected
    assert "cable_cut" in second.stdout


def test_drift_is_pulled_and_plotted(live_server, tmp_path, transactional_db):
    fleet.assessed_fleet()
    builders.Cast()
    token = make_token(Person.objects.get(username="mona"), Scope.READ)
    plot = tmp_path / "drift.svg"
    command = [sys.executable, EXAMPLES / "plot_drift.py", live_server.url, plot]
    ended = subprocess.run(
        command, env={**os.environ, "WRAPLEDGER_TOKEN": token}, capture_output=True, text=True, check=False
    )
    assert ended.returncode == 0, ended.stderr
    first, most, *_, last = ended.stdout.splitlines()
    assert first == "33 intervals, 1 flagged"
    assert most.startswith("LW-0001  2024-09-07 to 2024-09-21")
    assert last == f"Plotted in {plot}"
    picture = ElementTree.parse(plot).getroot()  # noqa: S314  # the example's own file
    circles = picture.findall("{http://www.w3.org/2000/svg}circle")
    assert (len(circles), [each.get("fill") for each in circles].count("#b00020")) == (33, 1)
