"""The rows that histories tell: each beside what its history says, and what a history knows by its digest."""

import json
from collections.abc import Mapping
from typing import Any

from django.apps import apps
from django.db import models

from inspections.domain import findings, keying
from inspections.domain.record import signature_fault
from inspections.domain.words import Point
from inspections.models import (
    ExerciseResult,
    Finding,
    FindingPhoto,
    InspectionRecord,
    Keying,
    LearnedRates,
    NoticedReel,
    Photo,
    SignOff,
    ThirdReading,
)
from inspections.queries.findings import stop_fault
from inspections.queries.histories import digest_of_rates
from inspections.queries.practice import digest_of
from inspections.queries.safety_notices import notice_fault
from reels import append_only
from reels.domain import ledger
from reels.domain.type_rules import without_source
from reels.models import (
    Alarm,
    Chain,
    CheckpointMade,
    EndsNode,
    EntriesBlock,
    FeedPlace,
    HistoryEntry,
    ReelType,
    Submission,
    columns,
)
from reports.models import ArchivedPdf, NoticeAddress
from reports.queries.notices import digest_of_choices
from reports.services.verification.stored_values import CHUNK, BreakFound, require_written_as_usual

# Kept, and in no history: the histories themselves, their order, checkpoints, answers that scripts got, alarms.
UNRECORDED = (Chain, HistoryEntry, FeedPlace, CheckpointMade, EndsNode, EntriesBlock, Submission, Alarm)
READ_TOGETHER: dict[Any, tuple[str, ...]] = {
    SignOff: ("inspection__record",), NoticedReel: ("hold", "notice"), ExerciseResult: ("exercise",)
}  # fmt: skip


def check_rows(chain: Chain, table: str, ids: list[int], replayed: ledger.Rows) -> None:
    """That the rows of a table that a chain tells are there, and as it tells them. Raises BreakFound."""
    model = recorded_models().get(table)
    if model is None:
        raise BreakFound(chain.name, f"it tells of a table {table!r}, and there is none that is kept")
    rows = model._base_manager.all()
    if together := READ_TOGETHER.get(model):
        rows = rows.select_related(*together)
    for start in range(0, len(ids), CHUNK):
        stored = rows.in_bulk(ids[start : start + CHUNK])
        require_written_as_usual(list(stored.values()))
        for row_id in ids[start : start + CHUNK]:
            where = f"{chain.name}, {model._meta.verbose_name} {row_id}"
            if row_id not in stored:
                raise BreakFound(where, "the history tells of it, and it is gone")
            row = stored[row_id]
            if why := _fault(row, replayed[table, row_id]):
                raise BreakFound(where, why)


def recorded_models() -> dict[str, type[models.Model]]:
    """The kept tables whose rows are in histories."""
    kept = append_only.tables()
    return {
        model._meta.db_table: model for model in apps.get_models()
        if model._meta.db_table in kept and model not in UNRECORDED
    }  # fmt: skip


def _fault(row: models.Model, recorded: Mapping[str, Any]) -> str | None:
    return _row_fault(row, recorded) or _hidden_fault(row) or _digest_fault(row) or _rules_fault(row)


def _row_fault(row: models.Model, recorded: Mapping[str, Any]) -> str | None:
    """The first column that is not as it was recorded; one that came with a later migration holds its default."""
    for name, value in columns(row).items():
        field: Any = row._meta.get_field(name)
        expected = recorded[name] if name in recorded else ledger.plain(field.get_default())
        if value != expected:
            return f"its {name} is {value!r}; the history says {expected!r}"
    return None


def _hidden_fault(row: models.Model) -> str | None:
    """What is wrong with the columns that a history knows only by their digest."""
    match row:
        case ThirdReading(read_at=None):
            return None if row.value is None else f"it holds {row.value!r}, which nobody keyed"
        case Keying() | ThirdReading():
            is_kept = keying.commitment(Point(row.point), row.value, row.salt) == row.commitment
            return None if is_kept else f"its value {row.value!r} is not the one that was committed to"
        case InspectionRecord():
            return _content_fault(row) or _record_fault(row)
        case Finding():
            is_kept = findings.commitment(findings.details_of(row), row.salt) == row.commitment
            return stop_fault(row) if is_kept else "where it lies, or what it looks like, is not what was committed to"
        case NoticedReel():
            return notice_fault(row)
        case ArchivedPdf() | Photo() | FindingPhoto():
            return _content_fault(row)
        case SignOff():
            return _signature_fault(row)
    return None


def _digest_fault(row: models.Model) -> str | None:
    """What is wrong with what is no record itself, and of which a history tells a digest."""
    match row:
        case LearnedRates():
            return None if digest_of_rates(row.values) == row.digest else "its values are not those that were learned"
        case ExerciseResult():
            is_as_it_ended = digest_of(row.exercise) == row.digest
            return None if is_as_it_ended else f"practice {row.exercise_id} is not as it ended"
        case NoticeAddress():
            is_chosen = digest_of_choices(row) == row.digest
            return None if is_chosen else "the address, or what notices it is for, is not what was chosen"
    return None


def _rules_fault(row: models.Model) -> str | None:
    """What is wrong with the confirmation of a reel type's rules, as the history itself tells it."""
    if not isinstance(row, ReelType) or row.rules_confirmed_at is None:
        return None
    if row.rules_confirmed_by_id in row.rules_written_by:
        return f"its rules were confirmed by person {row.rules_confirmed_by_id}, who wrote some of them"
    missing = ", ".join(without_source(row.rule_sources))
    return f"its rules were confirmed, and none says where these are written: {missing}" if missing else None


def _content_fault(row: InspectionRecord | ArchivedPdf | Photo | FindingPhoto) -> str | None:
    digest = ledger.digest(bytes(row.content))
    return None if digest == row.digest else f"its bytes have the digest {digest[:12]}, but {row.digest[:12]} is told"


def _record_fault(record: InspectionRecord) -> str | None:
    data, row = json.loads(bytes(record.content)), record.inspection
    signed = (data["inspection"], *(data["result"][name] for name in ("layers", "wraps", "parity")))
    if signed != (row.pk, row.layers, row.wraps, row.parity):
        return (
            f"signed was layers {signed[1]}, wraps {signed[2]}, {signed[3]}, of inspection {signed[0]}; "
            f"inspection {row.pk} has layers {row.layers}, wraps {row.wraps}, {row.parity}"
        )
    return None


def _signature_fault(signature: SignOff) -> str | None:
    record: InspectionRecord | None = getattr(signature.inspection, "record", None)
    if record is None:
        return "the record that was signed is gone"
    expected = {
        "record": signature.record_digest,
        "inspection": signature.inspection_id,
        "meaning": signature.meaning,
        "person": signature.person_id,
        "name": signature.full_name,
        "at": ledger.plain(signature.signed_at),
    }
    content, statement = bytes(record.content), bytes(signature.statement)
    return signature_fault(content, statement, digest=signature.digest, columns=expected)
