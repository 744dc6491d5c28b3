"""Two at once, and one killed, in processes of a real server: each ends with one true outcome and whole records."""

from copy import copy
from http.client import HTTPException
from typing import Any

import pytest

from inspections.domain.keying import earlier_points
from inspections.domain.words import Act, Point
from inspections.models import GaugeUse, Inspection, SetupValues, SignOff
from inspections.services import maintenance, setup
from reels.models import CableEvent, HistoryEntry, Submission
from reels.services.history import Actor
from reports.services.verification import check_records
from tests import builders, stories
from tests.builders import PASSWORD, Cast, make_person
from tests.served import at_once, gunicorn, session_of

pytestmark = pytest.mark.django_db(transaction=True)
REEL = "reels/LW-0001"
UP_TO_THE_SCALES = [point for point in Point if point in earlier_points(Point.HAND_COUNT)]
CUT = {"kind": "cut", "happened_at": "2026-03-02T10:00:00Z", "length_removed_m": "12.5"}


@pytest.fixture
def cast(transactional_db):
    builders.make_reel()
    builders.make_machine("RM-7")
    return Cast()


@pytest.fixture(scope="module")
def processes(django_db_setup):
    """Two workers for all tests here: a process takes seconds to start, and one that is killed is replaced."""
    with gunicorn() as running:
        yield running


@pytest.fixture
def server(processes, cast):
    return processes


@pytest.fixture(autouse=True)
def records_are_whole(transactional_db):
    yield
    assert check_records().broken is None


def poster(server, person):
    """A way for one person to post: path, body, key, ETag."""
    session = session_of(person)

    def post(path, body, key, tag=None, **headers):
        more = {"Idempotency-Key": f'"{key}"', **({"If-Match": tag} if tag else {}), **headers}
        return server.send("POST", path, body, {**session, **more})

    return post


def tag_of(server, person, path):
    return server.send("GET", path, headers=session_of(person)).etag


def statuses(answers):
    return sorted(answer.status for answer in answers)


def count_to_verify(server, cast, *, other=None):
    """A count that its technician has signed. other: a verifier who witnessed all but the scales."""
    inspection = builders.open_count(cast)
    stories.key_both(cast, inspection, *UP_TO_THE_SCALES)
    shift = copy(cast)
    shift.verifier = other or cast.verifier
    stories.key_both(shift, inspection, *(point for point in Point if point not in UP_TO_THE_SCALES))
    path = f"inspections/{inspection.pk}"
    signed = poster(server, cast.technician)(
        f"{path}/sign-offs", {"meaning": "counted", "password": PASSWORD}, "t", tag_of(server, cast.technician, path)
    )
    assert signed.status == 201
    return path


def test_two_verifiers_sign_at_once_and_one_of_them_has(server, cast):
    other = make_person("vera", Act.VERIFY)
    path = count_to_verify(server, cast, other=other)
    verified = {"meaning": "verified", "password": PASSWORD}
    tag = tag_of(server, cast.verifier, path)
    ways = [poster(server, person) for person in (cast.verifier, other)]
    answers = at_once(*(lambda w=w: w(f"{path}/sign-offs", verified, "v", tag) for w in ways))
    assert statuses(answers) == [201, 412]
    [signer] = [p for p, answer in zip((cast.verifier, other), answers, strict=True) if answer.status == 201]
    assert list(SignOff.objects.order_by("pk").values_list("person", flat=True)) == [cast.technician.pk, signer.pk]
    assert Inspection.objects.get().state == "signed"


def test_one_verifier_signs_from_two_places_at_once(server, cast):
    path = count_to_verify(server, cast)
    verified = {"meaning": "verified", "password": PASSWORD}
    tag = tag_of(server, cast.verifier, path)
    ways = [poster(server, cast.verifier) for _ in range(2)]
    answers = at_once(*(lambda w=w, k=k: w(f"{path}/sign-offs", verified, k, tag) for k, w in enumerate(ways)))
    assert statuses(answers) == [201, 412]
    assert SignOff.objects.count() == 2


def test_a_cut_is_logged_while_values_are_issued(server, cast):
    builders.signed_count(cast)
    tag = tag_of(server, cast.control, REEL)
    issuing, logging = poster(server, cast.control), poster(server, cast.control)
    issue, cut = at_once(
        lambda: issuing(f"{REEL}/setup-values", {"machine": "RM-7"}, "issue", tag),
        lambda: logging(f"{REEL}/cable-events", CUT, "cut"),
    )
    assert cut.status == 201
    assert issue.status in (201, 412)
    # Either they were never issued, or the cut has withdrawn them.
    assert SetupValues.objects.count() == (1 if issue.status == 201 else 0)
    assert not SetupValues.objects.filter(withdrawn_at=None).exists()


