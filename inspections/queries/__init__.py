"""What is read about inspections and setup values, a fixed number of queries each."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, TypeVar

from django.db.models import Case, CharField, Exists, Model, OuterRef, Q, QuerySet, Subquery, Value, When

from inspections.domain import keying
from inspections.domain.keying import Keyed
from inspections.domain.reading import RuleParameters
from inspections.domain.words import LIVE, InspectionState, Point, ReelStatus, Role
from inspections.models import (
    Authorisation,
    ImportedCount,
    Inspection,
    Keying,
    Reading,
    Referral,
    SetupValues,
    SignOff,
    Void,
)
from reels.domain.words import Graduation, Side, UnusualRule
from reels.models import CableEvent, Hold, Installation, Person, Reel, ReelType
from reels.queries import STANDING

Row = TypeVar("Row", bound=Model)

# Rule parameters ----------------------------------------------------------------------------------------------------

_PARAMETERS = (
    "anchor_side", "wraps_odd_layer", "wraps_even_layer", "max_layers", "lead_wraps", "arc_from_deg", "arc_to_deg",
    "unusual", "graduation",
)  # fmt: skip


def parameters_json(reel_type: ReelType) -> dict[str, int | str]:
    """The type's rule parameters as an inspection keeps them, with the publication that allows unusual counts."""
    kept = {name: getattr(reel_type, name) for name in _PARAMETERS}
    return {**kept, "type": reel_type.code, "unusual_publication": reel_type.unusual_publication}


def parameters_of(inspection: Inspection) -> RuleParameters:
    """The rule parameters under which this inspection is worked out."""
    return rule_parameters({name: inspection.parameters[name] for name in _PARAMETERS})


def parameters_of_type(reel_type: ReelType) -> RuleParameters:
    """The rule parameters of a reel type as they are now."""
    return rule_parameters({name: getattr(reel_type, name) for name in _PARAMETERS})


def rule_parameters(given: dict[str, int | str]) -> RuleParameters:
    """Rule parameters from plain words and numbers."""
    words = {"anchor_side": Side, "unusual": UnusualRule, "graduation": Graduation}
    return RuleParameters(**{k: words[k](v) if k in words else v for k, v in given.items()})  # type: ignore[arg-type]  # checked by RuleParameters


# Readings -----------------------------------------------------------------------------------------------------------


def open_reading(inspection: Inspection) -> Reading:
    """The reading under way of an open inspection. One query."""
    return Reading.objects.get(inspection=inspection, ended_at__isnull=True)


def last_reading(inspection: Inspection) -> Reading:
    """The newest reading. One query."""
    return Reading.objects.filter(inspection=inspection).latest("number")


def keyed(row: Keying) -> Keyed:
    """A stored keying as the domain takes it."""
    return Keyed(
        reading=row.reading_id, point=Point(row.point), attempt=row.attempt, role=Role(row.role), value=row.value
    )


def keyed_in(reading: Reading) -> list[Keyed]:
    """All that was keyed in a reading, in order. One query."""
    return [keyed(row) for row in Keying.objects.filter(reading=reading)]


def keyings_of(inspection: Inspection) -> list[Keying]:
    """All that was keyed in an inspection, in order, blind or not, with photo_digest: for services and records.

    One query.
    """
    rows = Keying.objects.filter(reading__inspection=inspection).select_related("participant", "photo")
    return list(rows.defer("photo__content"))


def shown_keyings(inspection: Inspection) -> list[Keying]:
    """The keyings whose values anybody may see. One query."""
    return shown_of(keyings_of(inspection), is_open=may_be_read(inspection))


def shown_of(rows: list[Keying], *, is_open: bool) -> list[Keying]:
    """Those of an inspection's keyings whose values anybody may see. is_open: see `may_be_read`."""
    return [row for row, seen in zip(rows, _are_shown(rows, is_open=is_open), strict=True) if seen]


def may_be_read(inspection: Inspection) -> bool:
    """Whether the reel may still be read in this count.

    A referred count may be read again, so that whoever asks for help must not learn by it what the other keyed.
    """
    return inspection.state in (InspectionState.OPEN, InspectionState.REFERRED)


