"""One-time codes: they are RFC 6238's, each is taken once, and what is kept of them helps no thief."""

import base64
from urllib.parse import parse_qs, urlsplit

import pytest
from cryptography.hazmat.primitives.hashes import SHA1
from cryptography.hazmat.primitives.twofactor.totp import TOTP
from django.core.management import call_command
from django.core.management.base import CommandError

from inspections.domain.words import Meaning
from inspections.services import signing
from reels.errors import (
    AlreadyThere,
    AnotherAdministrator,
    NotFound,
    OnlyAdministrators,
    SecondFactorMissing,
    WrongCode,
)
from reels.models import HistoryEntry, RecoveryCode, SecondFactor
from reels.services import logins, people, second_factor
from reels.services.browsers import Origin
from reels.services.history import Actor
from reports.services.verification import check_records
from tests import builders
from tests.builders import NOW, PASSWORD, Cast, administrator, later, make_person, second_administrator

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _records_are_whole_afterwards(db):
    yield
    assert check_records().broken is None


@pytest.fixture
def tess():
    return make_person("tess")


def shown(secret, at=NOW):
    """What a device with this secret shows."""
    return TOTP(base64.b32decode(secret), 6, SHA1(), 30).generate(int(at.timestamp())).decode()  # noqa: S303  # RFC 6238


def in_force(person, at=NOW):
    """The device's secret and the recovery codes."""
    secret = second_factor.begin(actor=Actor(person), at=at)
    return secret, second_factor.confirm(code=shown(secret, at), actor=Actor(person), at=at)


def log_in(code="", at=NOW, password=PASSWORD):
    return logins.log_in(username="tess", password=password, code=code, origin=Origin(), at=at)


# RFC 4226, appendix D, for the secret of RFC 6238's appendix B: the code of time step n is the n-th of these.
STEPS = ["755224", "287082", "359152", "969429", "338314", "254676", "287922", "162583", "399871", "520489"]


@pytest.mark.parametrize(("step", "code"), enumerate(STEPS))
def test_codes_are_those_of_the_standard(step, code):
    assert second_factor._totp(b"12345678901234567890").generate(step * 30 + 29) == code.encode()


def test_the_device_reads_the_same_secret_from_its_address(tess, settings):
    secret = second_factor.begin(actor=Actor(tess), at=NOW)
    address = urlsplit(second_factor.address_for_device(tess, secret))
    said = parse_qs(address.query)
    assert (address.scheme, address.netloc, said["secret"]) == ("otpauth", "totp", [secret])
    assert len(base64.b32decode(secret)) == 20


def test_with_a_second_factor_the_password_alone_logs_nobody_in(tess):
    assert log_in() == tess
    secret, _ = in_force(tess)
    at = later(minutes=1)
    assert log_in(at=at) is None
    assert log_in("000000", at) is None
    assert log_in(shown(secret, at), at, password="not-the-word") is None
    assert log_in(shown(secret, at), at) == tess


def test_a_code_is_taken_once_and_none_before_it_ever(tess):
    secret, _ = in_force(tess)
    assert log_in(shown(secret)) is None  # the one that put it in force
    at = later(minutes=1)
    assert log_in(shown(secret, at), at) == tess
    assert log_in(shown(secret, at), at) is None
    assert log_in(shown(secret, later(seconds=30)), at) is None


@pytest.mark.parametrize(("off_s", "is_taken"), [(-60, False), (-30, True), (0, True), (30, True), (60, False)])
def test_a_devices_clock_may_be_half_a_minute_off(tess, off_s, is_taken):
    secret, _ = in_force(tess)
    at = later(minutes=10)
    assert (log_in(shown(secret, later(minutes=10, seconds=off_s)), at) is not None) == is_taken


def test_a_recovery_code_stands_in_once(tess):
    _, codes = in_force(tess)
    assert len(set(codes)) == 10
    assert log_in(codes[3].upper().replace("-", " ")) == tess
    assert log_in(codes[3]) is None
    assert log_in(codes[4]) == tess


def test_a_set_up_that_was_not_confirmed_changes_nothing_and_ends_after_half_an_hour(tess):
    secret = second_factor.begin(actor=Actor(tess), at=NOW)
    with pytest.raises(WrongCode):
        second_factor.confirm(code="000000", actor=Actor(tess), at=NOW)
    assert log_in() == tess
    with pytest.raises(NotFound):
        second_factor.confirm(code=shown(secret, later(minutes=30)), actor=Actor(tess), at=later(minutes=30))