def test_two_counts_want_one_gauge_at_once(server, cast):
    builders.make_reel("LW-0002")
    gauge = builders.make_gauge()
    counts = [builders.open_count(cast, serial, has_gauge=False).pk for serial in ("LW-0001", "LW-0002")]
    way = poster(server, cast.technician)
    taken = {"wrap_gauge": gauge.serial, "end_marks_match": True}
    answers = at_once(*(lambda c=c: way(f"inspections/{c}/gauge", taken, str(c)) for c in counts))
    assert statuses(answers) == [201, 409]
    [use] = GaugeUse.objects.all()
    [refused] = [answer.body for answer in answers if answer.status == 409]
    assert f"with Tess Hollin, for inspection {use.inspection_id}" in refused["detail"]


def test_a_gauge_leaves_while_its_machine_is_confirmed(server, cast):
    """Either it was there, and the values are confirmed; or it had left, and they are not."""
    builders.signed_count(cast)
    values = builders.issued(cast)
    by: Any = {"at": builders.NOW}
    maintenance.install(serial="LW-0001", machine_serial="RM-7", actor=Actor(cast.control), **by)
    setup.return_gauge(setup_id=values.pk, actor=Actor(cast.setter), **by)
    setup.key_read_back(setup_id=values.pk, layers=12, wraps=10, actor=Actor(cast.setter), **by)
    builders.make_reel("LW-0002")
    gauge, count = builders.make_gauge(), builders.open_count(cast, "LW-0002", has_gauge=False)
    tag = tag_of(server, cast.confirmer, f"setup-values/{values.pk}")
    confirming, taking = poster(server, cast.confirmer), poster(server, cast.technician)
    confirmed, taken = at_once(
        lambda: confirming(f"setup-values/{values.pk}/confirmations", {"layers": 12, "wraps": 10}, "c", tag),
        lambda: taking(f"inspections/{count.pk}/gauge", {"wrap_gauge": gauge.serial, "end_marks_match": True}, "g"),
    )
    assert taken.status == 201
    values.refresh_from_db()
    assert (values.confirmed_at is not None) == (confirmed.status == 201)
    assert confirmed.status == 201 or confirmed.body["type"] == "/problems/gauge-is-out"


def test_the_same_key_arrives_five_times_at_once(server, cast):
    ways = [poster(server, cast.control) for _ in range(5)]
    answers = at_once(*(lambda w=w: w(f"{REEL}/cable-events", CUT, "one") for w in ways))
    stored = [answer.body for answer in answers if answer.status == 201]
    assert stored
    assert all(body == stored[0] for body in stored)
    others = [answer.body["type"] for answer in answers if answer.status != 201]
    assert set(others) <= {"/problems/still-running"}
    assert (CableEvent.objects.count(), Submission.objects.count()) == (1, 1)
    assert ways[0](f"{REEL}/cable-events", CUT, "one").body == stored[0]


def test_two_issues_for_one_machine_at_once(server, cast):
    builders.make_reel("LW-0002")
    serials = ("LW-0001", "LW-0002")
    for serial in serials:
        builders.signed_count(cast, serial)
    tags = [tag_of(server, cast.control, f"reels/{serial}") for serial in serials]
    way = poster(server, cast.control)
    answers = at_once(
        *(lambda s=s, t=t: way(f"reels/{s}/setup-values", {"machine": "RM-7"}, s, t)
          for s, t in zip(serials, tags, strict=True))
    )  # fmt: skip
    assert statuses(answers) == [201, 409]
    assert SetupValues.objects.filter(withdrawn_at=None).count() == 1


@pytest.mark.parametrize(("moment", "kept"), [("before-commit", 0), ("after-commit", 1)])
def test_a_process_is_killed_between_the_work_and_the_answer(server, cast, moment, kept):
    post = poster(server, cast.control)
    entries = HistoryEntry.objects.count()
    with pytest.raises((ConnectionError, HTTPException)):
        post(f"{REEL}/cable-events", CUT, "one", **{"X-Test-Dies": moment})
    assert (CableEvent.objects.count(), Submission.objects.count()) == (kept, kept)
    again = post(f"{REEL}/cable-events", CUT, "one")
    assert again.status == 201
    assert (CableEvent.objects.count(), Submission.objects.count()) == (1, 1)
    assert HistoryEntry.objects.count() == entries + 1