def _are_shown(rows: list[Keying], *, is_open: bool) -> list[bool]:
    return keying.shown([keyed(row) for row in rows], is_open=is_open)


@dataclass(frozen=True, slots=True)
class SeenKeying:
    """A keying as one person may see it; values: its reading fields, None while they are blind to that person."""

    row: Keying
    values: dict[str, Any] | None


def keyings_for(inspection: Inspection, viewer: Person) -> list[SeenKeying]:
    """All that was keyed in an inspection, as somebody may see it: what is shown to all, and their own. One query."""
    rows = keyings_of(inspection)
    return [
        SeenKeying(row, keying.fields_at(Point(row.point), row.value) if seen or _is_own(row, viewer) else None)
        for row, seen in zip(rows, _are_shown(rows, is_open=may_be_read(inspection)), strict=True)
    ]


def _is_own(row: Keying, viewer: Person) -> bool:
    return row.participant.person_id == viewer.pk


def open_referral(inspection: Inspection) -> Referral | None:
    """The referral that waits for its release. One query."""
    return Referral.objects.filter(inspection=inspection, released_at__isnull=True).first()


def installation_at(reel: Reel, at: datetime) -> Installation | None:
    """The machine that the reel was in at a time. One query."""
    return (
        Installation.objects.select_related("machine")
        .filter(Q(removed_at__isnull=True) | Q(removed_at__gt=at), reel=reel, installed_at__lte=at)
        .first()
    )


# Results and setup values -------------------------------------------------------------------------------------------


def latest_signed(reel: Reel) -> Inspection | None:
    """The reel's newest signed inspection, by when it was done. One query."""
    return Inspection.objects.filter(reel=reel, state=InspectionState.SIGNED).order_by("-done_at", "-id").first()


@dataclass(frozen=True, slots=True)
class Counted:
    """A count that holds: signed, or of older records."""

    at: datetime
    layers: int
    wraps: int


def newest_count(reel: Reel) -> Counted | None:
    """The reel's newest count that holds. Two queries."""
    columns = ("done_at", "layers", "wraps")
    signed = Inspection.objects.filter(reel=reel, state=InspectionState.SIGNED).order_by("-done_at", "-id")
    imported = ImportedCount.objects.filter(reel=reel).order_by("-counted_at", "-id")
    rows = (signed.values_list(*columns).first(), imported.values_list("counted_at", *columns[1:]).first())
    return max((Counted(*row) for row in rows if row), key=lambda count: count.at, default=None)


def cable_event_since(reel: Reel, at: datetime) -> CableEvent | None:
    """A cut or replacement, not taken back, that happened at or after a time. One query."""
    return CableEvent.objects.filter(STANDING, reel=reel, happened_at__gte=at).order_by("happened_at").first()


def values_in_force(reel: Reel) -> SetupValues | None:
    """The setup values in force for a reel. One query."""
    return SetupValues.objects.select_related("machine").filter(reel=reel, withdrawn_at__isnull=True).first()


# Where a reel stands ------------------------------------------------------------------------------------------------


def with_status(reels: QuerySet[Reel]) -> QuerySet[Reel]:
    """The reels with `status` (see ReelStatus), `machine_serial`, `layers` and `wraps` of their latest signed count.

    One query, for one reel or for thousands.
    """
    live = Inspection.objects.filter(reel=OuterRef("pk"), state__in=LIVE)
    signed = Inspection.objects.filter(reel=OuterRef("pk"), state=InspectionState.SIGNED).order_by("-done_at", "-id")
    installed = Installation.objects.filter(reel=OuterRef("pk"), removed_at__isnull=True)
    in_force = SetupValues.objects.filter(reel=OuterRef("pk"), withdrawn_at__isnull=True)
    after = CableEvent.objects.filter(STANDING, reel=OuterRef("pk"), happened_at__gte=OuterRef("counted_at"))
    return reels.annotate(
        live_state=Subquery(live.values("state")[:1]),
        counted_at=Subquery(signed.values("done_at")[:1]),
        layers=Subquery(signed.values("layers")[:1]),
        wraps=Subquery(signed.values("wraps")[:1]),
        machine_serial=Subquery(installed.values("machine__serial")[:1]),
        values_id=Subquery(in_force.values("pk")[:1]),
        values_confirmed_at=Subquery(in_force.values("confirmed_at")[:1]),
        is_held=Exists(Hold.objects.filter(reel=OuterRef("pk"), ended_at__isnull=True)),
        is_changed_since=Exists(after),
    ).annotate(status=_STATUS)


