"""Two at once, with real connections: each race ends with one true outcome and an unbroken history.

On PostgreSQL the two really overlap; on SQLite the second waits for the first, and the outcome is the same.
"""

import threading
from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection, connections

from inspections.models import SetupValues, SignOff
from reels.domain import ledger
from reels.models import CableEvent, Chain, HistoryEntry, Submission
from reels.services import submissions
from tests import builders
from tests.api_fixtures import Ways
from tests.builders import PASSWORD, Cast

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


def test_two_verifiers_sign_at_once(scene):
    cast = scene.cast
    inspection = builders.read(cast, builders.open_count(cast))
    path = f"inspections/{inspection.pk}"
    counted = {"meaning": "counted", "password": PASSWORD}
    scene.technician.post(f"{path}/sign-offs", counted, match=scene.technician.tag(path))
    tag, verified = scene.verifier.tag(path), {"meaning": "verified", "password": PASSWORD}
    other = Ways(cast).verifier
    answers = at_once(
        lambda: scene.verifier.post(f"{path}/sign-offs", verified, match=tag),
        lambda: other.post(f"{path}/sign-offs", verified, match=tag),
    )
    assert statuses(answers) == [201, 412]
    assert SignOff.objects.filter(inspection=inspection).count() == 2
    histories_are_whole()


def test_a_cut_is_logged_while_values_are_issued(scene):
    builders.signed_count(scene.cast)
    tag, other = scene.control.tag(REEL), Ways(scene.cast).control
    issue, cut = at_once(
        lambda: scene.control.post(f"{REEL}/setup-values", {"machine": "RM-7"}, match=tag),
        lambda: other.post(f"{REEL}/cable-events", CUT),
    )
    assert cut.status_code == 201
    assert issue.status_code in (201, 412)
    assert SetupValues.objects.filter(withdrawn_at__isnull=True).count() == 0
    histories_are_whole()


def test_the_same_key_arrives_many_times_at_once(scene):
    ways = [Ways(scene.cast).control for _ in range(5)]
    answers = at_once(*(lambda way=way: way.post(f"{REEL}/cable-events", CUT, key='"one"') for way in ways))
    assert set(statuses(answers)) <= {201, 409}
    assert 201 in statuses(answers)
    assert {answer.json()["type"] for answer in answers if answer.status_code == 409} <= {"/problems/still-running"}
    assert len({answer.content for answer in answers if answer.status_code == 201}) == 1
    assert (CableEvent.objects.count(), Submission.objects.count()) == (1, 1)
    assert ways[0].post(f"{REEL}/cable-events", CUT, key='"one"').status_code == 201
    histories_are_whole()


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


def test_two_issues_for_one_machine_at_once(scene):
    builders.make_reel("LW-0002")
    for serial in ("LW-0001", "LW-0002"):
        builders.signed_count(scene.cast, serial)
    other = Ways(scene.cast).control
    tags = [scene.control.tag(f"reels/{serial}") for serial in ("LW-0001", "LW-0002")]
    answers = at_once(
        lambda: scene.control.post("reels/LW-0001/setup-values", {"machine": "RM-7"}, match=tags[0]),
        lambda: other.post("reels/LW-0002/setup-values", {"machine": "RM-7"}, match=tags[1]),
    )
    assert statuses(answers) == [201, 409]
    assert SetupValues.objects.filter(withdrawn_at__isnull=True).count() == 1
    histories_are_whole()


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
