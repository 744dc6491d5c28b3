"""The drift report: every pair of neighbouring counts, most probable first, of today or as of a day.

Today's report is a query over what `assessments` keeps. A report as of a day is worked out from what was recorded by
then, sorted by a database of its own, and that is kept. Flags are chosen over the whole fleet, whatever part is asked
for.
"""

import json
import sqlite3
import zlib
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import closing
from dataclasses import asdict, dataclass, fields
from datetime import datetime, timedelta
from typing import Any

from django.db import transaction
from django.db.models import Exists, F, OuterRef, Q, QuerySet
from django.utils import timezone

from inspections.domain import drift
from inspections.domain.drift import DriftParameters, ReelAssessment
from inspections.domain.drift.self_check import Progress, unheard
from inspections.models import DriftFlag
from inspections.queries import histories
from inspections.services.flags import FlaggedInterval
from reels.domain import ledger
from reels.errors import NotFound, NotYet
from reels.models import Reel
from reels.services import tasks
from reels.services.tasks import HeldTask, leased
from reports.domain.drift_rows import FALSE_SHARE, DriftRow, flag_from, moment, rows_of
from reports.models import AsOfReport, AssessedInterval, FleetAssessment
from reports.services import assessments
from reports.services.marks import is_as_marked, mark

RANKED = ("-p_unlogged_cut", "-id")  # as the index has them: nothing is sorted for a page, a document or a file
AT_ONCE = 2000
KEPT = 30
_NAMES = tuple(each.name for each in fields(DriftRow))


@dataclass(frozen=True, slots=True, kw_only=True)
class Standards:
    """By what a reel is judged: the fleet's parameters, and the least probability that is flagged in all of it."""

    theta: DriftParameters
    flag_at: float


@dataclass(frozen=True, slots=True, kw_only=True)
class DriftReport:
    """rows: most probable first; read once. flag_at: the least probability that is flagged."""

    rows: Iterator[DriftRow]
    flag_at: float


def report_of(reels: QuerySet[Reel], *, least_p: float = 0.0, false_share: float = FALSE_SHARE) -> DriftReport:
    """The rows of these reels as they were assessed last, from a probability on. Two queries."""
    return DriftReport(rows=_as_rows(ranked(reels, least_p)), flag_at=flag_at(false_share))


def reels_of(reels: QuerySet[Reel], chosen: Mapping[str, Any]) -> QuerySet[Reel]:
    """Those of the reels that are at the site and of the type that are chosen, by their codes, if any are."""
    columns = {"site": "site__code", "type": "type__code"}
    return reels.filter(**{columns[name]: chosen[name] for name in columns if name in chosen})


def flag_at(false_share: float = FALSE_SHARE) -> float:
    """The least probability that is flagged in the whole fleet as it was assessed last. One query or two."""
    known = FleetAssessment.objects.first() if false_share == FALSE_SHARE else None
    return known.flag_at if known else assessments.flag_at_of_all(false_share)


def ranked(reels: QuerySet[Reel], least_p: float) -> QuerySet[AssessedInterval]:
    """The intervals of these reels from a probability on, most probable first, with their reel and its site."""
    # Not by a join: from the reels SQLite would go to all of their intervals, and sort them for each page.
    theirs = Exists(reels.filter(assessment=OuterRef("assessment")))
    rows = AssessedInterval.objects.filter(theirs, p_unlogged_cut__gte=least_p)
    return rows.select_related("assessment__reel__site").order_by(*RANKED)


def rows_of_reel(reel: Reel) -> Iterator[DriftRow]:
    """The rows of one reel as it was assessed last, in order of time. One query."""
    rows = AssessedInterval.objects.filter(assessment__reel=reel).order_by("from_at", "to_at", "id")
    return _as_rows(rows)


def near(rows: Sequence[AssessedInterval], around: timedelta) -> dict[str, list[DriftRow]]:
    """The intervals so near to these in time on the same reels, in order of time, by serial. One query."""
    windows = Q(pk__in=[])
    for row in rows:
        window = {"to_at__gte": row.from_at - around, "from_at__lte": row.to_at + around}
        windows |= Q(assessment=row.assessment_id, **window)
    return by_reel(_as_rows(AssessedInterval.objects.filter(windows)))


def by_reel(rows: Iterable[DriftRow]) -> dict[str, list[DriftRow]]:
    """In order of time."""
    rows_by_reel: dict[str, list[DriftRow]] = defaultdict(list)
    for row in sorted(rows, key=lambda row: (row.from_at, row.to_at)):
        rows_by_reel[row.reel].append(row)
    return rows_by_reel


def _as_rows(rows: QuerySet[AssessedInterval]) -> Iterator[DriftRow]:
    columns = [name for name in _NAMES if name != "reel"]
    for serial, *values in rows.values_list(F("assessment__reel__serial"), *columns).iterator(AT_ONCE):
        yield DriftRow(reel=serial, **dict(zip(columns, values, strict=True)))


def report_as_of(
    reels: QuerySet[Reel], as_of: datetime, *, false_share: float = FALSE_SHARE, progress: Progress = unheard
) -> DriftReport:
    """The rows of these reels as they would have been on that day, worked out here and now. Nothing is kept."""
    _, database = _worked_out(as_of, progress)
    return _report(database, reels, 0.0, false_share)


def _worked_out(as_of: datetime, progress: Progress) -> tuple[DriftParameters, sqlite3.Connection]:
    progress(f"Learning the fleet's rates as of {as_of:%Y-%m-%d}.", 0, 0)
    theta = assessments.parameters_as_of(as_of)
    database = sqlite3.connect("")
    database.execute("CREATE TABLE row (p REAL, reel TEXT, from_at TEXT, content TEXT)")
    for assessed in _assessed_as_of(as_of, theta, progress):
        database.executemany("INSERT INTO row VALUES (?, ?, ?, ?)", map(_staged, rows_of(assessed)))
    database.execute("CREATE INDEX falling ON row (p DESC, reel, from_at)")
    database.commit()
    return theta, database