_LIVE_STATUS = (
    (InspectionState.REFERRED, ReelStatus.REFERRED),
    (InspectionState.AWAITING_SIGN_OFF, ReelStatus.AWAITING_SIGN_OFF),
    (InspectionState.OPEN, ReelStatus.COUNT_OPEN),
)
_STATUS = Case(
    When(retired_at__isnull=False, then=Value(ReelStatus.RETIRED.value)),
    When(is_held=True, then=Value(ReelStatus.HELD.value)),
    *(When(live_state=state.value, then=Value(status.value)) for state, status in _LIVE_STATUS),
    When(
        machine_serial__isnull=False,
        values_confirmed_at__isnull=False,
        then=Value(ReelStatus.VALUES_CONFIRMED.value),
    ),
    When(machine_serial__isnull=False, values_id__isnull=False, then=Value(ReelStatus.INSTALLED.value)),
    When(machine_serial__isnull=False, then=Value(ReelStatus.WITHOUT_VALUES.value)),
    When(values_id__isnull=False, then=Value(ReelStatus.VALUES_ISSUED.value)),
    When(counted_at__isnull=False, is_changed_since=False, then=Value(ReelStatus.COUNTED.value)),
    default=Value(ReelStatus.AWAITING_COUNT.value),
    output_field=CharField(),
)


# What is signed -----------------------------------------------------------------------------------------------------


def live_inspection(reel: Reel) -> Inspection | None:
    """The inspection of the reel that is under way. One query."""
    return Inspection.objects.filter(reel=reel, state__in=LIVE).first()


def person_json(person: Person) -> dict[str, Any]:
    """A person as records name them."""
    return {"id": person.pk, "username": person.username, "name": person.full_name, "staff_number": person.staff_number}


def authorisation_json(authorisation: Authorisation) -> dict[str, Any]:
    """An authorisation as a signature names it."""
    return {
        "id": authorisation.pk,
        "act": authorisation.act,
        "reel_type": authorisation.reel_type.code if authorisation.reel_type else None,
        "site": authorisation.site.code if authorisation.site else None,
        "valid_from": authorisation.valid_from,
        "valid_until": authorisation.valid_until,
        "granted_by": authorisation.granted_by_id,
    }


def record_of(inspection: Inspection) -> dict[str, Any]:
    """Everything about an inspection that its signatures bind. Five queries."""
    reel, machine = inspection.reel, inspection.machine
    keyings = keyings_of(inspection)
    return {
        "inspection": inspection.pk,
        "reel": {"serial": reel.serial, "type": reel.type.code, "site": reel.site.code},
        "parameters": inspection.parameters,
        "machine": machine.serial if machine else None,
        "wrap_gauge": inspection.wrap_gauge,
        "preparation": {name: getattr(inspection, name) for name in _PREPARATION},
        "done_at": inspection.done_at,
        "recorded_at": inspection.recorded_at,
        "from_paper": inspection.from_paper,
        "opened_by": person_json(inspection.opened_by),
        "participants": [
            {"role": each.role, "joined_at": each.joined_at, **person_json(each.person)}
            for each in inspection.participants.select_related("person").order_by("id")
        ],
        "readings": [
            {
                "number": reading.number,
                "outcome": reading.outcome,
                "working": reading.working,
                "keyed": [_keying_json(row) for row in keyings if row.reading_id == reading.pk],
                "surprise_accepted": _outlier_json(reading),
            }
            for reading in inspection.readings.select_related("accepted_outlier__accepted_by")
        ],
        "referrals": [
            _referral_json(each) for each in inspection.referrals.select_related("referred_by", "released_by")
        ],
        "rereads": inspection.rereads,
        "result": {"layers": inspection.layers, "wraps": inspection.wraps, "parity": inspection.parity},
    }


