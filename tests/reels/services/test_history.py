"""One act is one entry, in the transaction of the act: told with what was, what is, who and when."""

import json
from decimal import Decimal

import pytest
from django.db import transaction

from reels.access import lock, lock_register
from reels.domain import ledger
from reels.errors import Busy
from reels.models import Chain, HistoryEntry, Machine, Person, Reel, Site, columns
from reels.services.history import Actor, record_act
from reports.services.verification import check_records
from tests import builders
from tests.builders import NOW, administrator, later

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _an_administrator(db):
    administrator()


def actor():
    return Actor(administrator(), via="command try")


def newest():
    row = HistoryEntry.objects.latest("id")
    return row, json.loads(bytes(row.content))


def test_an_entry_tells_who_did_what_when_and_what_it_was_before():
    site = builders.make_site()
    with record_act(lock_register(), "site_changed", actor(), NOW, why="a new sign") as act:
        act.change(site, name="Kettle Head")
    row, said = newest()
    assert said["actor"] == {"id": administrator().pk, "username": "ada", "name": "Ada Minder", "via": "command try"}
    assert (said["act"], said["at"], said["facts"]) == (
        "site_changed", "2026-03-02T09:00:00.000000Z", {"why": "a new sign"},
    )  # fmt: skip
    assert said["changes"] == [
        {"table": "reels_site", "id": site.pk, "before": {"name": "Kettle Point"}, "after": {"name": "Kettle Head"}}
    ]
    assert (row.at, row.act, row.actor, row.digest) == (
        NOW, "site_changed", administrator(), ledger.digest(bytes(row.content)),
    )  # fmt: skip


def test_several_rows_of_one_act_are_one_entry():
    site = builders.make_site()
    before = HistoryEntry.objects.count()
    rows = [Machine(serial=f"RM-{n}", host="Heron", site=site) for n in range(3)]
    with record_act(lock_register(), "machines_added", actor(), NOW) as act:
        act.add_all(rows)
        act.add_all([])
        act.change(rows[0], host="Crane")
    assert HistoryEntry.objects.count() == before + 1
    changes = newest()[1]["changes"]
    assert [(change["id"], change["before"]) for change in changes] == [
        *((row.pk, None) for row in rows), (rows[0].pk, {"host": "Heron"}),
    ]  # fmt: skip
    assert check_records().broken is None


def test_an_act_that_fails_leaves_neither_row_nor_entry():
    site, before = builders.make_site(), HistoryEntry.objects.count()
    head = Chain.objects.get().head

    def fail() -> None:
        with transaction.atomic(), record_act(lock_register(), "site_changed", actor(), NOW) as act:
            act.change(site, name="Kettle Head")
            raise RuntimeError("power cut")

    with pytest.raises(RuntimeError):
        fail()
    site.refresh_from_db()
    assert (site.name, HistoryEntry.objects.count(), Chain.objects.get().head) == ("Kettle Point", before, head)


def test_entries_of_a_chain_are_numbered_and_each_holds_the_digest_of_the_one_before():
    builders.Cast()
    rows = list(HistoryEntry.objects.order_by("seq"))
    chain = Chain.objects.get()
    assert [row.seq for row in rows] == list(range(1, chain.length + 1))
    assert [row.prev for row in rows] == ["0" * 64, *(row.digest for row in rows[:-1])]
    assert chain.head == rows[-1].digest


def test_columns_are_told_as_the_database_gives_them_back():
    reel = builders.make_reel(cable_length_m=Decimal(420))
    from_database = Reel.objects.get(pk=reel.pk)
    assert columns(reel) == columns(from_database)
    assert columns(reel)["cable_length_m"] == "420.000"
    assert columns(Reel(serial="x", cable_length_m=None))["cable_length_m"] is None


def test_a_history_never_tells_a_password_or_when_somebody_logged_in():
    person = builders.make_person("pat")
    assert not {"password", "last_login", "id"} & set(columns(person))
    assert all(person.password not in bytes(row.content).decode() for row in HistoryEntry.objects.all())
    assert Person.objects.get(pk=person.pk).check_password(builders.PASSWORD)


def test_chains_are_locked_in_the_order_they_are_asked_for_and_only_within_a_transaction():
    builders.make_reel()
    assert [chain.name for chain in lock("register", "reel:LW-0001")] == ["register", "reel:LW-0001"]
    with pytest.raises(Busy):
        lock("register", "reel:LW-9999")


@pytest.mark.django_db(transaction=True)
def test_a_lock_outside_a_transaction_is_a_mistake():
    with pytest.raises(AssertionError):
        lock("register")


def test_who_acts_at_the_keys_and_who_does_not():
    person = administrator()
    assert [Actor(person, via=via).is_at_the_keys for via in ("session", "token bench", "command x", "Session")] == [
        True, False, False, False,
    ]  # fmt: skip


def test_an_act_may_come_from_any_time_the_caller_says():
    with record_act(lock_register(), "late", actor(), later(days=-30)) as act:
        act.add(Site(code="late", name="Late"))
    assert newest()[0].at == later(days=-30)
