"""The check of a night in a large fleet: what has changed is always replayed, and everything within so many nights."""

import json
import zlib

import pytest
from django.conf import settings
from django.utils import timezone

from reels.models import Chain, HistoryEntry, Reel
from reels.services import tasks
from reels.services.history import Actor
from reports.models import AssessedInterval, ChainSeen, VerificationRun
from reports.services import verification_runs
from reports.services.verification import CheckUnderWay, Night, check_more, check_records, end_check, seen
from tests import builders
from tests.builders import Cast, administrator, later
from tests.reports.fleet import assessed_fleet
from tests.reports.tampering import drop_guards, edit
from tests.worker import work_off

pytestmark = pytest.mark.django_db

REELS = [f"LW-000{n}" for n in range(1, 7)]
DAY = 740_000
NIGHTS = 3


@pytest.fixture
def fleet(monkeypatch):
    """Six reels and the register, which takes three nights; all of it seen once."""
    monkeypatch.setattr(seen, "AT_LEAST", 3)
    for serial in REELS:
        builders.make_reel(serial)
    assert Night.of(DAY) == Night(DAY, NIGHTS)
    assert checked(DAY).replayed == set(Chain.objects.values_list("pk", flat=True))


@pytest.fixture
def unguarded(fleet):
    drop_guards()


def checked(day: int) -> CheckUnderWay:
    check = CheckUnderWay(night=Night.of(day), marks=[])
    while check_more(check, 2):
        pass
    if check.result.broken is None:
        end_check(check)
    return check


def replayed_on(day: int) -> set[str]:
    """The reels of which the history was."""
    check = checked(day)
    assert (check.result.broken, check.result.chains) == (None, Chain.objects.count())
    assert check.result.replayed == len(check.replayed)
    return set(Reel.objects.filter(chain__in=check.replayed).values_list("serial", flat=True))


def reel_of_another_night(day: int) -> Reel:
    return next(reel for reel in Reel.objects.order_by("pk") if reel.chain_id % NIGHTS != day % NIGHTS)


def make_the_mark_anew(reel: Reel) -> None:
    """As whoever has the secret key too can."""
    mark = ChainSeen.objects.get(chain=reel.chain)
    reel.chain.refresh_from_db()
    ids = seen._ids_of(mark)
    assert ids is not None
    seen.keep_marks([seen.mark_of(reel.chain, mark.day, ids)])


# What a night replays -------------------------------------------------------------------------------------------------


def test_each_history_is_replayed_within_so_many_nights_and_no_night_does_all(fleet):
    nights = [replayed_on(DAY + n) for n in range(1, NIGHTS + 1)]
    assert set().union(*nights) == set(REELS)
    assert sum(map(len, nights)) == len(REELS)
    assert all(len(each) < len(REELS) for each in nights)


def test_what_belongs_to_no_single_reel_is_replayed_every_night(fleet):
    others = set(Chain.objects.exclude(name__startswith="reel:").values_list("pk", flat=True))
    assert others
    for day in range(DAY + 1, DAY + 1 + NIGHTS):
        assert others <= checked(day).replayed


def test_a_reel_with_an_act_since_it_was_seen_is_replayed_whatever_night_it_is(fleet):
    cast = Cast()
    before = set.union(*(replayed_on(DAY + n) for n in range(1, 4)))
    assert before == set(REELS)
    for day in range(DAY + 4, DAY + 7):
        serial = reel_of_another_night(day).serial
        builders.log_cut(cast, serial, at=later(days=day - DAY))
        assert serial in replayed_on(day)


def test_a_night_that_was_missed_is_made_up_for(fleet):
    replayed_on(DAY + 1)
    replayed_on(DAY + 2)  # and then none until that one's turn is over
    late = replayed_on(DAY + 2 + NIGHTS - 1)
    assert late == set(REELS) - {
        reel.serial for reel in Reel.objects.all() if reel.chain_id % NIGHTS == (DAY + 2) % NIGHTS
    }


def test_each_history_counts_as_much_known_again_as_replayed(fleet):
    builders.signed_count(Cast(), REELS[0])
    checked(DAY + 1)
    night, full = checked(DAY + 2).result, check_records()
    assert night.replayed < night.chains
    names = ("chains", "entries", "rows", "signatures", "broken")
    assert [getattr(night, name) for name in names] == [getattr(full, name) for name in names]


# What it finds --------------------------------------------------------------------------------------------------------


def a_row(reel: Reel) -> None:
    edit(reel, "cable_length_m", reel.cable_length_m + 1)


def an_entrys_bytes(reel: Reel) -> None:
    entry = HistoryEntry.objects.get(chain=reel.chain, seq=1)
    edit(entry, "content", bytes(entry.content).replace(b"receive", b"RECEIVE", 1))


def an_entrys_column(reel: Reel) -> None:
    edit(HistoryEntry.objects.get(chain=reel.chain, seq=1), "act", "cut_logged")


def a_head(reel: Reel) -> None:
    edit(reel.chain, "head", "0" * 64)


def a_row_that_no_history_tells(reel: Reel) -> None:
    chain = Chain.objects.create(name="reel:LW-9999")
    Reel.objects.filter(pk=reel.pk).update(chain=chain)


@pytest.mark.parametrize("change", [a_row, an_entrys_bytes, an_entrys_column, a_head, a_row_that_no_history_tells])
@pytest.mark.parametrize("nights_later", range(1, NIGHTS + 1))
def test_a_change_by_sql_is_found_in_the_next_night_whosever_share_it_is(unguarded, change, nights_later):
    change(reel_of_another_night(DAY + nights_later))
    assert checked(DAY + nights_later).result.broken is not None


