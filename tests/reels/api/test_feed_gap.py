"""Entries get ids before they are committed: a follower by ids misses one for good, a follower of the feed none."""

import threading

import pytest
from django.db import connection, connections, transaction
from django.utils import timezone

from reels import access
from reels.models import FeedPlace, HistoryEntry
from reels.services import feed
from reels.services.history import Actor, record_act
from tests import builders

pytestmark = pytest.mark.django_db(transaction=True)


def naive_follower(after):
    """What following by id would see: entries with a higher id, and the highest as the new cursor."""
    rows = list(HistoryEntry.objects.filter(pk__gt=after).order_by("pk"))
    return [row.digest for row in rows], rows[-1].pk if rows else after


def feed_follower(after, person):
    feed.number_waiting()
    part = access.feed_after(after, 200, person, timezone.now())
    return [entry.digest for entry in part.entries], part.after


def note(serial):
    [chain] = access.lock(access.reel_chain(serial))
    with record_act(chain, "noted", Actor(builders.administrator(), via="command test"), timezone.now()):
        pass


def test_an_entry_that_is_written_first_and_committed_last_is_not_missed(transactional_db):
    if connection.vendor != "postgresql":
        pytest.skip("SQLite has one writer at a time: ids are committed in their order")
    reader = builders.make_person("noel")
    for serial in ("LW-0001", "LW-0002"):
        builders.make_reel(serial)
    _, naive = naive_follower(0)
    _, ours = feed_follower(0, reader)
    written, commit = threading.Event(), threading.Event()

    def slow_writer():
        with transaction.atomic():
            note("LW-0001")
            written.set()
            commit.wait(20)
        connections.close_all()

    writer = threading.Thread(target=slow_writer)
    writer.start()
    written.wait(20)
    with transaction.atomic():
        note("LW-0002")  # a higher id, committed first
    seen_naively, naive = naive_follower(naive)
    seen, ours = feed_follower(ours, reader)
    commit.set()
    writer.join(20)
    more_naively, _ = naive_follower(naive)
    more, _ = feed_follower(ours, reader)

    both = set(HistoryEntry.objects.filter(act="noted").values_list("digest", flat=True))
    assert len(both) == 2
    assert set(seen_naively + more_naively) < both  # the naive one has lost an entry
    assert sorted(seen + more) == sorted(both)  # ours has each, once


def write(serial):
    try:
        for _ in range(10):
            with transaction.atomic():
                note(serial)
    finally:
        connections.close_all()


def follow(reader, mine, done):
    """Follow the feed until the writers are done; what was seen and where it ended go into `mine`."""
    try:
        while not done.is_set():
            seen, mine["after"] = feed_follower(mine["after"], reader)
            mine["seen"] += seen
    finally:
        connections.close_all()


def test_followers_beside_many_writers_get_everything_once_and_in_the_same_order(transactional_db):
    reader = builders.make_person("noel")
    serials = [f"LW-{number:04}" for number in range(4)]
    for serial in serials:
        builders.make_reel(serial)
    done, found = threading.Event(), [{"seen": [], "after": 0}, {"seen": [], "after": 0}]
    writers = [threading.Thread(target=write, args=(serial,)) for serial in serials]
    followers = [threading.Thread(target=follow, args=(reader, mine, done)) for mine in found]
    start_and_wait(writers, followers, done)
    seen = [mine["seen"] + feed_follower(mine["after"], reader)[0] for mine in found]
    every = HistoryEntry.objects.filter(chain__reel__isnull=False)
    assert sorted(seen[0]) == sorted(every.values_list("digest", flat=True))
    assert seen[0] == seen[1]
    numbers = list(FeedPlace.objects.order_by("number").values_list("number", flat=True))
    assert numbers == list(range(1, len(numbers) + 1))


def start_and_wait(writers, followers, done):
    for thread in (*followers, *writers):
        thread.start()
    for thread in writers:
        thread.join(60)
    done.set()
    for thread in followers:
        thread.join(60)