_PREPARATION = (
    "work_order", "publication", "publication_revision", "cable_condition", "winding_quality", "respooled",
)  # fmt: skip


def _keying_json(row: Keying) -> dict[str, Any]:
    """A keying of `keyings_of` as signatures bind it; the record of one without a photo does not name it."""
    kept = ("point", "role", "attempt", "value", "salt", "commitment", "keyed_at")
    return {
        **{name: getattr(row, name) for name in kept},
        "person": row.participant.person_id,
        "keyed_by": row.keyed_by_id,
        **({"photo": row.photo_digest} if row.photo_digest else {}),
    }


def _outlier_json(reading: Reading) -> dict[str, Any] | None:
    accepted = getattr(reading, "accepted_outlier", None)
    if accepted is None:
        return None
    return {
        "told": accepted.told,
        "reason": accepted.reason,
        "accepted_by": person_json(accepted.accepted_by),
        "accepted_at": accepted.accepted_at,
    }


def _referral_json(referral: Referral) -> dict[str, Any]:
    by = referral.released_by
    return {
        "referred_at": referral.referred_at,
        "referred_by": person_json(referral.referred_by),
        "why": referral.why,
        "proposed": referral.proposed,
        "released_at": referral.released_at,
        "released_by": person_json(by) if by else None,
        "decision": referral.decision,
        "reason": referral.reason,
    }


# Lists --------------------------------------------------------------------------------------------------------------


def reels_matching(reels: QuerySet[Reel], wanted: Mapping[str, Any]) -> QuerySet[Reel]:
    """The reels of a site, type or status, or with `q` in their serial number. reels: with their status."""
    return _matching(reels, wanted, site="site__code", type="type__code", status="status", q="serial__icontains")


def inspections_matching(inspections: QuerySet[Inspection], wanted: Mapping[str, Any]) -> QuerySet[Inspection]:
    """The inspections of a reel or in a state."""
    return _matching(inspections, wanted, reel="reel__serial", state="state")


def setup_values_matching(values: QuerySet[SetupValues], wanted: Mapping[str, Any]) -> QuerySet[SetupValues]:
    """The setup values of a reel or machine; in_force: "yes" or "no"."""
    found = _matching(values.select_related(*_SETUP_PEOPLE), wanted, reel="reel__serial", machine="machine__serial")
    in_force = wanted.get("in_force")
    return found if in_force is None else found.filter(withdrawn_at__isnull=in_force == "yes")


def authorisations_matching(rows: QuerySet[Authorisation], wanted: Mapping[str, Any]) -> QuerySet[Authorisation]:
    """The authorisations of a person or for an act."""
    return _matching(rows, wanted, person="person__username", act="act")


def cable_events_of(reel: Reel) -> QuerySet[CableEvent]:
    """Every entry about the reel's cable, those taken back too."""
    return CableEvent.objects.filter(reel=reel).select_related("reel", "recorded_by", "reversed_by")


def sign_offs_of(inspection: Inspection) -> QuerySet[SignOff]:
    """The signatures of an inspection."""
    return SignOff.objects.filter(inspection=inspection).select_related("person")


def void_of(inspection: Inspection) -> Void | None:
    """How the inspection was taken back, or that somebody has asked for it. One query."""
    return Void.objects.select_related("requested_by", "confirmed_by").filter(inspection=inspection).first()


def with_read_backs(values: QuerySet[SetupValues]) -> QuerySet[SetupValues]:
    """The setup values with every read-back and check, and the people behind them. Two more queries."""
    return values.select_related(*_SETUP_PEOPLE).prefetch_related("read_backs__keyed_by", "machine_checks__done_by")


_SETUP_PEOPLE = ("issued_by", "gauge_returned_by", "set_by", "confirmed_by", "withdrawn_by")


def _matching(rows: QuerySet[Row], wanted: Mapping[str, Any], **columns: str) -> QuerySet[Row]:
    return rows.filter(**{column: wanted[name] for name, column in columns.items() if wanted.get(name) is not None})
