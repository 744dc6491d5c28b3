"""A request that takes too long is given up and answered, by gunicorn alone too, and stores nothing."""

from http.client import HTTPConnection

import pytest
from django.http import HttpResponse

from deploy.limits import LimitTime
from reels.models import CableEvent
from tests import builders
from tests.builders import Cast
from tests.served import CSRF, gunicorn, session_of
from tests.served_app import HANGS, HANGS_S

CUT = {"kind": "cut", "happened_at": "2026-03-02T08:30:00Z", "length_removed_m": "2.5", "document": "WO-7"}
PATH = "reels/LW-0001/cable-events"


@pytest.mark.django_db(transaction=True)
def test_gunicorns_process_answers_in_json_and_in_words_and_goes_on():
    cast, _ = Cast(), builders.make_reel()
    headers = {**session_of(cast.control), "Idempotency-Key": '"one"'}
    with gunicorn(workers=1, REQUEST_SECONDS="2") as server:
        answer = server.send("POST", PATH, CUT, {**headers, "X-Test-Dies": HANGS})
        assert (answer.status, answer.body["type"]) == (503, "/problems/took-too-long")
        assert "longer than 2 seconds" in answer.body["detail"]
        assert CableEvent.objects.count() == 0
        status, retry_after, html = posted(server.port, session_of(builders.administrator()))
        assert (status, retry_after) == (503, "5")
        assert "This took longer than 2 seconds and was given up." in html
        assert "What you typed is kept on this page." in html
        assert server.send("POST", PATH, CUT, headers).status == 201
    assert CableEvent.objects.count() == 1


def posted(port, headers):
    """The answer to a form of a page, of which the process hangs."""
    link = HTTPConnection("127.0.0.1", port, timeout=HANGS_S)
    body = f"csrfmiddlewaretoken={CSRF}&token=t1&seen="
    about = {**headers, "Content-Type": "application/x-www-form-urlencoded", "X-Test-Dies": HANGS}
    link.request("POST", "/audit/verification", body, about)
    answer = link.getresponse()
    return answer.status, answer.headers["Retry-After"], answer.read().decode()


def test_another_server_is_left_alone(rf, settings):
    settings.REQUEST_SECONDS = 0.001
    answer = LimitTime(lambda request: HttpResponse(b"slow"))(rf.get("/", SERVER_SOFTWARE="WSGIServer/0.2"))
    assert answer.content == b"slow"
