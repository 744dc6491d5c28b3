"""E-mail notices: chosen by each person, worked out from what is true now, and sent once for one cause.

At most once: a notice is marked `sending`, in a transaction of its own, before the mail server hears of it. Only one
run can mark it. If the server refuses, it waits again; if the answer does not come, or the process is killed, it stays
marked, and a person decides whether it goes out again: SMTP has no way to ask whether a mail was taken.
"""

import secrets
from collections.abc import Callable, Iterable
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from email.utils import parseaddr
from smtplib import SMTPException, SMTPRecipientsRefused, SMTPResponseException

from django.conf import settings
from django.core.mail import EmailMessage, get_connection
from django.core.mail.backends.base import BaseEmailBackend
from django.db import transaction
from django.db.models import F

from reels import access
from reels.models import Person, Site
from reels.services.history import Actor, record_act
from reports.domain import notices
from reports.domain.notices import WINDOW, Cause, NoticeKind, NoticeState, Reader
from reports.models import Notice, NoticeAddress, NoticeChoice
from reports.queries.notices import digest_of_choices, readers, standing_causes, unsent

SMTP = "django.core.mail.backends.smtp.EmailBackend"
KEPT_FOR = timedelta(days=365)  # a sent one; its cause has long been too old to be mailed, so it is not written anew
INTERRUPTED_AFTER = timedelta(minutes=10)  # a mail takes half a minute at most until its server is given up
Key = tuple[int, str, int]
Links = Callable[[Cause], tuple[str, str]]


@dataclass(slots=True)
class NoticeRun:
    """What became of one run. refused, in_doubt: in words, a line for each notice. stopped: why it ended early."""

    sent: int = 0
    refused: list[str] = field(default_factory=list)
    in_doubt: list[str] = field(default_factory=list)
    stopped: str = ""


def sends_mail() -> bool:
    """Whether this installation has a mail server to send by."""
    return settings.EMAIL_BACKEND != SMTP or bool(settings.EMAIL_HOST)


@transaction.atomic
def choose(person: Person, *, address: str, chosen: Iterable[tuple[NoticeKind, Site | None]], at: datetime) -> None:
    """What somebody wants to be told from now on, in place of all that they chose before. address: "" for no mail."""
    chain = access.lock_register()  # a second form sent at once waits here
    NoticeChoice.objects.filter(person=person).delete()
    NoticeChoice.objects.bulk_create([NoticeChoice(person=person, kind=kind, site=site) for kind, site in set(chosen)])
    new = NoticeAddress(person=person, address=address, salt=secrets.token_hex(16), changed_at=at)
    new.digest = digest_of_choices(new)
    with record_act(chain, "notices_chosen", Actor(person), at) as act:
        if row := NoticeAddress.objects.filter(person=person).first():
            act.change(row, address=address, salt=new.salt, digest=new.digest, changed_at=at)
        else:
            act.add(new)


def run(clock: Callable[[], datetime], links: Links) -> NoticeRun:
    """Write a notice of each cause for whoever asked for it, send those that wait, and drop what is long sent.

    clock: the time now, asked for each mail. links: the addresses of the page of a cause and of the choices, "" for
    none. Any number of runs may go at once. It is called outside a transaction, since each mark is one of its own.
    """
    Notice.objects.filter(state=NoticeState.SENT, sent_at__lt=clock() - KEPT_FOR).delete()
    causes = {(cause.kind.value, cause.key): cause for cause in standing_causes(clock())}
    people = {reader.person: reader for reader in readers(clock())}
    current = {
        (reader.person, *key) for reader in people.values() for key, cause in causes.items()
        if notices.wants(reader, cause)
    }  # fmt: skip
    _write_new(current, people, clock())
    result = NoticeRun()
    for notice in unsent(NoticeState.WAITING):
        if (notice.person_id, notice.kind, notice.cause) not in current:  # nothing to act on, or nobody who asked
            Notice.objects.filter(pk=notice.pk, state=NoticeState.WAITING).delete()
        elif notices.is_due(notice.tries, notice.tried_at, clock()):
            cause = causes[notice.kind, notice.cause]
            _send(notice, _message(notice, people[notice.person_id], cause, links(cause)), result, clock)
            if result.stopped:
                break
    return result


