"""Reports read from the standby, where there is one and staleness is allowed; everything else asks the primary.

A view says so with `may_be_stale`. Within it, and while its answer is streamed, the records are read from the standby
if it answers and is not too far behind; otherwise from the primary, as if there were no standby. Who may see what is
asked of the primary all the same, and nothing is written: a service that has to write first is marked `on_primary`.
"""

import logging
import math
import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from contextvars import ContextVar
from dataclasses import dataclass
from functools import wraps
from socket import SHUT_RDWR, socket
from threading import Timer
from time import monotonic
from typing import Any, ParamSpec, TypeVar, cast

import psycopg
from django.conf import settings
from django.db import DEFAULT_DB_ALIAS, DatabaseError, InterfaceError, OperationalError, connections
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.models import Model
from django.http import StreamingHttpResponse

from reels.domain.words import counted

ALIAS = "standby"
HEADER = "Seconds-Behind"
# Shorter than anybody minds, longer than a standby under load takes: a page is never later than this by the standby's
# fault, and while it rests not even that.
ANSWER_S = 2.0  # how long it may take to say how far it is
BACK_OFF_S = 5.0  # so long a standby that did not answer is not asked again
KEPT_HERE = frozenset({"reels", "inspections", "reports"})
# What says who may see what, and is therefore never stale.
RIGHTS = frozenset({"reels.posting", "reels.apitoken", "reels.secondfactor", "inspections.authorisation"})
TIMED_OUT = "57014"  # query_canceled: its statement_timeout

logger = logging.getLogger("wrapledger.standby")
Params = ParamSpec("Params")
Result = TypeVar("Result")
View = TypeVar("View", bound=Callable[..., Any])


class NothingIsWritten(Exception):
    """A view that may be stale came to a query that writes: a mistake in the program."""


@dataclass(frozen=True, slots=True)
class ReportSource:
    """From where a report is read. behind_s: None for the primary."""

    alias: str = DEFAULT_DB_ALIAS
    behind_s: float | None = None

    @property
    def seconds(self) -> int:
        """How far behind it is, in whole seconds, never less than it is."""
        return math.ceil(self.behind_s or 0)


@dataclass(slots=True)
class _BackOff:
    until: float = -math.inf


_source: ContextVar[ReportSource | None] = ContextVar("source", default=None)
_back_off = _BackOff()


class Router:
    """Which database a query goes to: the primary, unless a report is being read.

    It always answers, so that a row that came from the standby is not what decides later.
    """

    def db_for_read(self, model: type[Model], **hints: Any) -> str:
        source, about = _source.get(), model._meta
        is_report = source is not None and about.app_label in KEPT_HERE and about.label_lower not in RIGHTS
        return source.alias if source and is_report else DEFAULT_DB_ALIAS

    def db_for_write(self, model: type[Model], **hints: Any) -> str:
        if _source.get() is not None:
            raise NothingIsWritten(f"A report that may be stale writes or locks {model._meta.label}; mark the service.")
        return DEFAULT_DB_ALIAS

    def allow_relation(self, *rows: Model, **hints: Any) -> bool:
        """Both have the same rows."""
        return True

    def allow_migrate(self, db: str, app_label: str, **hints: Any) -> bool:
        return db == DEFAULT_DB_ALIAS


# Reads and services -------------------------------------------------------------------------------------------------


def may_be_stale(view: View) -> View:
    """Have a view that only reads answer from the standby, and say in a header how far behind that was.

    A standby that is lost meanwhile rests, and the primary answers.
    """

    @wraps(view)
    def answer(*args: Any, **kwargs: Any) -> Any:
        behind_s = usable_behind_s()
        if behind_s is not None:
            try:
                return _answered(ReportSource(ALIAS, behind_s), view, *args, **kwargs)
            except (OperationalError, InterfaceError) as lost:
                if getattr(lost.__cause__, "sqlstate", None) == TIMED_OUT:
                    raise  # the primary would take as long
                _avoid(lost)
        return _answered(ReportSource(), view, *args, **kwargs)

    return cast("View", answer)


