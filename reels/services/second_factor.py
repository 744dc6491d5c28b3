"""A second factor: one-time codes of a device (TOTP, RFC 6238), and recovery codes for the day it is lost."""

import base64
import hashlib
import hmac
import re
import secrets
from datetime import datetime, timedelta

from cryptography.fernet import Fernet, InvalidToken, MultiFernet
from cryptography.hazmat.primitives.hashes import SHA1
from cryptography.hazmat.primitives.twofactor.totp import TOTP
from django.conf import settings
from django.db import transaction
from django.utils.crypto import salted_hmac

from reels import access
from reels.errors import AlreadyThere, AnotherAdministrator, NotFound, WrongCode
from reels.models import Person, RecoveryCode, SecondFactor
from reels.services.history import Actor, ActRecorder, record_act

STEP_S, DIGITS = 30, 6
STEPS_EITHER_WAY = 1  # a device's clock may be half a minute off
SECRET_BYTES = 20  # as long as SHA-1, which is what devices take
RECOVERY_CODES, RECOVERY_BYTES = 10, 15  # 120 bits each: nothing to guess, so one quick digest is enough
LONGEST_SET_UP = timedelta(minutes=30)


@transaction.atomic
def begin(*, actor: Actor, at: datetime) -> str:
    """A new secret for one's device, as base32; in force once `confirm` was given a code. Raises AlreadyThere."""
    chain = access.lock_register()
    if access.second_factor_of(actor.person):
        raise AlreadyThere(what="second factor of", key=actor.person.username)
    secret = secrets.token_bytes(SECRET_BYTES)
    with record_act(chain, "second_factor_begun", actor, at) as act:
        act.add(SecondFactor(person=actor.person, secret=_cipher().encrypt(secret).decode(), begun_at=at))
    return base64.b32encode(secret).decode()


def secret_begun(person: Person, at: datetime) -> str:
    """The secret that `begin` gave last, until it is in force. Raises NotFound after half an hour."""
    return base64.b32encode(_cipher().decrypt(_begun(person, at).secret.encode())).decode()


def address_for_device(person: Person, secret: str) -> str:
    """The `otpauth://` address that a device reads from a picture. secret: as `begin` gave it."""
    return _totp(base64.b32decode(secret)).get_provisioning_uri(person.username, settings.SERVICE_NAME)


@transaction.atomic
def confirm(*, code: str, actor: Actor, at: datetime) -> list[str]:
    """Put the device in force by a code that it shows; every other session ends.

    Returns the recovery codes, which are shown this once. Raises NotFound without a set-up of the last half hour,
    AlreadyThere, WrongCode.
    """
    chain = access.lock_register()
    person = actor.person
    if access.second_factor_of(person):
        raise AlreadyThere(what="second factor of", key=person.username)
    factor = _begun(person, at)
    step = _step_of(factor, code, at)
    if step is None:
        raise WrongCode()
    person.refresh_from_db()
    codes = [base64.b32encode(secrets.token_bytes(RECOVERY_BYTES)).decode().lower() for _ in range(RECOVERY_CODES)]
    with record_act(chain, "second_factor_confirmed", actor, at) as act:
        act.change(factor, confirmed_at=at, last_step=step)
        act.add_all([RecoveryCode(factor=factor, digest=_digest(each)) for each in codes])
        act.change(person, session_round=person.session_round + 1)
    return [_in_groups(each) for each in codes]


@transaction.atomic
def end_own(*, actor: Actor, at: datetime) -> None:
    """Take one's own second factor out of force; every other session ends. Raises NotFound."""
    chain = access.lock_register()
    factor = _in_force(actor.person)
    with record_act(chain, "second_factor_ended", actor, at) as act:
        act.change(factor, ended_at=at, ended_by=actor.person)
        _change(act, actor.person, session_round=actor.person.session_round + 1)


