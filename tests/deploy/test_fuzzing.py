"""A stranger points a fuzzer at the whole API: no 5xx, no answer beside its description, and whole records after it.

It runs in all its phases as an administrator who knows of nothing; and, led to records that are there, as that
administrator and as somebody without that privilege who may do every act. The long form, for as many seconds each and
with new examples every time: `FUZZ_SECONDS=300 pytest tests/deploy/test_fuzzing.py`.
"""

import json
import logging
import os
import subprocess
import sys
from collections import Counter, defaultdict
from http.cookies import SimpleCookie
from pathlib import Path
from urllib.request import Request, urlopen

import pytest
from django.db import connection

from inspections.domain.words import Act
from reels.api.endpoints import Endpoint
from reports.services.verification import check_records
from tests import builders
from tests.api_client import DOCUMENT
from tests.builders import PASSWORD, Cast, make_person

log = logging.getLogger(__name__)
pytestmark = pytest.mark.django_db(transaction=True)
SHORT = ("--max-examples", "2", "--generation-deterministic", "--seed", "1")
# Malformed requests are looked for where nobody is led; here each is to get as far as it can.
LED = (
    "--exclude-checks", "negative_data_rejection", "--phases", "fuzzing,stateful", "--mode", "positive",
)  # fmt: skip
NO_PROXY = {"no_proxy": "127.0.0.1,localhost"}
ACTING = {"SCHEMATHESIS_HOOKS": "tests.deploy.fuzz_hooks", "PYTHONPATH": str(Path(__file__).resolve().parents[2])}
REFUSED = {400, 401, 403, 422, 428}  # before any rule of the trade was asked: the form, who, and repeats
REACHED = {"ada": 125, "alma": 90}  # operations at least, where led; of 141 it was 130 and 96 (2026-11-29)
SETTINGS = """
request-timeout = 60
[checks]
# What a schema can't say (that a reel is installed, that a name is taken) is no violation.
positive_data_acceptance.enabled = false
# A missing If-Match is answered with 428 (RFC 6585), and a stale one with 412, whatever the body is like.
missing_required_header.expected-statuses = [400, 401, 403, 406, 415, 422, 428]
negative_data_rejection.expected-statuses = [400, 401, 403, 404, 405, 406, 409, 412, 413, 415, 422, 428, 503]
"""


def known_records(cast):
    """Parameters of paths that lead to a record: a signed count and one under way, and what is about them."""
    for serial in ("LW-0002", "LW-0003"):
        builders.make_reel(serial)
    under_way = builders.read(cast, builders.open_count(cast, "LW-0002"))
    values, finding = builders.issued(cast), builders.record_finding(cast.technician, "LW-0003")
    make_person("nell")
    return {
        "serial": "LW-0001", "inspection_id": under_way.pk, "setup_id": values.pk, "event_id": 1, "flag_id": 1,
        "finding_id": finding.pk, "username": "nell", "code": "w28", "publication_id": builders.make_publication().pk,
    }  # fmt: skip


def session_headers(url, username):
    """What the fuzzer sends along to be logged in."""
    body = json.dumps({"username": username, "password": PASSWORD}).encode()
    login = Request(f"{url}/api/v1/session", body, {"Content-Type": "application/json"})  # noqa: S310 (our own)
    with urlopen(login, timeout=30) as answer:  # noqa: S310 (as above)
        cookies = SimpleCookie("; ".join(answer.headers.get_all("Set-Cookie")))
    sent = "; ".join(f"{name}={morsel.value}" for name, morsel in cookies.items())
    return {"Cookie": sent, "X-CSRFToken": cookies["csrftoken"].value}


def fuzz(url, headers, known, folder):
    """Run the fuzzer. It may not log out, nor end other sessions, by which its own gets another cookie.

    known: where given, every path leads to these records, so that no path is malformed and that is not looked for.
    """
    parameters = "".join(f'"path.{name}" = {json.dumps(value)}\n' for name, value in known.items())
    (folder / "schemathesis.toml").write_text(f"{SETTINGS}\n[parameters]\n{parameters}", encoding="utf-8")
    seconds = os.environ.get("FUZZ_SECONDS")
    return subprocess.run(
        [
            *(sys.executable, "-m", "schemathesis.cli", "run", str(DOCUMENT), "--url", url),
            *(part for name, value in headers.items() for part in ("--header", f"{name}: {value}")),
            *("--exclude-operation-id", "session_end", "--exclude-operation-id", "session_end_others"),
            *("--workers", "1", "--no-color", "--continue-on-failure"),
            *(LED if known else ()),
            *(("--max-time", seconds) if seconds else SHORT),
        ],
        cwd=folder, env={**os.environ, **NO_PROXY, **(ACTING if known else {})}, capture_output=True, text=True,
        check=False,
    )  # fmt: skip


@pytest.fixture
def answered(monkeypatch):
    """Statuses by operation, of all that the service answers; the fuzzer tells only what it did not expect."""
    statuses: defaultdict[str, Counter[int]] = defaultdict(Counter)
    plain = Endpoint.finalize_response

    def finalize_response(self, request, response, *args, **kwargs):
        if self.operation:
            statuses[self.operation.id][response.status_code] += 1
        return plain(self, request, response, *args, **kwargs)

    monkeypatch.setattr(Endpoint, "finalize_response", finalize_response)
    return statuses


def reached(answered):
    """Of how many operations a request got past its form, who asks, and whether it is a repeat."""
    return sum(1 for statuses in answered.values() if statuses.keys() - REFUSED)


@pytest.mark.parametrize(("username", "is_led"), [("ada", False), ("ada", True), ("alma", True)])
def test_a_fuzzer_finds_nothing(live_server, tmp_path, answered, username, is_led):
    if not is_led and connection.vendor == "postgresql" and "FUZZ_SECONDS" not in os.environ:
        pytest.skip("malformed requests end before any database; the short form tries them on SQLite")
    builders.make_reel()
    builders.make_machine()
    cast = Cast()
    builders.signed_count(cast)
    make_person("alma", *Act)
    headers = session_headers(live_server.url, username)
    ended = fuzz(live_server.url, headers, known_records(cast) if is_led else {}, tmp_path)
    done = sum(1 for statuses in answered.values() if any(status < 300 for status in statuses))
    log.info(
        "%s: of %s operations %s were reached, and %s did something", username, len(answered), reached(answered), done
    )
    assert not is_led or reached(answered) >= REACHED[username]
    assert ended.returncode == 0, ended.stdout[-20000:] + ended.stderr[-2000:]
    with urlopen(Request(f"{live_server.url}/api/v1/session", headers=headers), timeout=30) as still_logged_in:  # noqa: S310
        assert still_logged_in.status == 200
    assert check_records().broken is None
