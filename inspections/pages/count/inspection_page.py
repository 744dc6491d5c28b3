"""What the page of one inspection shows. A value that is still blind is never read from the database for it."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone

from inspections import access
from inspections.domain import keying
from inspections.domain.reading import Outcome
from inspections.domain.third_reading import AgreesWith
from inspections.domain.validity import ValidityAt
from inspections.domain.words import LIVE, Act, InspectionState, Point, Role
from inspections.models import (
    Finding,
    GaugeUse,
    Inspection,
    Participant,
    Photo,
    Referral,
    SetupValues,
    SignOff,
    ThirdReading,
    Void,
)
from inspections.pages.finding_rows import FindingRow, finding_rows
from inspections.pages.words import (
    AGREE,
    DIFFERS,
    ENDED,
    LABELS,
    OUTCOME,
    STATE,
    VALIDITY,
    WAITING,
    keyed_third,
    keyed_words,
)
from inspections.queries.findings import findings_in_count
from inspections.queries.gauges import is_asked_for, use_out_of
from inspections.queries.keyings import keyings_of, may_be_read, photos_for, shown_keyings
from inspections.queries.third_readings import may_make, shown_third_readings, third_readings_of
from inspections.queries.validity import validity_of
from inspections.services.findings import MAY_RECORD
from reels.access import one
from reels.domain.reel_figures import drum_of
from reels.models import Person
from reels.pages.answers import page, reader, show
from reels.pages.formats import Badge, count_words, uncertain_length
from reels.queries import length_counted


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """A keyed value that is not blind any more, and the same in words."""

    value: Any
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Keyed:
    """What one person keyed at a point. value: None while it is blind."""

    value: str | None
    by: str
    at: datetime
    photo: Photo | None


@dataclass(frozen=True, slots=True, kw_only=True)
class PointRow:
    """A point of a reading: what each of the two keyed there, and whether they agree."""

    label: str
    attempt: int
    technician: Keyed | None
    verifier: Keyed | None
    is_witnessed: bool
    verdict: Badge | None


@dataclass(frozen=True, slots=True, kw_only=True)
class ThirdRow:
    """A third reading of a point. value: None while it is blind. whose: whose value it agrees with."""

    row: ThirdReading
    label: str
    value: str | None
    whose: str
    may_make: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class StepRow:
    """A line of the working; `change` with its sign."""

    label: str
    before: int
    change: str
    after: int
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingPart:
    number: int
    badge: Badge
    points: list[PointRow]
    third_readings: list[ThirdRow]
    steps: list[StepRow]
    problems: list[str]


@dataclass(frozen=True, slots=True, kw_only=True)
class ReferralPart:
    row: Referral
    proposed: str
    decision: str


@dataclass(frozen=True, slots=True, kw_only=True)
class InspectionPage:
    inspection: Inspection
    badge: Badge
    count: str
    length: str
    participants: list[Participant]
    readings: list[ReadingPart]
    referrals: list[ReferralPart]
    signatures: list[SignOff]
    void: Void | None
    validity: ValidityAt | None
    issued: list[SetupValues]
    gauge_out: GaugeUse | None
    is_gauge_asked_for: bool
    findings: list[FindingRow]
    stops: list[Finding]
    acts: list[dict[str, str]]


def inspection_page(inspection_id: int, person: Person, at: datetime) -> InspectionPage:
    """Everything about an inspection that anybody may see. Raises NotFound when the person may not."""
    readable = access.readable_inspections(person, at, "reel").select_related(
        "void__requested_by", "void__confirmed_by"
    )
    inspection = one(readable, "inspection", pk=inspection_id)
    findings = list(findings_in_count(inspection))
    stops = [each for each in findings if each.is_open_stop] if inspection.state in LIVE else []
    participants = list(inspection.participants.select_related("person").order_by("joined_at", "id"))
    held = access.acts_held(person, inspection.reel, at)
    validity = validity_of(inspection, at)
    return InspectionPage(
        inspection=inspection,
        badge=VALIDITY[validity.word] if validity else STATE[InspectionState(inspection.state)],
        count=count_words(inspection.layers, inspection.wraps),
        length=uncertain_length(
            length_counted(inspection.layers, inspection.wraps, inspection.reel.type), person.length_unit
        ),
        participants=participants,
        readings=_readings(inspection, photos_for(inspection, person), _third_rows(inspection, person, at)),
        referrals=[_referral(row) for row in inspection.referrals.select_related("referred_by", "released_by")],
        signatures=list(inspection.sign_offs.select_related("person", "authorisation")),
        void=getattr(inspection, "void", None),
        validity=validity,
        issued=list(inspection.setup_values.select_related("machine")),
        gauge_out=use_out_of(inspection),
        is_gauge_asked_for=is_asked_for(inspection),
        findings=finding_rows(findings, person, held),
        stops=stops,
        acts=acts_on(inspection, person, held, {each.role for each in participants if each.person_id == person.pk},
                     is_stopped=bool(stops)),
    )  # fmt: skip


# What may be done -----------------------------------------------------------------------------------------------------


def acts_on(
    inspection: Inspection, person: Person, held: frozenset[Act], roles: set[str], *, is_stopped: bool
) -> list[dict[str, str]]:
    """What somebody with these authorisations and these roles in the count may do about it now, the next act first.

    page: the name of where it is done. No query.
    """
    return [
        {"words": title, "address": reverse(name, args=[inspection.pk]), "page": name}
        for title, name, may in _ways(inspection, person, held, roles, is_stopped=is_stopped)
        if may
    ]


def _ways(
    inspection: Inspection, person: Person, held: frozenset[Act], roles: set[str], *, is_stopped: bool
) -> list[tuple[str, str, bool]]:
    may_record, may_end = not held.isdisjoint(MAY_RECORD), not held.isdisjoint((Act.COUNT, Act.RELEASE))
    finding, ending = ("Record a finding", "count-finding", may_record), ("End this count", "cancel", may_end)
    match inspection.state:
        case InspectionState.OPEN:
            return [
                ("Worksheet", "worksheet-technician",
                 not is_stopped and Act.COUNT in held and Role.VERIFIER not in roles),
                ("Witness", "worksheet-verifier",
                 not is_stopped and Act.VERIFY in held and Role.TECHNICIAN not in roles),
                finding,
                ("Ask for help", "help", not held.isdisjoint((Act.COUNT, Act.VERIFY))),
                ending,
            ]  # fmt: skip
        case InspectionState.AWAITING_SIGN_OFF:
            may_sign = bool(roles) and not is_stopped
            return [("Compare and sign", "result", may_sign), finding, (*ending[:2], may_end and is_stopped)]
        case InspectionState.REFERRED:
            may_decide = Act.RELEASE in held and not roles
            return [("Decide on the count" if may_decide else "Why it is referred", "referral", True), finding]
        case InspectionState.SIGNED:
            may_void = not held.isdisjoint((Act.VERIFY, Act.RELEASE))
            asked: Void | None = getattr(inspection, "void", None)
            return [
                ("Record as a PDF", "inspection-record", True),
                ("Confirm the void", "void", may_void and asked is not None and asked.requested_by_id != person.pk),
                ("Void this count", "void", may_void and asked is None),
            ]
        case InspectionState.VOIDED:
            return [("Record as a PDF", "inspection-record", True)]
    return []


# Readings -----------------------------------------------------------------------------------------------------------


def _readings(inspection: Inspection, photos: dict[int, Photo], third: list[ThirdRow]) -> list[ReadingPart]:
    """All readings, the newest first. photos: those that the reader may see, by keying. Three queries."""
    drum = drum_of(inspection.parameters, inspection.reel.type.reference_side)
    shown = {
        row.pk: Shown(value=row.value, words=keyed_words(Point(row.point), row.value, drum))
        for row in shown_keyings(inspection)
    }
    keyings = _keyings_without_values(inspection)
    return [
        ReadingPart(
            number=reading.number,
            badge=OUTCOME[reading.outcome or (ENDED if inspection.state == InspectionState.CANCELLED else "")],
            points=_points(
                [each for each in keyings if each["pk"] == reading.pk],
                shown,
                photos,
                is_worked_out=reading.outcome == Outcome.ACCEPTED,
            ),
            third_readings=[each for each in third if each.row.reading_id == reading.pk],
            steps=[_step(**step) for step in (reading.working or {}).get("steps", [])],
            problems=[problem["detail"] for problem in (reading.working or {}).get("problems", [])],
        )
        for reading in inspection.readings.order_by("-number")
    ]


def _third_rows(inspection: Inspection, person: Person, at: datetime) -> list[ThirdRow]:
    """All third readings, in order. Two queries, and two more for each that is awaited."""
    rows = list(third_readings_of(inspection).select_related("reading__inspection"))
    seen = shown_third_readings(rows, keyings_of(inspection), is_open=may_be_read(inspection)) if rows else []
    shown = {row.pk: keyed_third(row.value) for row in seen}
    return [
        ThirdRow(
            row=row, label=LABELS[Point(row.point)], value=shown.get(row.pk),
            whose=AgreesWith(row.agrees_with).spoken if row.agrees_with else "",
            may_make=inspection.state == InspectionState.OPEN and row.is_awaited and row.reading.ended_at is None
            and may_make(row, person, at),
        )
        for row in rows
    ]  # fmt: skip


def _keyings_without_values(inspection: Inspection) -> list[dict[str, Any]]:
    """Who keyed at which point and when, in order; not what."""
    columns = ("keyings__pk", "keyings__point", "keyings__role", "keyings__attempt", "keyings__keyed_at")
    keyed = inspection.readings.filter(keyings__isnull=False).order_by("keyings__pk")
    return list(keyed.values("pk", *columns, "keyings__participant__person__full_name"))


def _points(keyings: list[dict[str, Any]], shown: dict[int, Shown], photos: dict[int, Photo], *,
            is_worked_out: bool) -> list[PointRow]:  # fmt: skip
    """is_worked_out: nothing is missing then; a point without the verifier's value was none of theirs in its day."""
    attempts: dict[tuple[Point, int], dict[Role, dict[str, Any]]] = {}
    for each in keyings:
        place = (Point(each["keyings__point"]), each["keyings__attempt"])
        attempts.setdefault(place, {})[Role(each["keyings__role"])] = each
    in_order = sorted(attempts, key=lambda place: (list(Point).index(place[0]), place[1]))
    return [
        _point(point, attempt, attempts[point, attempt], shown, photos, is_worked_out=is_worked_out)
        for point, attempt in in_order
    ]


