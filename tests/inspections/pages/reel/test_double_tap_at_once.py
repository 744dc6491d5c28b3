"""Two taps that arrive at the same moment, each in a process of its own: the second waits for the first's answer."""

from http.client import HTTPConnection
from urllib.parse import urlencode

import pytest

from reels.models import CableEvent
from tests import builders
from tests.builders import Cast
from tests.page_fixtures import hidden_in, logged_in
from tests.served import at_once, gunicorn, session_of

pytestmark = pytest.mark.django_db(transaction=True)


def test_both_taps_get_the_one_answer():
    cast = Cast.as_needed()
    builders.make_reel()
    unseen = hidden_in(logged_in(cast.control).get("/reels/LW-0001/cut").content.decode())
    typed = {"happened_at": "2026-03-02T08:30", "length_removed_m": "12.5"}
    headers = {**session_of(cast.control), "Content-Type": "application/x-www-form-urlencoded"}
    body = urlencode({"token": unseen["token"], "seen": unseen["seen"], **typed})
    with gunicorn(workers=4) as server:

        def tap():
            link = HTTPConnection("127.0.0.1", server.port, timeout=60)
            link.request("POST", "/reels/LW-0001/cut", body, headers)
            answer = link.getresponse()
            return answer.status, answer.headers["Location"]

        assert at_once(*[tap] * 4) == [(302, "/reels/LW-0001")] * 4
    assert CableEvent.objects.count() == 1
