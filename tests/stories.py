"""Whole journeys through the services, for tests that need records of every kind."""

from dataclasses import asdict
from datetime import timedelta
from decimal import Decimal
from typing import Any

from django.apps import apps
from django.db import transaction

from inspections.domain.act_fields import SafetyNoticeFields
from inspections.domain.drift import DEFAULT_PARAMETERS
from inspections.domain.findings import Remedy
from inspections.domain.keying import FIELDS, earlier_points, roles_at
from inspections.domain.words import Act, Decision, Point, Role
from inspections.models import ImportedCount, Inspection, LearnedRates, ThirdReading
from inspections.queries.histories import digest_of_rates
from inspections.services import (
    counting,
    findings,
    machine_checks,
    maintenance,
    moves,
    safety_notices,
    signing,
    third_readings,
)
from reels import access
from reels.domain import ledger
from reels.models import Person, Reel
from reels.services import checkpoints, entry_blocks
from reels.services.history import Actor, by_itself, record_act
from reports.domain.notices import NoticeKind
from reports.services import notices
from reports.services.verification import UNRECORDED
from tests import builders, witnessing
from tests.builders import GOOD, NOW, Cast, administrator, later
from tests.inspections.domain.photo_files import PNG_BYTES
from tests.practised import practised
from tests.worlds import step

BEFORE_THE_SCALES = tuple(point for point in Point if point in earlier_points(Point.SCALE_LEFT))
FROM_THE_SCALES = tuple(point for point in Point if point not in BEFORE_THE_SCALES)


@step
def key(cast: Cast, inspection: Inspection, point: Point, role: Role = Role.TECHNICIAN, at: Any = NOW,
        **seen: Any) -> Inspection:  # fmt: skip
    """One person keys one point: what is there in truth, unless said."""
    person = cast.technician if role is Role.TECHNICIAN else cast.verifier
    true = {"serial": inspection.reel.serial, **GOOD}
    given = seen or {name: true[name] for name in FIELDS[point] if name in true}
    return counting.key(inspection_id=inspection.pk, point=point, role=role, fields=given, actor=Actor(person), at=at)


@step
def key_both(cast: Cast, inspection: Inspection, *points: Point, at: Any = NOW) -> Inspection:
    """Everybody who keys these points keys what is there."""
    for point in points:
        for role in roles_at(point):
            inspection = key(cast, inspection, point, role, at)
    return inspection


@step
def at_the_scales(cast: Cast, at: Any = NOW) -> Inspection:
    """A count on which both agree on all that comes before the scales."""
    return key_both(cast, builders.open_count(cast, at=at), *BEFORE_THE_SCALES, at=at)


@step
def key_all(cast: Cast, inspection: Inspection, at: Any = NOW) -> Inspection:
    """A whole reading, point by point, to the result; the serial unless it was read already."""
    inspection.refresh_from_db()
    is_read = inspection.identified_at is not None
    return key_both(cast, inspection, *(p for p in Point if not (is_read and p is Point.SERIAL)), at=at)


@step
def key_the_rest(cast: Cast, inspection: Inspection, at: Any = NOW) -> Inspection:
    """From the scales to the result."""
    return key_both(cast, inspection, *FROM_THE_SCALES, at=at)


@step
def differ(
    cast: Cast, inspection: Inspection, point: Point = Point.SCALE_LEFT, at: Any = NOW, **seen: Any
) -> Inspection:
    """The two differ at a point: the technician keys something else than what is there."""
    key(cast, inspection, point, at=at, **(seen or {"scale_left": 14}))
    return key(cast, inspection, point, Role.VERIFIER, at)


@step
def ask_third(cast: Cast, inspection: Inspection, point: Point = Point.SCALE_LEFT, at: Any = NOW) -> ThirdReading:
    """The technician asks a third person to read a point."""
    return third_readings.ask_third_reading(
        inspection_id=inspection.pk, point=point, actor=Actor(cast.technician), at=at
    )


@step
def third_person(cast: Cast) -> Person:
    """Somebody who may count, and takes no part: the setter."""
    builders.authorise(cast.setter, Act.COUNT)
    return cast.setter


@step
def read_third(cast: Cast, asked: ThirdReading, at: Any = NOW, **seen: Any) -> ThirdReading:
    """The third person reads it."""
    return third_readings.key_third_reading(
        inspection_id=asked.reading.inspection_id, third_id=asked.pk, fields=seen or {"scale_left": 13},
        actor=Actor(third_person(cast)), at=at,
    )  # fmt: skip


@step
def ask_for_help(cast: Cast, inspection: Inspection, at: Any = NOW) -> Inspection:
    return counting.ask_for_help(inspection_id=inspection.pk, remark="a strand", actor=Actor(cast.technician), at=at)


@step
def release(cast: Cast, inspection: Inspection, decision: Decision = Decision.READ_AGAIN, at: Any = NOW) -> Inspection:
    return counting.release(
        inspection_id=inspection.pk, decision=decision, reason="looked at it", actor=Actor(cast.releaser), at=at
    )