@transaction.atomic
def end_of_another(person: Person, *, reason: str, actor: Actor, at: datetime) -> None:
    """Take the second factor of somebody who lost it out of force; who does it cannot enrol them again.

    Raises OnlyAdministrators, AnotherAdministrator for one's own, or NotFound.
    """
    access.only_administrators(actor.person)
    if person == actor.person:
        raise AnotherAdministrator(name=person.full_name, done="the second factor themselves")
    chain = access.lock_register()
    factor = _in_force(person)
    with record_act(chain, "second_factor_ended", actor, at, reason=reason) as act:
        act.change(factor, ended_at=at, ended_by=actor.person)
        _change(act, person, **access.to_be_enrolled_again(person, actor.person))


@transaction.atomic
def takes(factor: SecondFactor, code: str, at: datetime) -> bool:
    """Whether the code is the device's now, or one of the recovery codes; it is not taken again."""
    factor = SecondFactor.objects.select_for_update().get(pk=factor.pk)
    step = _step_of(factor, code, at)
    if step is not None:
        factor.last_step = step
        factor.save(update_fields=["last_step"])
        return True
    recovery_code = re.sub(r"[\s-]", "", code).lower()
    return bool(factor.recovery_codes.filter(digest=_digest(recovery_code), used_at__isnull=True).update(used_at=at))


def _begun(person: Person, at: datetime) -> SecondFactor:
    begun = SecondFactor.objects.filter(person=person, confirmed_at__isnull=True, begun_at__gt=at - LONGEST_SET_UP)
    factor = begun.order_by("id").last()
    if factor is None:
        raise NotFound(what="set-up of a second factor of", key=person.username)
    return factor


def _in_force(person: Person) -> SecondFactor:
    factor = access.second_factor_of(person)
    if factor is None:
        raise NotFound(what="second factor of", key=person.username)
    return factor


def _change(act: ActRecorder, person: Person, **values: object) -> None:
    person.refresh_from_db()
    act.change(person, **values)


def _step_of(factor: SecondFactor, code: str, at: datetime) -> int | None:
    """The time step whose code this is, later than that of the last code; None when there is none."""
    try:
        totp = _totp(_cipher().decrypt(factor.secret.encode()))
    except InvalidToken:  # of another secret key; the recovery codes still work
        return None
    digits, now = re.sub(r"\s", "", code).encode(), int(at.timestamp()) // STEP_S
    steps = range(max(now - STEPS_EITHER_WAY, factor.last_step + 1), now + STEPS_EITHER_WAY + 1)
    return next((step for step in steps if hmac.compare_digest(totp.generate(step * STEP_S), digits)), None)


def _totp(secret: bytes) -> TOTP:
    return TOTP(secret, DIGITS, SHA1(), STEP_S)  # noqa: S303  # RFC 6238's, and what devices take


# Encrypted and not hashed, for the codes are worked out from the secret itself.
def _cipher() -> MultiFernet:
    """Encrypts by the first key there is, decrypts by any: those for devices, the secret key, its forerunners."""
    keys = [*settings.DEVICE_KEYS, settings.SECRET_KEY, *settings.SECRET_KEY_FALLBACKS]
    derived = (salted_hmac("reels.second_factor", "", secret=key, algorithm="sha256").digest() for key in keys)
    return MultiFernet([Fernet(base64.urlsafe_b64encode(key)) for key in derived])


@transaction.atomic
def encrypt_anew() -> tuple[int, int]:
    """Encrypt the secrets of all devices by the newest key. How many, and how many no key that is there decrypts."""
    access.lock_register()
    cipher, lost, done = _cipher(), 0, 0
    for factor in SecondFactor.objects.filter(ended_at__isnull=True):
        try:
            factor.secret = cipher.rotate(factor.secret.encode()).decode()
        except InvalidToken:
            lost += 1
        else:
            factor.save(update_fields=["secret"])
            done += 1
    return done, lost


def _digest(code: str) -> str:
    return hashlib.sha256(code.encode()).hexdigest()


def _in_groups(code: str) -> str:
    return "-".join(code[place : place + 4] for place in range(0, len(code), 4))
