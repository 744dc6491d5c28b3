"""Two at once within one process, at a moment that the test chooses; more races, over HTTP, are in ../test_races.py."""

import threading
from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection, connections

from reels.domain import ledger
from reels.models import Chain, HistoryEntry
from reels.services import submissions
from tests import builders
from tests.api_fixtures import Ways
from tests.builders import Cast

pytestmark = pytest.mark.django_db(transaction=True)
CUT = {"kind": "cut", "happened_at": "2026-03-02T10:00:00Z", "length_removed_m": "12.5"}
REEL = "reels/LW-0001"


@pytest.fixture
def scene(transactional_db):
    builders.make_reel()
    builders.make_machine("RM-7")
    return Ways(Cast())


def at_once(*requests: Callable[[], Any]) -> list[Any]:
    """Run requests in threads that start together, each on a connection of its own; their answers in order."""
    start, answers = threading.Barrier(len(requests)), [None] * len(requests)

    def run(number: int) -> None:
        try:
            start.wait(10)
            answers[number] = requests[number]()
        finally:
            connections.close_all()

    threads = [threading.Thread(target=run, args=(number,)) for number in range(len(requests))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    return answers


def statuses(answers):
    return sorted(answer.status_code for answer in answers)


def histories_are_whole():
    for chain in Chain.objects.all():
        entries = [
            ledger.Stored(chain=chain.name, seq=e.seq, prev=e.prev, digest=e.digest, content=bytes(e.content))
            for e in HistoryEntry.objects.filter(chain=chain).order_by("seq")
        ]
        assert ledger.first_break(chain.name, entries, length=chain.length, head=chain.head) is None


def test_a_key_that_is_still_at_work_is_said_to_be(scene):
    if connection.vendor != "postgresql":
        pytest.skip("on SQLite the second request waits for the first and gets its answer")
    way, inside, go_on = Ways(scene.cast).control, threading.Event(), threading.Event()
    keep = submissions.keep

    def slow(*args, **kwargs):
        inside.set()
        go_on.wait(20)
        keep(*args, **kwargs)

    def first():
        return scene.control.post(f"{REEL}/cable-events", CUT, key='"one"')

    def second():
        inside.wait(20)
        try:
            return way.post(f"{REEL}/cable-events", CUT, key='"one"')
        finally:
            go_on.set()

    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(submissions, "keep", slow)
        answers = at_once(first, second)
    assert [answer.status_code for answer in answers] == [201, 409]
    assert answers[1].json()["type"] == "/problems/still-running"


def test_one_serial_is_received_twice_at_once(scene):
    new = {"serial": "LW-0100", "type": "w28", "site": "kettle-point", "received_on": "2026-01-05"}
    other = Ways(scene.cast).control
    answers = at_once(lambda: scene.control.post("reels", new), lambda: other.post("reels", new))
    assert statuses(answers) == [201, 409]
    histories_are_whole()


def test_a_record_that_is_locked_too_long_is_busy(scene):
    if connection.vendor != "postgresql":
        pytest.skip("SQLite waits 20 s before it gives up")
    way, inside, go_on = Ways(scene.cast).control, threading.Event(), threading.Event()
    keep = submissions.keep

    def slow(request, answer, at):
        if request.key == "slow":
            inside.set()
            go_on.wait(20)
        keep(request, answer, at)

    def second():
        inside.wait(20)
        try:
            return way.post(f"{REEL}/cable-events", CUT)
        finally:
            go_on.set()

    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(submissions, "keep", slow)
        _, busy = at_once(lambda: scene.control.post(f"{REEL}/hold", {"reason": "Look."}, key='"slow"'), second)
    assert (busy.status_code, busy.headers["Retry-After"]) == (503, "5")
