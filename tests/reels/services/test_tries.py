"""Wrong passwords lock a login where they were given, nobody else's tries do, and the administrators are told."""

import json
import logging
from dataclasses import replace

import pytest
from django.contrib.auth.hashers import MD5PasswordHasher

from inspections.domain.words import Meaning
from inspections.services import signing
from reels.domain.words import AskedAt, LockScope
from reels.errors import AnotherAdministrator, OnlyAdministrators, TooManyTries, WrongPassword
from reels.models import Alarm, HistoryEntry, Tries
from reels.services import browsers, logins, people, tries
from reels.services.browsers import Origin
from reels.services.history import Actor
from reports.services.verification import check_records
from tests import builders
from tests.builders import NOW, PASSWORD, Cast, by_administrator, later, make_person

pytestmark = pytest.mark.django_db
STRANGE = Origin("192.0.2.7")
OWN = Origin("198.51.100.1", browser="bench-7", known=(browsers._digest("tess"),))
SESSION = Origin("198.51.100.1", session="first")


def log_in(username="tess", password=PASSWORD, at=NOW, origin=STRANGE):
    return logins.log_in(username=username, password=password, code="", origin=origin, at=at)


def wrong(times, username="tess", at=NOW, origin=STRANGE):
    for _ in range(times):
        assert log_in(username, "not-the-word", at, origin) is None


def prove(person, password=PASSWORD, origin=SESSION, at=NOW):
    return logins.prove(Actor(person), password, asked_at=AskedAt.ACCOUNT, origin=origin, at=at)


def at_address(n):
    return Origin(f"203.0.113.{n}")


@pytest.fixture
def tess():
    return make_person("tess")


def test_the_fifth_wrong_password_locks_the_login_there_for_the_right_one_too(tess):
    wrong(5)
    with pytest.raises(TooManyTries) as refused:
        log_in()
    assert (refused.value.facts["minutes"], refused.value.facts["retry_after_s"]) == (15, 900)
    with pytest.raises(TooManyTries, match=r"from this network address\. It is locked for 1 minutes more"):
        log_in(at=later(minutes=14, seconds=59))
    assert log_in(at=later(minutes=15)) == tess


def test_a_right_password_in_between_begins_the_count_again(tess):
    for _ in range(3):
        wrong(4)
        assert log_in() == tess
    assert not Alarm.objects.exists()


def test_tries_far_apart_are_not_in_a_row(tess):
    wrong(4)
    wrong(4, at=later(minutes=15))
    assert log_in(at=later(minutes=16)) == tess


def test_a_login_that_is_tried_while_it_is_locked_is_not_locked_for_longer(tess):
    wrong(5)
    for minute in range(1, 15):
        with pytest.raises(TooManyTries):
            log_in(at=later(minutes=minute))
    assert log_in(at=later(minutes=15)) == tess


def test_another_login_is_not_locked(tess):
    wrong(5)
    vic = make_person("vic")
    assert log_in("vic") == vic


# Strangers lock nobody out -------------------------------------------------------------------------------------------


def test_a_stranger_locks_neither_the_browser_nor_the_session_of_whom_they_guess_at(tess):
    wrong(5)
    assert log_in(origin=OWN) == tess
    assert log_in(origin=replace(OWN, address=STRANGE.address)) == tess, "behind the same address"
    assert prove(tess).actor.person == tess
    assert log_in(origin=at_address(1)) == tess


def test_a_day_of_guesses_from_everywhere_is_bounded_and_keeps_only_strange_browsers_out(tess, settings):
    settings.LOCK_AFTER_TRIES_A_DAY = 12
    for n in range(3):
        wrong(4, origin=at_address(n))
    with pytest.raises(TooManyTries, match=r"in browsers that it was not used in before\. It is locked for 1440 min"):
        log_in(origin=at_address(9))
    with pytest.raises(TooManyTries):
        log_in(origin=at_address(9), at=later(hours=23, minutes=59))
    assert log_in(origin=OWN) == tess
    assert prove(tess).actor.person == tess
    assert log_in(origin=at_address(9), at=later(hours=24)) == tess
    assert Alarm.objects.get().scope == LockScope.UNKNOWN_BROWSERS


def test_right_passwords_use_nothing_up_and_bring_no_guess_back(tess, settings):
    settings.LOCK_AFTER_TRIES_A_DAY = 6
    for n in range(20):
        assert log_in(origin=at_address(n)) == tess
    wrong(3, origin=at_address(1))
    assert log_in(origin=at_address(1)) == tess
    wrong(3, origin=at_address(2))
    with pytest.raises(TooManyTries):
        log_in(origin=at_address(3))