@step
def void(cast: Cast, inspection: Inspection, at: Any = NOW) -> None:
    asked = {"inspection_id": inspection.pk, "at": at}
    signing.request_void(reason="the wrong reel", actor=Actor(cast.verifier), **asked)
    signing.confirm_void(actor=Actor(cast.releaser), **asked)


@step
def import_count(reel: Reel, at: Any = NOW, **changes: Any) -> ImportedCount:
    """A count from older records, as an import tells it."""
    fields = {"layers": 12, "wraps": 20, "counted_by": "H. Old", "verified_by": "", "document": "book 3", **changes}
    [chain] = access.lock(access.reel_chain(reel.serial))
    with record_act(chain, "count_imported", Actor(administrator(), via="command import_records"), at) as act:
        return act.add(ImportedCount(reel=reel, counted_at=at - timedelta(days=300), recorded_at=at, **fields))


entry_blocks.WIDTH = 4  # so that what happens here fills some


@step
def one_of_each(cast: Cast) -> None:
    """Everything that can happen to a reel; leaves at least one row in every kept table."""
    reel = builders.make_reel()
    import_count(reel)
    inspection = at_the_scales(cast)
    differ(cast, inspection)
    read_third(cast, ask_third(cast, inspection))
    finding = builders.record_finding(cast.technician, photo=PNG_BYTES)
    findings.close_finding(
        finding_id=finding.pk, remedy=Remedy.SOUND, reason="within limits", actor=Actor(cast.releaser), at=NOW
    )
    ask_for_help(cast, inspection)
    release(cast, inspection)
    key_all(cast, inspection)
    builders.sign_both(cast, inspection, at=later(hours=1))
    values = builders.issued(cast, at=later(hours=2))
    builders.confirmed(cast, values, at=later(hours=3))
    checked: dict[str, Any] = {"setup_id": values.pk, "actor": Actor(cast.setter), "at": later(hours=4)}
    machine_checks.record_check(kind="functional", passed=True, remark="runs", **checked)
    cut = builders.log_cut(cast, at=later(days=1))
    control: dict[str, Any] = {"serial": reel.serial, "actor": Actor(cast.control), "at": later(days=2)}
    maintenance.reverse_cable_event(event_id=cut.pk, remark="of another reel", **control)
    builders.log_event(cast, "used", at=later(days=1), hours=Decimal(2))
    maintenance.remove(reason="to be counted", **control)
    maintenance.place_hold(reason="rust", **control)
    maintenance.end_hold(reason="cleaned", **control)
    builders.sent(cast, at=later(days=2))
    moves.call_back(reason="no lorry", **control)
    _safety_notice(cast)
    practised(cast.colleague)
    notices.choose(cast.control, address="mona@mail.example", chosen=[(NoticeKind.HOLD, None)], at=NOW)
    _learned()
    void(cast, inspection, at=later(days=3))
    made = checkpoints.make(later(days=4))
    witnessing.witness()
    witnessing.countersign(made.entries)
    _what_else_is_kept(reel)


def _safety_notice(cast: Cast) -> None:
    """One that covers no reel, issued and lifted."""
    about: dict[str, Any] = {"actor": Actor(cast.control), "at": later(days=2)}
    of = {"site": "kettle-point", "cable_lot": "no lot of ours"}
    facts = SafetyNoticeFields(reference="SN-1", reason="a batch", answers=["holds_reels"], **of)
    notice = safety_notices.issue(facts=facts, **about)
    safety_notices.lift(notice_id=notice.pk, reason="the batch is not here", **about)


def _learned() -> None:
    """Rates of the fleet, as if they had been learned."""
    values = asdict(DEFAULT_PARAMETERS)
    with transaction.atomic(), record_act(access.lock_register(), "rates_learned", by_itself("try"), NOW) as act:
        act.add(LearnedRates(values=values, digest=digest_of_rates(values), learned_at=NOW, rows_known=1))


def _what_else_is_kept(reel: Reel) -> None:
    """A row, told by the reel's history, in every kept table that the acts above leave empty."""
    for model in apps.get_models():
        if getattr(model, "kept", None) and not model._base_manager.exists():
            row = model(**{field.name: _sample(field) for field in model._meta.concrete_fields[1:]})
            if model in UNRECORDED:
                row.save(force_insert=True)
                continue
            [chain] = access.lock(access.reel_chain(reel.serial))
            with record_act(chain, "x", Actor(administrator(), via="command try"), NOW) as act:
                act.add(row)


CONTENT = b"%PDF-1.7, or nearly"
SAMPLES: dict[str, Any] = {
    "BigIntegerField": 1, "BinaryField": CONTENT, "BooleanField": False, "CharField": "abc", "DateTimeField": NOW,
    "DecimalField": 1, "FloatField": 0.5, "JSONField": {}, "PositiveIntegerField": 1, "PositiveSmallIntegerField": 1,
    "SlugField": "abc", "TextField": "abc",
}  # fmt: skip


def _sample(field: Any) -> Any:
    if field.null or field.blank:
        return None if field.null else field.to_python("")
    if field.is_relation:
        return field.related_model._base_manager.latest("pk")
    if field.choices:
        return field.choices[0][0]
    return ledger.digest(CONTENT) if field.name == "digest" else SAMPLES[field.get_internal_type()]