def _point(point: Point, attempt: int, by_role: dict[Role, dict[str, Any]], shown: dict[int, Shown],
           photos: dict[int, Photo], *, is_worked_out: bool) -> PointRow:  # fmt: skip
    keyed = {role: _keyed(each, shown, photos) for role, each in by_role.items()}
    witnesses = by_role if is_worked_out else keying.roles_at(point)
    return PointRow(
        label=LABELS[point],
        attempt=attempt,
        technician=keyed.get(Role.TECHNICIAN),
        verifier=keyed.get(Role.VERIFIER),
        is_witnessed=Role.VERIFIER in witnesses,
        verdict=_verdict(point, [each["keyings__pk"] for each in by_role.values()], shown, len(witnesses)),
    )


def _keyed(each: dict[str, Any], shown: dict[int, Shown], photos: dict[int, Photo]) -> Keyed:
    pk = each["keyings__pk"]
    return Keyed(
        value=shown[pk].words if pk in shown else None,
        by=each["keyings__participant__person__full_name"],
        at=each["keyings__keyed_at"],
        photo=photos.get(pk),
    )


def _verdict(point: Point, keyings: list[int], shown: dict[int, Shown], witnesses: int) -> Badge | None:
    """Whether the two agree. Two values that are both in and still blind are two that differ."""
    if witnesses == 1:
        return None
    if len(keyings) < witnesses:
        return WAITING
    values = [shown[pk].value for pk in keyings if pk in shown]
    return AGREE if len(values) == len(keyings) and keying.agree(point, *values) else DIFFERS


def _step(*, change: int, **step: Any) -> StepRow:
    return StepRow(change=f"{change:+d}".replace("-", "−") if change else "0", **step)


# Referrals ----------------------------------------------------------------------------------------------------------


def _referral(row: Referral) -> ReferralPart:
    proposed = row.proposed or {}
    return ReferralPart(
        row=row,
        proposed=count_words(proposed.get("layers"), proposed.get("wraps")),
        decision=row.decision.replace("_", " "),
    )


@page
def inspection(request: HttpRequest, inspection_id: int) -> HttpResponse:
    shown = inspection_page(inspection_id, reader(request), timezone.now())
    about = {"page": shown, "inspection": shown.inspection, "reel": shown.inspection.reel}
    return show(request, "inspections/inspection.html", about, shown.inspection.reel.site)
