"""Which views read the standby, what they say of it, and what becomes of a standby that is late or lost.

Here the standby is a second connection to the same records; tests/deployment/test_standby_reads.py has a real one.
"""

from contextlib import contextmanager
from datetime import timedelta
from typing import Any

import pytest
from django.db import OperationalError, connections
from django.http import HttpResponse, StreamingHttpResponse
from django.test import Client
from django.test.utils import CaptureQueriesContext

from inspections.models import Authorisation, Inspection
from reels import standby
from reels.domain.words import Scope
from reels.models import Posting, Reel
from reports.services import assessments
from tests import builders
from tests.api_fixtures import make_token
from tests.builders import NOW, Cast
from tests.page_fixtures import logged_in

pytestmark = pytest.mark.django_db

PAGES = ["/drift", "/audit", "/repeatability", "/drift/recounts", "/monthly"]
FILES = ["/audit.csv", "/repeatability.csv", "/repeatability-pairs.csv", "/drift/recounts.csv", "/monthly.csv"]
API = ["reports/drift", "reports/drift?format=csv", "reports/agreement", "reports/recounts",
       "reports/monthly", "reels/LW-0001/history/export"]  # fmt: skip
STALE = [*PAGES, *FILES, *(f"/api/v1/{path}" for path in API)]
FRESH = ["/board", "/reels", "/reels/LW-0001", "/reels/LW-0001/drift", "/documents", "/account",
         "/documents/drift.pdf", "/documents/monthly.pdf", "/repeatability.pdf", "/api/v1/reels",
         "/api/v1/reels/LW-0001", "/api/v1/reels/LW-0001/history", "/api/v1/changes?after=0", "/api/v1/inspections",
         "/api/v1/drift-flags", "/api/v1/setup-values", "/api/v1/sites"]  # fmt: skip


class Mirror:
    """A standby to be late or lost as a test wants it."""

    def __init__(self, monkeypatch):
        self.monkeypatch = monkeypatch
        self.is_behind(0.0)

    def is_behind(self, seconds):
        self.monkeypatch.setattr(standby, "measured_behind_s", lambda: seconds)

    def queries(self, action):
        """How many queries went to the primary, and how many to the standby."""
        default, second = connections["default"], connections[standby.ALIAS]
        with CaptureQueriesContext(default) as primary, CaptureQueriesContext(second) as copy:
            action()
        return len(primary), len(copy)


@pytest.fixture
def mirror(db, monkeypatch):
    default = connections["default"]
    second = default.copy(standby.ALIAS)
    second.connection, second.in_atomic_block, second.autocommit = default.connection, True, False
    monkeypatch.setitem(connections.settings, standby.ALIAS, connections.settings["default"])
    monkeypatch.setattr(standby, "_back_off", standby._BackOff())
    connections[standby.ALIAS] = second
    yield Mirror(monkeypatch)
    del connections[standby.ALIAS]


@pytest.fixture
def cast():
    cast = Cast()
    builders.make_reel("LW-0001")
    assessments.bring_up_to_date(at=NOW)
    return cast


def read(person, path):
    answer: Any = logged_in(person).get(path)
    return answer, b"".join(answer.streaming_content) if answer.streaming else answer.content


def answer_of(body):
    """A view that answers with what a function finds."""
    return standby.may_be_stale(lambda: HttpResponse(str(body())))


# Reads --------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("path", STALE)
def test_a_report_is_read_from_the_standby_and_says_how_far_that_is_behind(cast, mirror, path):
    mirror.is_behind(2.4)
    on_primary, on_standby = mirror.queries(lambda: read(cast.control, path))
    answer, body = read(cast.control, path)
    assert (answer.status_code, answer.headers["Seconds-Behind"]) == (200, "3")
    assert on_standby > 0
    assert on_primary > 0  # the session
    assert (b"Read from the standby, which is 3 seconds behind." in body) is (path in PAGES)


