"""Wrong passwords in a row lock a login for a while, wherever they are given, and the administrators are told."""

import logging

import pytest
from django.contrib.auth.hashers import MD5PasswordHasher

from inspections.domain.words import Meaning
from inspections.services import signing
from reels.domain.words import AskedAt
from reels.errors import TooManyTries, WrongPassword
from reels.models import Alarm, Tries
from reels.services import logins, people, tries
from reels.services.history import Actor
from tests import builders
from tests.builders import NOW, PASSWORD, Cast, by_administrator, later, make_person

pytestmark = pytest.mark.django_db


def log_in(username="tess", password=PASSWORD, at=NOW, address="192.0.2.7"):
    return logins.log_in(username=username, password=password, code="", address=address, at=at)


def wrong(times, username="tess", at=NOW):
    for _ in range(times):
        assert log_in(username, "not-the-word", at) is None


@pytest.fixture
def tess():
    return make_person("tess")


def test_the_fifth_wrong_password_locks_the_login_for_the_right_one_too(tess):
    wrong(5)
    with pytest.raises(TooManyTries) as refused:
        log_in()
    assert (refused.value.facts["minutes"], refused.value.facts["retry_after_s"]) == (15, 900)
    with pytest.raises(TooManyTries, match="locked for 1 minutes more"):
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


def test_an_alarm_is_kept_and_logged_once_for_each_lock(tess, caplog):
    with caplog.at_level(logging.WARNING, "wrapledger.security"):
        wrong(5)
        wrong(5, at=later(hours=1))
    alarms = list(Alarm.objects.order_by("id").values_list("person", "asked_at", "address", "number", "at"))
    assert alarms == [(tess.pk, "login", "192.0.2.7", 5, NOW), (tess.pk, "login", "192.0.2.7", 5, later(hours=1))]
    assert [record.getMessage() for record in caplog.records] == [
        f"Alarm {alarm.pk}: the login of tess was locked for 15 minutes after 5 wrong passwords in a row, the last at "
        "login from 192.0.2.7."
        for alarm in Alarm.objects.order_by("id")
    ]


def test_wrong_passwords_at_signing_lock_the_login_and_at_logging_in_the_signature():
    cast = Cast.as_needed()
    builders.make_reel()
    inspection = builders.read(cast, builders.open_count(cast))

    def sign(password):
        signing.sign(inspection_id=inspection.pk, meaning=Meaning.COUNTED, password=password,
                     actor=Actor(cast.technician), at=NOW)  # fmt: skip

    wrong(2)
    for _ in range(3):
        with pytest.raises(WrongPassword):
            sign("not-the-word")
    assert Alarm.objects.get().asked_at == AskedAt.SIGNING
    with pytest.raises(TooManyTries):
        sign(PASSWORD)
    with pytest.raises(TooManyTries):
        log_in()
    assert not inspection.sign_offs.exists()


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
    started = [tries.begin("tess", NOW) for _ in range(5)]
    assert started == [1, 2, 3, 4, 5]
    monkeypatch.setattr(logins, "authenticate", lambda **_: pytest.fail("the password was looked at"))
    with pytest.raises(TooManyTries):
        log_in()


def test_an_address_that_is_none_is_left_out(tess):
    for _ in range(5):
        log_in(password="x", address="unix:")
    assert Alarm.objects.get().address is None