def _report(database: sqlite3.Connection, reels: QuerySet[Reel], least_p: float, false_share: float) -> DriftReport:
    serials = set(reels.values_list("serial", flat=True))
    return DriftReport(rows=_sorted_rows(database, serials, least_p), flag_at=_flag_at(database, false_share))


def _flag_at(database: sqlite3.Connection, false_share: float) -> float:
    return flag_from((p for (p,) in database.execute("SELECT p FROM row ORDER BY p DESC")), false_share)


# As of a day, worked out by the worker and kept -----------------------------------------------------------------------


def kept_as_of(as_of: datetime, *, with_content: bool = False) -> AsOfReport:
    """The report as of a day from what is recorded of it by now. One that somebody edited is made anew.

    Raises FleetTooLarge, NotYet until the worker has it, and TaskFailed where it failed from what is recorded by now.
    """
    assessments.require_small_fleet()
    inputs = assessments.inputs_as_of(as_of)
    unread = () if with_content else ("content",)
    kept = AsOfReport.objects.defer(*unread).filter(as_of=as_of, inputs=inputs).first()
    if kept is None or not is_as_marked(kept):
        day = f"{as_of:%Y-%m-%d}"
        key = f"drift as of {day} {inputs[:16]}"
        tasks.require_not_failed(tasks.newest(key))
        raise NotYet(tasks.put(work_out_as_of, as_of.isoformat(), key=key, title=f"Drift as of {day}"))
    return kept


def kept_report_as_of(
    reels: QuerySet[Reel], as_of: datetime, *, least_p: float = 0.0, false_share: float = FALSE_SHARE
) -> DriftReport:
    """The rows of these reels as they would have been on that day, from a probability on. Raises as `kept_as_of`."""
    database = sqlite3.connect(":memory:")
    database.deserialize(zlib.decompress(kept_as_of(as_of, with_content=True).content))
    return _report(database, reels, least_p, false_share)


@leased
def work_out_as_of(context: HeldTask, as_of: str) -> None:
    """Of the reports as of a day the newest KEPT are kept."""
    moment_asked = datetime.fromisoformat(as_of)
    inputs = assessments.inputs_as_of(moment_asked)
    theta, database = _worked_out(moment_asked, context.progress)
    with closing(database):
        content = zlib.compress(database.serialize(), 1)
        columns = {
            "inputs": inputs, "rates": asdict(theta), "flag_at": _flag_at(database, FALSE_SHARE),
            "made_at": timezone.now(), "content": content, "digest": ledger.digest(content),
        }  # fmt: skip
    with transaction.atomic():
        context.require()
        row, _ = AsOfReport.objects.update_or_create(as_of=moment_asked, defaults=columns)
        mark(row)
        older = AsOfReport.objects.order_by("-made_at", "-pk").values_list("pk", flat=True)[KEPT:]
        AsOfReport.objects.filter(pk__in=list(older)).delete()


def standards(as_of: datetime | None = None) -> Standards:
    """Those of the fleet as it was assessed last, or as of a day. Raises as `kept_as_of` as of a day."""
    if as_of is None:
        return Standards(theta=histories.parameters_of(histories.learned_rates()), flag_at=flag_at())
    kept = kept_as_of(as_of)
    return Standards(theta=histories.parameters_from(kept.rates), flag_at=kept.flag_at)


def _assessed_as_of(as_of: datetime, theta: DriftParameters, progress: Progress) -> Iterator[ReelAssessment]:
    done, of = 0, Reel.objects.count()
    for batch in histories.in_batches(Reel.objects.all()):
        yield from drift.assess_fleet(histories.histories_of(batch, as_of), theta)
        done += len(batch)
        progress(f"{done} of {of} reels assessed", done, of)


def _staged(row: DriftRow) -> tuple[float, str, str, str]:
    content = json.dumps(asdict(row), default=datetime.isoformat)
    return row.p_unlogged_cut, row.reel, row.from_at.isoformat(), content


def _sorted_rows(database: sqlite3.Connection, serials: set[str], least_p: float) -> Iterator[DriftRow]:
    with closing(database):
        sql = "SELECT reel, content FROM row WHERE p >= ? ORDER BY p DESC, reel, from_at"
        for serial, content in database.execute(sql, (least_p,)):
            if serial in serials:
                values = json.loads(content)
                times = {name: datetime.fromisoformat(values[name]) for name in ("from_at", "to_at")}
                yield DriftRow(**{**values, **times})


def flagged_interval(reel: Reel, from_at: datetime, to_at: datetime) -> FlaggedInterval:
    """What the report says of one interval, for somebody to look into it. Raises NotFound for two counts that are none.

    One query.
    """
    key = f"{moment(from_at)} to {moment(to_at)}"
    rows = AssessedInterval.objects.filter(assessment__reel=reel, from_at=from_at, to_at=to_at)
    row = rows.first()
    if row is None:
        raise NotFound(what=f"interval of reel {reel.serial}", key=key)
    return FlaggedInterval(from_at=from_at, to_at=to_at, p_unlogged_cut=row.p_unlogged_cut, explanation=row.explanation)


def flags_matching(rows: QuerySet[DriftFlag], asked: Mapping[str, Any]) -> QuerySet[DriftFlag]:
    """The flags in a state (open or closed) and assigned to a person, as far as these are asked for."""
    if state := asked.get("state"):
        rows = rows.filter(closed_at__isnull=state == "open")
    if username := asked.get("assigned_to"):
        rows = rows.filter(assigned_to__username=username)
    return rows