@pytest.mark.parametrize("path", FRESH)
def test_what_people_act_on_is_read_from_the_primary(cast, mirror, path):
    mirror.is_behind(2.4)
    _, on_standby = mirror.queries(lambda: read(cast.control, path))
    answer, body = read(cast.control, path)
    assert (answer.status_code, on_standby) == (200, 0)
    assert "Seconds-Behind" not in answer.headers
    assert b"standby" not in body


@pytest.mark.parametrize("path", STALE)
def test_a_standby_too_far_behind_or_lost_is_as_none(cast, mirror, path, settings):
    for seconds in (settings.STANDBY_LIMIT_SECONDS + 0.1, None):
        mirror.is_behind(seconds)
        answer, body = read(cast.control, path)
        assert answer.status_code == 200
        assert "Seconds-Behind" not in answer.headers
        assert b"standby" not in body
        assert mirror.queries(lambda: read(cast.control, path))[1] == 0


@pytest.mark.parametrize("path", STALE)
def test_without_a_standby_the_reports_are_as_they_were(cast, path):
    answer, body = read(cast.control, path)
    assert answer.status_code == 200
    assert "Seconds-Behind" not in answer.headers
    assert b"standby" not in body


def test_just_at_the_limit_it_is_read_and_one_second_is_one(cast, mirror, settings):
    settings.STANDBY_LIMIT_SECONDS = 1
    mirror.is_behind(1.0)
    assert b"which is 1 second behind." in read(cast.control, "/audit")[1]
    mirror.is_behind(0.0)
    assert b"which is up to date." in read(cast.control, "/audit")[1]


def test_a_script_reads_the_standby_with_its_token_from_the_primary(cast, mirror):
    headers = {"Authorization": f"Bearer {make_token(cast.technician, Scope.READ)}"}
    answer = Client().get("/api/v1/reels/LW-0001/history/export", headers=headers)
    assert (answer.status_code, answer.headers["Seconds-Behind"]) == (200, "0")


def test_who_may_see_what_is_asked_of_the_primary(cast, mirror):
    def asked():
        return [model.objects.using(None).db for model in (Posting, Authorisation, Reel, Inspection)]

    expected = ["default", "default", "standby", "standby"]
    assert answer_of(asked)().content.decode() == str(expected)
    assert asked() == ["default"] * 4


# What is within, and what is not ------------------------------------------------------------------------------------


def test_what_is_streamed_is_read_where_the_report_began(cast, mirror):
    def pieces():
        for _ in range(2):
            yield Reel.objects.all().db

    answer: Any = standby.may_be_stale(lambda: StreamingHttpResponse(pieces()))()
    seen = []
    for piece in answer.streaming_content:
        seen.append((piece.decode(), Reel.objects.all().db))
        mirror.is_behind(None)
    assert seen == [("standby", "default")] * 2


def test_a_stream_that_is_given_up_is_closed(mirror):
    closed = []

    def pieces():
        try:
            yield "one"
            yield "two"
        finally:
            closed.append(True)

    answer: Any = standby.may_be_stale(lambda: StreamingHttpResponse(pieces()))()
    next(iter(answer.streaming_content))
    answer.close()
    assert closed == [True]


def test_a_row_of_the_standby_is_followed_and_written_on_the_primary(cast, mirror):
    kept = []
    answer_of(lambda: kept.append(Reel.objects.get()))()
    [reel] = kept
    assert reel._state.db == "standby"
    on_primary, on_standby = mirror.queries(lambda: (reel.site, list(reel.holds.all())))
    assert (on_primary, on_standby) == (2, 0)


@pytest.mark.parametrize("has_standby", [True, False])
def test_a_report_that_writes_or_locks_is_a_mistake(cast, mirror, has_standby):
    mirror.is_behind(0.0 if has_standby else None)
    for act in (lambda: Reel.objects.update(serial="LW-0009"), lambda: list(Reel.objects.select_for_update())):
        with pytest.raises(standby.NothingIsWritten, match=r"reels\.Reel"):
            answer_of(act)()
    assert Reel.objects.get().serial == "LW-0001"


def test_a_service_marked_so_reads_and_writes_on_the_primary_within_a_report(cast, mirror):
    @standby.on_primary
    def written():
        Reel.objects.update(serial="LW-0009")
        return Reel.objects.all().db

    assert answer_of(lambda: [written(), Reel.objects.all().db])().content == b"['default', 'standby']"


