"""A stranger points a fuzzer at the whole API, as an administrator: no 5xx, no answer beside its description.

This is the short form. The long one, with the server of `deploy/demo` running, is in DEVELOPERS.md.
"""

import os
import subprocess
import sys
from http.cookies import SimpleCookie
from urllib.request import Request, urlopen

import pytest

from reports.services.verification import check_records
from tests import builders
from tests.builders import PASSWORD, Cast

pytestmark = pytest.mark.django_db(transaction=True)
CHECKS = "not_a_server_error,response_schema_conformance,content_type_conformance,status_code_conformance"


def session_headers(url: str) -> list[str]:
    """What the fuzzer sends along to be the administrator."""
    body = f'{{"username": "ada", "password": "{PASSWORD}"}}'.encode()
    login = Request(f"{url}/api/v1/session", body, {"Content-Type": "application/json"})  # noqa: S310 (our own)
    with urlopen(login, timeout=30) as answer:  # noqa: S310 (as above)
        cookies = SimpleCookie("; ".join(answer.headers.get_all("Set-Cookie")))
    sent = "; ".join(f"{name}={morsel.value}" for name, morsel in cookies.items())
    token = cookies["csrftoken"].value
    return ["--header", f"Cookie: {sent}", "--header", f"X-CSRFToken: {token}"]


def test_a_fuzzer_finds_nothing(live_server, tmp_path):
    builders.make_reel()
    builders.make_machine()
    builders.signed_count(Cast())
    ended = subprocess.run(
        [
            *(sys.executable, "-m", "schemathesis.cli", "run", f"{live_server.url}/api/v1/openapi"),
            *session_headers(live_server.url), "--checks", CHECKS, "--max-examples", "2", "--generation-deterministic",
            *("--seed", "1", "--workers", "1", "--no-color", "--continue-on-failure"),
        ],
        cwd=tmp_path, env={**os.environ, "no_proxy": "127.0.0.1,localhost"}, capture_output=True, text=True,
        timeout=600, check=False,
    )  # fmt: skip
    assert ended.returncode == 0, ended.stdout[-6000:] + ended.stderr[-2000:]
    assert check_records().broken is None