def test_nobody_confirms_another_ones_set_up(tess):
    secret = second_factor.begin(actor=Actor(tess), at=NOW)
    with pytest.raises(NotFound):
        second_factor.confirm(code=shown(secret), actor=Actor(make_person("vic")), at=NOW)


def test_there_is_one_at_a_time_and_it_can_be_ended_by_its_owner(tess):
    in_force(tess)
    with pytest.raises(AlreadyThere):
        second_factor.begin(actor=Actor(tess), at=NOW)
    second_factor.end_own(actor=Actor(tess), at=NOW)
    assert log_in() == tess
    with pytest.raises(NotFound):
        second_factor.end_own(actor=Actor(tess), at=NOW)
    in_force(tess, later(hours=1))


def test_a_lost_one_is_ended_by_an_administrator_and_its_owner_enrolled_again_by_another(tess):
    in_force(tess)
    ada, bea = Actor(administrator()), Actor(second_administrator())
    with pytest.raises(OnlyAdministrators):
        second_factor.end_of_another(tess, reason="lost", actor=Actor(make_person("vic")), at=NOW)
    second_factor.end_of_another(tess, reason="lost in the lake", actor=ada, at=NOW)
    tess.refresh_from_db()
    assert (log_in(), tess.is_enrolled) == (tess, False)
    with pytest.raises(AnotherAdministrator):
        people.enrol(tess, checked="it is her", actor=ada, at=NOW)
    people.enrol(tess, checked="it is her", actor=bea, at=NOW)
    with pytest.raises(AnotherAdministrator):
        second_factor.end_of_another(ada.person, reason="mine", actor=ada, at=NOW)


def test_nothing_that_is_kept_shows_a_secret_or_a_code(tess):
    secret, codes = in_force(tess)
    kept = repr([*SecondFactor.objects.values(), *RecoveryCode.objects.values()])
    kept += repr([bytes(each.content) for each in HistoryEntry.objects.all()])
    raw = base64.b32decode(secret)
    for hidden in (secret, raw.hex(), repr(raw)[2:-1], *codes, *(code.replace("-", "") for code in codes)):
        assert hidden not in kept
    assert [entry.act for entry in HistoryEntry.objects.order_by("-id")[:2]] == [
        "second_factor_confirmed", "second_factor_begun",
    ]  # fmt: skip


def test_under_another_secret_key_a_device_is_no_good_and_a_recovery_code_is(tess, settings):
    secret, codes = in_force(tess)
    settings.SECRET_KEY = "another-invented-key-of-more-than-fifty-different-characters-0123"
    at = later(minutes=1)
    assert log_in(shown(secret, at), at) is None
    assert log_in(codes[0], at) == tess


FIRST, SECOND = (f"an-invented-key-number-{number}-of-more-than-fifty-characters" for number in (1, 2))


def test_keys_for_devices_are_changed_without_setting_up_a_device_again(tess, settings, capsys):
    secret, _ = in_force(tess)
    settings.DEVICE_KEYS = [FIRST]
    assert log_in(shown(secret, later(minutes=1)), later(minutes=1)) == tess, "as the secret key encrypted it"
    call_command("encrypt_devices")
    assert capsys.readouterr().out == "1 device encrypted by the newest key.\n"
    settings.SECRET_KEY = "another-invented-key-of-more-than-fifty-different-characters-0123"
    assert log_in(shown(secret, later(minutes=2)), later(minutes=2)) == tess
    settings.DEVICE_KEYS = [SECOND, FIRST]
    call_command("encrypt_devices")
    settings.DEVICE_KEYS = [SECOND]
    assert log_in(shown(secret, later(minutes=3)), later(minutes=3)) == tess
    settings.DEVICE_KEYS = [FIRST]
    with pytest.raises(CommandError, match="1 device encrypted by a key that is not there"):
        call_command("encrypt_devices")


@pytest.mark.parametrize("needed", ["signers", "everyone"])
def test_where_signers_need_one_nobody_signs_without(settings, needed):
    cast = Cast.as_needed()
    builders.make_reel()
    inspection = builders.read(cast, builders.open_count(cast))

    def sign():
        signing.sign(inspection_id=inspection.pk, meaning=Meaning.COUNTED, password=PASSWORD,
                     actor=Actor(cast.technician), at=NOW)  # fmt: skip

    settings.SECOND_FACTOR = needed
    with pytest.raises(SecondFactorMissing):
        sign()
    in_force(cast.technician)
    sign()
    assert inspection.sign_offs.get().person == cast.technician
