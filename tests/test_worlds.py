"""What is put back is what was built: the same rows, whole, and the same values returned."""

from concurrent.futures import ThreadPoolExecutor
from unittest import mock

import pytest
from django.core.management import call_command
from django.db import connections, transaction
from django.test import TestCase

from inspections.models import Inspection
from reels.domain import ledger
from reels.models import Chain, HistoryEntry, Person, ReelType
from reels.services import people
from reports.models import ArchivedPdf
from reports.services.verification import check_records
from tests import builders, pages_fleet, stories, worlds
from tests.builders import NOW, Cast, later

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _nothing_is_known_yet():
    worlds.forget()
    yield
    worlds.forget()


def whole_job():
    cast = Cast()
    builders.make_reel()
    builders.signed_count(cast)
    return cast, builders.confirmed(cast, builders.issued(cast, at=later(hours=1)), later(hours=2))


def anew(build, *, is_whole=True):
    """What it returns and the rows there are then, as in a test of its own."""
    savepoint = transaction.savepoint()
    worlds.begin()
    returned = build()
    rows = worlds.all_rows()
    assert (check_records().broken is None) is is_whole
    transaction.savepoint_rollback(savepoint)
    return returned, rows


@pytest.mark.parametrize(
    "build", [Cast, whole_job, pages_fleet.make_fleet, lambda: stories.one_of_each(Cast())],
    ids=["a cast", "issued and confirmed values", "a fleet", "one of each kind of row"],
)  # fmt: skip
def test_a_world_that_is_put_back_is_the_one_that_was_built(build):
    _, built = anew(build)
    with mock.patch.object(ledger, "encode_v1", side_effect=AssertionError("an act was done again")):
        _, put_back = anew(build)
    assert len(built) > 5
    assert put_back == built


def test_what_a_step_returns_is_returned_again_and_belongs_to_the_test():
    (cast, values), _ = anew(whole_job)
    values.withdrawn_at, cast.technician.full_name = NOW, "Somebody Else"
    (again, values_again), _ = anew(whole_job)
    assert (values_again, values_again.withdrawn_at) == (values, None)
    assert again.technician.full_name == "Tess Hollin"
    assert vars(again) == vars(cast)


def test_rows_are_made_from_those_that_are_put_back_as_from_those_that_were_built():
    anew(whole_job)
    whole_job()
    builders.make_reel("LW-0002")
    ids = [entry.pk for entry in HistoryEntry.objects.order_by("pk")]
    assert ids == sorted(set(ids))
    people.add_person(username="new", full_name="N", staff_number="N-1", password=None, **builders.by_administrator())
    assert check_records().broken is None


def test_a_test_that_writes_by_itself_has_left_the_known_worlds():
    def changed():
        kind = builders.make_type()
        ReelType.objects.filter(pk=kind.pk).update(lead_wraps=2)
        return builders.make_reel().type.lead_wraps

    assert anew(builders.make_reel)[0].type.lead_wraps == 1
    assert [anew(changed, is_whole=False)[0] for _ in range(2)] == [2, 2]


def test_a_transaction_that_is_rolled_back_leads_back_to_where_it_began():
    def tried_twice():
        for _ in range(2):
            savepoint = transaction.savepoint()
            builders.make_reel()
            transaction.savepoint_rollback(savepoint)
        assert not Chain.objects.filter(name__contains="LW-0001").exists()
        builders.make_reel()

    assert anew(tried_twice)[1] == anew(tried_twice)[1]


def test_rows_that_are_there_when_a_test_begins_are_no_known_world():
    anew(Cast)
    with worlds.every_step_runs():
        builders.administrator()
    worlds.begin()
    assert Cast().technician.username == "tess"
    assert Person.objects.filter(username="ada").count() == 1


def test_a_step_that_is_refused_is_refused_each_time():
    def twice():
        builders.make_reel()
        with pytest.raises(Exception, match="LW-0001"), transaction.atomic():
            builders.make_reel()

    assert anew(twice)[1] == anew(twice)[1]


def test_steps_within_a_count_of_queries_run(count_queries):
    anew(builders.make_site)
    assert count_queries(builders.make_site) > 10


def test_what_waits_for_the_commit_of_a_step_waits_for_it_again():
    for _ in range(2):
        savepoint = transaction.savepoint()
        worlds.begin()
        with TestCase.captureOnCommitCallbacks(execute=True) as callbacks:
            cast = Cast()
            builders.make_reel()
            builders.signed_count(cast)
        assert len(callbacks) > 0
        assert ArchivedPdf.objects.count() == 1
        transaction.savepoint_rollback(savepoint)


@pytest.mark.django_db(transaction=True)
def test_rows_are_put_back_for_good_where_a_test_commits():
    cast, values = whole_job()
    assert check_records().broken is None
    rows = worlds.all_rows()
    worlds.begin()
    assert builders.make_reel("LW-0002").site == cast.technician.postings.get().site
    assert values.pk
    assert worlds.all_rows() != rows


@pytest.mark.django_db(transaction=True)
def test_what_others_commit_meanwhile_is_not_overwritten():
    for _ in range(2):
        builders.make_reel()
        with ThreadPoolExecutor(1) as another:
            another.submit(builders.make_reel, "LW-0002").result()
            another.submit(connections.close_all).result()
        builders.make_reel("LW-0003")
        assert check_records().broken is None
        call_command("flush", interactive=False, verbosity=0)
        worlds.begin()


def test_a_count_is_read_from_the_database_that_holds_it():
    def counted():
        cast = Cast.as_needed()
        builders.make_reel()
        return builders.signed_count(cast)

    for _ in range(2):
        inspection, rows = anew(counted)
        assert inspection.pk in rows[Inspection._meta.db_table]
