"""How long a path may be, before gunicorn itself refuses it."""

import json
from http.client import HTTPConnection

import pytest

from tests.served import gunicorn

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture(scope="module")
def port():
    with gunicorn(workers=1) as server:
        yield server.port


def ask(port, length):
    """GET a path so long that the request's first line has so many bytes, its end of line left out."""
    line = "GET /api/v1/reels?q= HTTP/1.1"
    link = HTTPConnection("127.0.0.1", port, timeout=30)
    link.request("GET", f"/api/v1/reels?q={'x' * (length - len(line))}")
    answer = link.getresponse()
    content = answer.read().decode()
    link.close()
    return answer, content


@pytest.mark.parametrize("length", [5000, 8190])
def test_a_path_as_long_as_that_is_the_services_to_answer(port, length):
    answer, content = ask(port, length)
    assert (answer.status, json.loads(content)["type"]) == (401, "/problems/not-logged-in")


def test_a_longer_one_is_refused_with_what_was_seen_and_what_is_allowed(port):
    answer, content = ask(port, 8300)
    assert answer.status == 414, content
    assert "8190" in content