def test_tables_are_made_on_the_primary_alone():
    router = standby.Router()
    assert [router.allow_migrate(alias, "reels") for alias in ("default", standby.ALIAS)] == [True, False]


# Lost ---------------------------------------------------------------------------------------------------------------


class SaysWhy(Exception):
    """As the driver's errors."""

    def __init__(self, sqlstate):
        self.sqlstate = sqlstate


def fails_on_standby(sqlstate):
    tried = []

    def view():
        alias = Reel.objects.all().db
        tried.append(alias)
        if alias == standby.ALIAS:
            raise OperationalError("gone") from SaysWhy(sqlstate)
        return HttpResponse(alias)

    return tried, standby.may_be_stale(view)


@pytest.fixture
def let_rest(mirror, monkeypatch):
    """The second connection is closed by hand: it is the first one's."""
    monkeypatch.setattr(connections[standby.ALIAS], "close", lambda: None)


@pytest.mark.parametrize("sqlstate", [None, "57P01", "40001"])
def test_a_standby_lost_within_a_report_rests_and_the_primary_answers(let_rest, sqlstate, caplog):
    tried, view = fails_on_standby(sqlstate)
    answer = view()
    assert (answer.content, tried) == (b"default", ["standby", "default"])
    assert "Seconds-Behind" not in answer.headers
    assert standby._back_off.until > 0
    assert [record.name for record in caplog.records] == ["wrapledger.standby"]


def test_a_report_that_takes_too_long_is_not_asked_again(let_rest):
    tried, view = fails_on_standby(standby.TIMED_OUT)
    with pytest.raises(OperationalError):
        view()
    assert tried == ["standby"]


# How far behind -------------------------------------------------------------------------------------------------------


class Link:
    """A connection whose server gives one answer, or is lost."""

    connection = None

    def __init__(self, answer):
        self.answer, self.asked = answer, 0

    @contextmanager
    def cursor(self):
        self.asked += 1
        if self.answer is None:
            raise OperationalError("connection refused")
        yield self

    def execute(self, *_):
        pass

    def fetchone(self):
        return self.answer

    def close(self):
        pass


@pytest.fixture
def links(monkeypatch):
    def made(answer):
        both = {"default": Link(("0/3000148", NOW)), standby.ALIAS: Link(answer)}
        monkeypatch.setattr(standby, "connections", both)
        monkeypatch.setattr(standby, "_back_off", standby._BackOff())
        return both

    return made


@pytest.mark.parametrize(
    ("is_standby", "has_all", "age_s", "behind_s"),
    [
        (True, True, 600, 0.0),  # nothing was written for ten minutes
        (True, True, None, 0.0),
        (True, False, 2.5, 2.5),
        (True, False, -0.5, 0.0),  # committed after the primary was asked
        (True, False, None, None),  # it began anew and has replayed nothing
        (False, None, None, None),  # it was promoted
    ],
)
def test_it_is_behind_by_the_age_of_what_it_has_unless_it_has_all(links, is_standby, has_all, age_s, behind_s):
    links((is_standby, has_all, age_s and NOW - timedelta(seconds=age_s)))
    assert standby.measured_behind_s() == behind_s


def test_one_that_does_not_answer_is_left_alone_for_a_while(links, monkeypatch):
    now = [100.0]
    monkeypatch.setattr(standby, "monotonic", lambda: now[0])
    both = links(None)
    assert [standby.measured_behind_s() for _ in range(3)] == [None] * 3
    assert both[standby.ALIAS].asked == 1
    now[0] += standby.BACK_OFF_S
    both[standby.ALIAS].answer = (True, True, NOW)
    assert standby.measured_behind_s() == 0.0


def test_a_primary_that_does_not_answer_is_nobody_elses_fault(links):
    both = links((True, True, NOW))
    both["default"].answer = None
    with pytest.raises(OperationalError):
        standby.measured_behind_s()
    assert standby._back_off.until < 0