def test_a_browser_counts_for_the_logins_that_were_used_in_it_and_no_other(tess):
    vic = make_person("vic")
    wrong(5, "vic", origin=OWN)
    assert log_in("vic", origin=replace(OWN, address="203.0.113.9")) == vic, "it was counted as a stranger's"
    wrong(5, origin=OWN)
    with pytest.raises(TooManyTries, match="in this browser"):
        log_in(origin=OWN)
    assert log_in(origin=replace(OWN, browser="bench-8")) == tess
    assert log_in() == tess


def test_an_open_session_has_a_count_of_its_own_for_its_own_login(tess):
    for _ in range(5):
        with pytest.raises(WrongPassword):
            prove(tess, "not-the-word")
    with pytest.raises(TooManyTries, match="in this session"):
        prove(tess)
    assert prove(tess, origin=Origin(session="second")).actor.person == tess
    assert log_in(origin=OWN) == tess


def test_who_is_logged_in_tries_another_login_as_a_stranger(tess):
    """Or each new session of one's own would bring five more guesses at a colleague."""
    make_person("vic")
    for n in range(5):
        wrong(1, "vic", origin=Origin("192.0.2.7", session=f"mine {n}"))
    with pytest.raises(TooManyTries, match="from this network address"):
        log_in("vic", origin=Origin("192.0.2.7", session="mine again"))


def test_an_address_takes_so_many_wrong_passwords_a_minute_whatever_name_is_tried(tess, settings):
    settings.RATES = {"login": "30/min"}
    for n in range(30):
        wrong(1, f"name{n}")
    with pytest.raises(match="for any user name from this network address"):
        log_in()
    assert (log_in(origin=at_address(1)), log_in(origin=replace(OWN, address=STRANGE.address))) == (tess, tess)
    assert log_in(at=later(minutes=1)) == tess
    alarm = Alarm.objects.get()
    assert (alarm.person, alarm.scope, alarm.number) == (None, "any_name", 30)


def test_ninety_people_behind_one_address_come_in_within_a_minute(settings):
    settings.RATES = {"login": "30/min"}
    everybody = [make_person(f"p{n}") for n in range(90)]
    assert [log_in(person.username) for person in everybody] == everybody
    assert not Alarm.objects.exists()


@pytest.mark.parametrize(("other", "is_same"), [
    ("2001:db8:1:2:ffff::9", True), ("2001:db8:1:3::1", False), ("::ffff:192.0.2.7", False),
    ("2001:db8:1:2::1", True),
])  # fmt: skip
def test_all_addresses_of_one_connection_of_ipv6_are_one(tess, other, is_same):
    wrong(5, origin=Origin("2001:db8:1:2::1"))
    wrong(5, origin=Origin("::ffff:192.0.2.8"))
    if is_same:
        with pytest.raises(TooManyTries):
            log_in(origin=Origin(other))
    else:
        assert log_in(origin=Origin(other)) == tess


# Alarms, and unlocking ------------------------------------------------------------------------------------------------


def test_an_alarm_is_kept_and_logged_once_for_each_lock(tess, caplog):
    with caplog.at_level(logging.WARNING, "wrapledger.security"):
        wrong(5)
        wrong(5, at=later(hours=1))
    alarms = list(Alarm.objects.order_by("id").values_list("person", "asked_at", "scope", "address", "number", "at"))
    assert alarms == [(tess.pk, "login", "address", "192.0.2.7", 5, at) for at in (NOW, later(hours=1))]
    assert [record.getMessage() for record in caplog.records] == [
        f"Alarm {alarm.pk}: the login of tess locked from one address for 15 minutes after 5 wrong passwords, the last "
        "at login from 192.0.2.7."
        for alarm in Alarm.objects.order_by("id")
    ]


def test_an_administrator_unlocks_a_login_everywhere_and_the_register_tells_it(tess):
    wrong(5)
    wrong(5, origin=OWN)
    for _ in range(5):
        with pytest.raises(WrongPassword):
            prove(tess, "not-the-word")
    people.unlock(tess, reason="guessed at from 192.0.2.7", **by_administrator())
    assert (log_in(), log_in(origin=OWN), prove(tess).actor.person) == (tess, tess, tess)
    entry = HistoryEntry.objects.latest("id")
    assert (entry.chain.name, entry.act) == ("register", "login_unlocked")
    assert json.loads(bytes(entry.content))["facts"] == {"person": "tess", "reason": "guessed at from 192.0.2.7"}
    assert check_records().broken is None