def on_primary(act: Callable[Params, Result]) -> Callable[Params, Result]:
    """Have a service that writes read and write on the primary, whoever calls it."""

    @wraps(act)
    def acted(*args: Params.args, **kwargs: Params.kwargs) -> Result:
        with _from(None):
            return act(*args, **kwargs)

    return acted


def in_words() -> str:
    """For a page: from where it is read, if that is the standby; else nothing."""
    source = _source.get()
    if source is None or source.behind_s is None:
        return ""
    how = f"{counted(source.seconds, 'second')} behind" if source.seconds else "up to date"
    return f"Read from the standby, which is {how}."


def _answered(source: ReportSource, view: Callable[..., Any], *args: Any, **kwargs: Any) -> Any:
    with _from(source):
        response = view(*args, **kwargs)
    if isinstance(response, StreamingHttpResponse):
        response.streaming_content = _streamed(source, iter(response))
    if source.behind_s is not None:
        response.headers[HEADER] = str(source.seconds)
    return response


def _streamed(source: ReportSource, pieces: Iterator[bytes]) -> Iterator[bytes]:
    """Each piece is read where the report began, and nothing between two pieces is."""
    while True:
        with _from(source):
            piece = next(pieces, None)
        if piece is None:
            return
        yield piece


@contextmanager
def _from(source: ReportSource | None) -> Iterator[None]:
    token = _source.set(source)
    try:
        yield
    finally:
        _source.reset(token)


# The standby --------------------------------------------------------------------------------------------------------


def is_set() -> bool:
    return ALIAS in connections


def usable_behind_s() -> float | None:
    """How far behind the standby is, in seconds, if reports may be read from it."""
    behind_s = measured_behind_s()
    return behind_s if behind_s is not None and behind_s <= settings.STANDBY_LIMIT_SECONDS else None


def measured_behind_s() -> float | None:
    """How far behind the standby is; None: there is none, it does not answer, or it is none any more.

    0 when it has all that the primary had written when it was asked; else the age of the last transaction that it has.
    What it has received itself is no measure: cut off from the primary, it would have all of that.
    """
    if not is_set() or monotonic() < _back_off.until:
        return None
    with connections[DEFAULT_DB_ALIAS].cursor() as cursor:
        cursor.execute("SELECT pg_current_wal_lsn()::text, clock_timestamp()")
        written, now = cursor.fetchone()
    try:
        with _answering_in_time(connections[ALIAS]), connections[ALIAS].cursor() as cursor:
            cursor.execute(
                "SELECT pg_is_in_recovery(), pg_last_wal_replay_lsn() >= %s::pg_lsn, pg_last_xact_replay_timestamp()",
                [written],
            )
            is_standby, has_all, last_at = cursor.fetchone()
    except DatabaseError as lost:
        _avoid(lost)
        return None
    if not is_standby or (last_at is None and not has_all):
        return None
    return 0.0 if has_all else max(0.0, (now - last_at).total_seconds())


@contextmanager
def _answering_in_time(link: BaseDatabaseWrapper) -> Iterator[None]:
    """Cut a connection that was open and on which nothing comes: a server that is frozen keeps it open for ever."""
    opened = link.connection
    if opened is None:
        yield
        return
    # libpq has a timeout for connecting and none for an answer; statement_timeout is the server's, which is frozen.
    timer = Timer(ANSWER_S, _cut, [opened])
    timer.start()
    try:
        yield
    finally:
        timer.cancel()


def _cut(opened: Any) -> None:
    # A copy of the descriptor: closing the socket object must not close the one that libpq still holds.
    with suppress(OSError, psycopg.Error), socket(fileno=os.dup(opened.fileno())) as end:
        end.shutdown(SHUT_RDWR)


def _avoid(lost: Exception) -> None:
    _back_off.until = monotonic() + BACK_OFF_S
    connections[ALIAS].close()
    logger.warning("The standby does not answer; reports are read from the primary: %s", str(lost).strip())
