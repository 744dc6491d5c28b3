"""E-mail notices: chosen by each person, found from what stands, and sent once for one cause.

At most once: a notice is marked `sending`, in a transaction of its own, before the mail server hears of it. Only one
run can mark it. If the server refuses, it waits again; if the answer does not come, or the process is killed, it stays
marked, and a person decides whether it goes out again.
"""

from collections.abc import Callable, Iterable
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from smtplib import SMTPException, SMTPRecipientsRefused, SMTPResponseException

from django.conf import settings
from django.core.mail import EmailMessage, get_connection
from django.core.mail.backends.base import BaseEmailBackend
from django.db import transaction
from django.db.models import F

from reels.models import Person, Site
from reports.domain import notices
from reports.domain.notices import WINDOW, Cause, NoticeKind, NoticeState, Reader
from reports.models import Notice, NoticeAddress, NoticeChoice
from reports.queries.notices import readers, standing_causes, unsent

SMTP = "django.core.mail.backends.smtp.EmailBackend"
KEPT = timedelta(days=365)  # a sent one; its cause has long been too old to be mailed, so it is not written anew
BROKEN_OFF_AFTER = timedelta(minutes=10)  # a mail takes half a minute at most until its server is given up
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
    NoticeAddress.objects.get_or_create(person=person, defaults={"changed_at": at})
    mine = NoticeAddress.objects.select_for_update().get(person=person)  # a second form sent at once waits here
    mine.address, mine.changed_at = address, at
    mine.save(update_fields=["address", "changed_at"])
    NoticeChoice.objects.filter(person=person).delete()
    NoticeChoice.objects.bulk_create([NoticeChoice(person=person, kind=kind, site=site) for kind, site in set(chosen)])


def run(clock: Callable[[], datetime], links: Links) -> NoticeRun:
    """Find what stands, write a notice for whoever wants to know, send those that wait, and drop what is long sent.

    clock: the time now, asked for each mail. links: the addresses of the page of a cause and of the choices, "" for
    none. Any number of runs may go at once. It is called outside a transaction, since each mark is one of its own.
    """
    Notice.objects.filter(state=NoticeState.SENT, sent_at__lt=clock() - KEPT).delete()
    causes = {(cause.kind.value, cause.key): cause for cause in standing_causes(clock())}
    people = {reader.person: reader for reader in readers(clock())}
    wanted = {
        (reader.person, *key) for reader in people.values() for key, cause in causes.items()
        if notices.wants(reader, cause)
    }  # fmt: skip
    _write(wanted, people, clock())
    outcome = NoticeRun()
    for notice in unsent(NoticeState.WAITING):
        if _key(notice) not in wanted:  # nothing to act on any more, or nobody who wants to know
            Notice.objects.filter(pk=notice.pk, state=NoticeState.WAITING).delete()
        elif notices.is_due(notice.tries, notice.tried_at, clock()):
            cause = causes[notice.kind, notice.cause]
            _send(notice, _message(notice, people[notice.person_id], cause, links(cause)), outcome, clock)
            if outcome.stopped:
                break
    return outcome


def broken_off(at: datetime) -> list[Notice]:
    """The notices of which nobody knows whether they went out. One query."""
    return list(unsent(NoticeState.SENDING).filter(tried_at__lt=at - BROKEN_OFF_AFTER).select_related("person"))


def settle(ids: Iterable[int], *, as_sent: bool, at: datetime) -> list[int]:
    """Decide of notices that were broken off: they count as sent, or are sent again. Returns those that were such."""
    chosen = set(ids)
    found = [notice.pk for notice in broken_off(at) if notice.pk in chosen]
    state, sent_at = (NoticeState.SENT, at) if as_sent else (NoticeState.WAITING, None)
    rows = Notice.objects.filter(pk__in=found, state=NoticeState.SENDING)
    rows.update(state=state, sent_at=sent_at, tries=0, tried_at=None, last_error="")
    return found


# Smaller steps ------------------------------------------------------------------------------------------------------


def _write(wanted: set[Key], people: Iterable[int], at: datetime) -> None:
    """A notice for each person and cause that has none. What another run wrote meanwhile is left as it is."""
    known = Notice.objects.filter(person__in=list(people), found_at__gte=at - WINDOW)
    new = sorted(wanted - set(known.values_list("person", "kind", "cause")))
    rows = [Notice(person_id=person, kind=kind, cause=cause, found_at=at) for person, kind, cause in new]
    Notice.objects.bulk_create(rows, ignore_conflicts=True, batch_size=500)


def _key(notice: Notice) -> Key:
    return notice.person_id, notice.kind, notice.cause


def _message(notice: Notice, reader: Reader, cause: Cause, links: tuple[str, str]) -> EmailMessage:
    """The mail. Sent again it has the same id, by which a mailbox may know it."""
    host = settings.DEFAULT_FROM_EMAIL.rpartition("@")[2].rstrip("> ") or "localhost"
    made = f"{notice.found_at:%Y%m%d%H%M%S}"
    return EmailMessage(
        subject=notices.subject(cause),
        body=notices.text(cause, *links),
        to=[reader.address],
        headers={"Auto-Submitted": "auto-generated", "Message-ID": f"<notice-{notice.pk}-{made}@{host}>"},
    )


def _send(notice: Notice, message: EmailMessage, outcome: NoticeRun, clock: Callable[[], datetime]) -> None:
    """A connection for each mail, so that a server that lets go of one says nothing of the next."""
    connection = get_connection()
    try:
        _open(connection, notice, outcome, clock)
        if not outcome.stopped and _mark(notice, clock()):
            _hand_over(connection, notice, message, outcome, clock)
    finally:
        with suppress(OSError, SMTPException):
            connection.close()


def _open(connection: BaseEmailBackend, notice: Notice, outcome: NoticeRun, clock: Callable[[], datetime]) -> None:
    try:
        connection.open()
    except (OSError, SMTPException) as failed:
        outcome.stopped = f"the mail server did not let us in: {_words(failed)}"
        waiting = Notice.objects.filter(pk=notice.pk, state=NoticeState.WAITING)
        waiting.update(tried_at=clock(), last_error=_words(failed))


def _mark(notice: Notice, at: datetime) -> bool:
    """Take the notice, in one statement and so for one run only. From here on it is never sent by itself again."""
    waiting = Notice.objects.filter(pk=notice.pk, state=NoticeState.WAITING)
    return waiting.update(state=NoticeState.SENDING, tried_at=at, tries=F("tries") + 1, last_error="") == 1


def _hand_over(connection: BaseEmailBackend, notice: Notice, message: EmailMessage, outcome: NoticeRun,
               clock: Callable[[], datetime]) -> None:  # fmt: skip
    ours = Notice.objects.filter(pk=notice.pk, state=NoticeState.SENDING)
    try:
        connection.send_messages([message])
    except (SMTPResponseException, SMTPRecipientsRefused) as refused:  # an answer: it was not taken
        ours.update(state=NoticeState.WAITING, last_error=_words(refused))
        outcome.refused.append(f"notice {notice.pk}: {_words(refused)}")
    except (OSError, SMTPException) as lost:  # no answer: it may have been taken
        ours.update(last_error=_words(lost))
        outcome.in_doubt.append(f"notice {notice.pk}: {_words(lost)}")
    else:
        ours.update(state=NoticeState.SENT, sent_at=clock())
        outcome.sent += 1


def _words(error: Exception) -> str:
    return f"{type(error).__name__}: {error}"[:300]