def test_a_try_under_way_while_its_login_is_unlocked_is_told_as_it_was_counted(tess):
    under_way = [tries.begin("tess", STRANGE, NOW) for _ in range(5)]
    people.unlock(tess, reason="guessed at", **by_administrator())
    for each in under_way:
        each.failed(tess, asked_at=AskedAt.LOGIN, at=NOW)
    assert Alarm.objects.get().number == 5


def test_nobody_unlocks_their_own_login_and_only_administrators_another(tess):
    ada = by_administrator()["actor"]
    with pytest.raises(AnotherAdministrator):
        people.unlock(ada.person, reason="mine", actor=ada, at=NOW)
    with pytest.raises(OnlyAdministrators):
        people.unlock(ada.person, reason="theirs", actor=Actor(tess), at=NOW)


def test_what_is_counted_no_more_is_not_kept(tess):
    wrong(3)
    wrong(3, origin=OWN)
    wrong(1, "somebody-unknown")
    tries.forget(later(minutes=15))
    assert set(Tries.objects.values_list("scope", flat=True)) == {"unknown_browsers"}
    tries.forget(later(hours=24))
    assert not Tries.objects.exists()


# At signing, and what nobody learns -----------------------------------------------------------------------------------


def test_wrong_passwords_at_signing_lock_the_session_and_tell_the_administrators():
    cast = Cast.as_needed()
    builders.make_reel()
    inspection = builders.read(cast, builders.open_count(cast))

    def sign(password, origin=SESSION):
        signer = signing.prove(Actor(cast.technician), password, origin=origin, at=NOW)
        return signing.sign_as(signer, inspection_id=inspection.pk, meaning=Meaning.COUNTED, at=NOW)

    wrong(5)
    for _ in range(5):
        with pytest.raises(WrongPassword):
            sign("not-the-word")
    assert list(Alarm.objects.order_by("id").values_list("asked_at", "scope")) == [
        ("login", "address"), ("signing", "session"),
    ]  # fmt: skip
    with pytest.raises(TooManyTries):
        sign(PASSWORD)
    assert not inspection.sign_offs.exists()
    assert sign(PASSWORD, Origin(session="another")).pk


def test_a_name_that_nobody_has_is_locked_in_the_same_way_and_not_kept(caplog):
    with caplog.at_level(logging.INFO, "wrapledger.security"):
        wrong(5, "my-own-password-typed-here")
    with pytest.raises(TooManyTries) as refused:
        log_in("my-own-password-typed-here")
    assert refused.value.facts["retry_after_s"] == 900
    assert Alarm.objects.get().person is None
    assert "my-own-password" not in repr(list(Tries.objects.values())) + caplog.text


@pytest.mark.parametrize("case", ["wrong", "unknown", "closed", "never logs in", "must change"])
def test_a_refusal_costs_the_same_whoever_it_is(case, monkeypatch, tess):
    """One password is hashed in each case; how long that takes is all that a watch could tell."""
    if case == "closed":
        people.change_person(tess, is_active=False, **by_administrator())
    if case == "never logs in":
        people.add_person(username="old", full_name="H. Old", staff_number="S-1", password=None, **by_administrator())
    if case == "must change":
        people.give_password(tess, password="quite-another-word", **by_administrator())
    hashed = []
    plain = MD5PasswordHasher.encode

    def encode(*given):
        hashed.append(1)
        return plain(*given)

    monkeypatch.setattr(MD5PasswordHasher, "encode", encode)
    assert log_in({"unknown": "zoe", "never logs in": "old"}.get(case, "tess"), "not-the-word") is None
    assert len(hashed) == 1


def test_a_try_is_counted_before_the_password_is_looked_at(tess, monkeypatch):
    """Many at once get no further than one after the other: the sixth is refused while five are being looked at."""
    started = [tries.begin("tess", STRANGE, NOW) for _ in range(5)]
    assert [[limit.scope for limit in each.reached] for each in started] == [[], [], [], [], [LockScope.ADDRESS]]
    monkeypatch.setattr(logins, "authenticate", lambda **_: pytest.fail("the password was looked at"))
    with pytest.raises(TooManyTries):
        log_in()


def test_an_address_that_is_none_is_left_out(tess):
    wrong(5, origin=Origin("unix:"))
    assert Alarm.objects.get().address is None