def interrupted(at: datetime) -> list[Notice]:
    """The notices of which nobody knows whether they went out. One query."""
    return list(unsent(NoticeState.SENDING).filter(tried_at__lt=at - INTERRUPTED_AFTER).select_related("person"))


def resolve_interrupted(ids: Iterable[int], *, as_sent: bool, at: datetime) -> list[int]:
    """Decide of interrupted notices: they count as sent, or are sent again. Returns those that were interrupted."""
    chosen = set(ids)
    resolved = [notice.pk for notice in interrupted(at) if notice.pk in chosen]
    state, sent_at = (NoticeState.SENT, at) if as_sent else (NoticeState.WAITING, None)
    rows = Notice.objects.filter(pk__in=resolved, state=NoticeState.SENDING)
    rows.update(state=state, sent_at=sent_at, tries=0, tried_at=None, last_error="")
    return resolved


def _write_new(current: set[Key], people: Iterable[int], at: datetime) -> None:
    """A notice for each person and cause that has none. What another run wrote meanwhile is left as it is."""
    known = Notice.objects.filter(person__in=list(people), found_at__gte=at - WINDOW)
    new = sorted(current - set(known.values_list("person", "kind", "cause")))
    rows = [Notice(person_id=person, kind=kind, cause=cause, found_at=at) for person, kind, cause in new]
    Notice.objects.bulk_create(rows, ignore_conflicts=True, batch_size=500)


def _message(notice: Notice, reader: Reader, cause: Cause, links: tuple[str, str]) -> EmailMessage:
    """The mail. Sent again it has the same id, by which a mailbox may know it."""
    host = parseaddr(settings.DEFAULT_FROM_EMAIL)[1].rpartition("@")[2] or "localhost"
    return EmailMessage(
        subject=notices.subject(cause),
        body=notices.text(cause, *links),
        to=[reader.address],
        headers={
            "Auto-Submitted": "auto-generated",  # RFC 3834: no holiday reply is wanted
            "Message-ID": f"<notice-{notice.pk}-{notice.found_at:%Y%m%d%H%M%S}@{host}>",
        },
    )


def _send(notice: Notice, message: EmailMessage, result: NoticeRun, clock: Callable[[], datetime]) -> None:
    """Send one mail over a connection of its own, so that a server that closes one loses only that mail."""
    connection = get_connection()
    waiting = Notice.objects.filter(pk=notice.pk, state=NoticeState.WAITING)
    try:
        connection.open()
    except (OSError, SMTPException) as error:  # it is not marked yet, and stays in line
        result.stopped = f"the mail server did not let us in: {_error_text(error)}"
        waiting.update(tried_at=clock(), last_error=_error_text(error))
    else:
        # One statement, and so for one run only. From here on the notice is never sent by itself again.
        if waiting.update(state=NoticeState.SENDING, tried_at=clock(), tries=F("tries") + 1, last_error=""):
            _hand_over(connection, notice, message, result, clock)
    finally:
        with suppress(OSError, SMTPException):
            connection.close()


def _hand_over(connection: BaseEmailBackend, notice: Notice, message: EmailMessage, result: NoticeRun,
               clock: Callable[[], datetime]) -> None:  # fmt: skip
    marked = Notice.objects.filter(pk=notice.pk, state=NoticeState.SENDING)
    try:
        connection.send_messages([message])
    except (SMTPResponseException, SMTPRecipientsRefused) as refusal:  # an answer: it was not taken
        marked.update(state=NoticeState.WAITING, last_error=_error_text(refusal))
        result.refused.append(f"notice {notice.pk}: {_error_text(refusal)}")
    except (OSError, SMTPException) as failure:  # no answer: it may have been taken
        marked.update(last_error=_error_text(failure))
        result.in_doubt.append(f"notice {notice.pk}: {_error_text(failure)}")
    else:
        marked.update(state=NoticeState.SENT, sent_at=clock())
        result.sent += 1


def _error_text(error: Exception) -> str:
    return f"{type(error).__name__}: {error}"[:300]
