"""A stranger points a fuzzer at the whole API: no 5xx, no answer beside its description, and whole records after it.

It runs in all its phases, once as an administrator who knows of nothing, and once as somebody without that privilege
who may do every act and knows the records that are there. The long form, for as many seconds each and with new
examples every time: `FUZZ_SECONDS=300 pytest tests/deploy/test_fuzzing.py`.
"""

import json
import os
import subprocess
import sys
from http.cookies import SimpleCookie
from urllib.request import Request, urlopen

import pytest
from django.db import connection

from inspections.domain.words import Act
from reports.services.verification import check_records
from tests import builders
from tests.api_client import DOCUMENT
from tests.builders import PASSWORD, Cast, make_person

pytestmark = pytest.mark.django_db(transaction=True)
SHORT = ("--max-examples", "2", "--generation-deterministic", "--seed", "1")
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
    """Parameters of paths that lead to a record: a signed count and one under way."""
    builders.make_reel("LW-0002")
    under_way = builders.read(cast, builders.open_count(cast, "LW-0002"))
    values = builders.issued(cast)
    return {"serial": "LW-0001", "inspection_id": under_way.pk, "setup_id": values.pk, "event_id": 1, "flag_id": 1}


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
            *(("--exclude-checks", "negative_data_rejection", "--phases", "fuzzing,stateful") if known else ()),
            *(("--max-time", seconds) if seconds else SHORT),
        ],
        cwd=folder, env={**os.environ, "no_proxy": "127.0.0.1,localhost"}, capture_output=True, text=True, check=False,
    )  # fmt: skip


@pytest.mark.parametrize("username", ["ada", "alma"])
def test_a_fuzzer_finds_nothing(live_server, tmp_path, username):
    if username == "ada" and connection.vendor == "postgresql" and "FUZZ_SECONDS" not in os.environ:
        pytest.skip("malformed requests end before any database; the short form tries them on SQLite")
    builders.make_reel()
    builders.make_machine()
    cast = Cast()
    builders.signed_count(cast)
    make_person("alma", *Act)
    headers = session_headers(live_server.url, username)
    ended = fuzz(live_server.url, headers, known_records(cast) if username == "alma" else {}, tmp_path)
    assert ended.returncode == 0, ended.stdout[-20000:] + ended.stderr[-2000:]
    with urlopen(Request(f"{live_server.url}/api/v1/session", headers=headers), timeout=30) as still_logged_in:  # noqa: S310
        assert still_logged_in.status == 200
    assert check_records().broken is None