def test_a_change_with_its_mark_made_anew_is_found_in_the_night_whose_share_it_is(unguarded):
    checked(DAY + 1)
    reel = reel_of_another_night(DAY + 2)
    a_row(reel)
    make_the_mark_anew(reel)
    found = [checked(DAY + 2 + n).result.broken for n in range(NIGHTS)]
    assert found[0] is None
    assert any(found)


def test_a_mark_dated_into_the_future_with_its_key_puts_nothing_off(unguarded):
    reel = reel_of_another_night(DAY)
    a_row(reel)
    edit(ChainSeen.objects.get(chain=reel.chain), "day", DAY + 10_000)
    make_the_mark_anew(reel)
    assert any(checked(DAY + n).result.broken for n in range(1, NIGHTS + 1))


@pytest.mark.parametrize(("column", "value"), [
    ("day", DAY + 2), ("ids", b"no JSON"), ("mac", "0" * 64), ("mac", "\u017f" * 64),
], ids=["day", "ids", "mac", "not ASCII"])  # fmt: skip
def test_an_edited_mark_is_no_break_and_has_its_history_replayed(fleet, column, value):
    checked(DAY + 1)
    reel = reel_of_another_night(DAY + 2)
    edit(ChainSeen.objects.get(chain=reel.chain), column, value)
    assert reel.serial in replayed_on(DAY + 2)
    assert reel.serial not in replayed_on(DAY + 2)


def test_ids_of_no_table_or_of_no_row_have_a_history_replayed(fleet):
    reel = reel_of_another_night(DAY + 1)
    mark = ChainSeen.objects.get(chain=reel.chain)
    for ids in ({"no_table": [1]}, {"reels_reel": ["1"]}, {"reels_reel": 7}, [1]):
        edit(mark, "ids", zlib.compress(json.dumps(ids).encode()))
        assert reel.serial in replayed_on(DAY + 1)


def test_with_another_secret_key_all_is_replayed_once(fleet):
    old = settings.SECRET_KEY
    settings.SECRET_KEY = "another-invented-key-of-some-length"
    try:
        assert replayed_on(DAY + 1) == set(REELS)
        assert replayed_on(DAY + 1) < set(REELS)
    finally:
        settings.SECRET_KEY = old


def test_the_drift_of_what_is_replayed_is_worked_out_again(monkeypatch):
    assessed_fleet()
    monkeypatch.setattr(seen, "AT_LEAST", 2)
    checked(DAY)
    AssessedInterval.objects.filter(assessment__reel__serial="LW-0004").update(cut_m=123.0)
    nights = Night.of(DAY).nights
    found = [checked(DAY + n).result.broken is not None for n in range(1, nights + 1)]
    assert (found.count(True), check_records().broken is not None) == (1, True)


# By the worker --------------------------------------------------------------------------------------------------------


def last_run() -> VerificationRun:
    return VerificationRun.objects.latest("pk")


def test_the_worker_keeps_how_much_it_replayed_and_within_how_many_nights_all_is(fleet):
    chains = Chain.objects.count()
    verification_runs.put_nights_check()
    work_off()
    assert (last_run().first_break, last_run().chains, last_run().nights) == ("", chains, NIGHTS)
    run = verification_runs.put_nights_check()
    chains = Chain.objects.count()  # with that of the checks
    work_off()
    assert last_run().replayed < last_run().chains == chains
    run.result.refresh_from_db()
    value = run.result.return_value
    assert value is not None
    assert f"{chains} histories ({last_run().replayed} of them replayed)" in value["in_words"][0]


def test_what_an_administrator_asks_for_replays_everything(fleet):
    verification_runs.put_nights_check()
    work_off()
    verification_runs.have_checked(actor=Actor(administrator()))
    work_off()
    assert (last_run().replayed, last_run().nights) == (Chain.objects.count(), 1)


def test_a_small_fleet_is_replayed_each_night_and_leaves_no_marks():
    for serial in REELS:
        builders.make_reel(serial)
    for _ in range(2):
        chains = Chain.objects.count()
        verification_runs.put_nights_check()
        work_off()
        assert (last_run().replayed, last_run().nights) == (chains, 1)
    assert not ChainSeen.objects.exists()


def test_stopped_a_night_goes_on_as_that_night(fleet, monkeypatch):
    monkeypatch.setattr(verification_runs, "AT_ONCE", 1)
    ada = Actor(administrator())
    run = verification_runs.put_nights_check()
    real = tasks.HeldTask.progress

    def stopping(held, words, done=0, of=0):
        if done == 4:
            tasks.stop(run.pk, actor=ada, at=builders.NOW)
        real(held, words, done, of)

    with monkeypatch.context() as patched:
        patched.setattr(tasks.HeldTask, "progress", stopping)
        work_off()
    left = verification_runs._read(b"".join(tasks.pieces_of(run.pk, tasks.LEFT_OFF)))
    assert left is not None
    assert (left.night, left.marks) == (Night.of(timezone.now().toordinal()), [])
    assert len(left.lengths) == 4
    assert left.replayed <= set(left.lengths)
    tasks.resume(run.pk, actor=ada)
    chains = Chain.objects.count()
    work_off()
    assert (last_run().first_break, last_run().chains) == ("", chains)
