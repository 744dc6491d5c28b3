"""What the signatures of an inspection bind."""

from typing import Any

from inspections.domain.findings import DETAILS, ReelPart
from inspections.models import (
    Authorisation,
    Finding,
    GaugeUse,
    Inspection,
    Keying,
    Reading,
    Referral,
    ThirdReading,
)
from inspections.queries.findings import findings_in_count
from inspections.queries.keyings import keyings_of
from inspections.queries.third_readings import third_readings_of
from reels.models import Person


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


_PREPARATION = (
    "work_order", "publication", "publication_revision", "publication_reason", "cable_condition", "winding_quality",
    *(f"{part}_sound" for part in ReelPart), "respooled",
)  # fmt: skip


def record_of(inspection: Inspection) -> dict[str, Any]:
    """Everything about an inspection that its signatures bind. Eight queries."""
    third = list(third_readings_of(inspection))
    reel, machine = inspection.reel, inspection.machine
    keyings = keyings_of(inspection)
    uses = inspection.gauge_uses.select_related("gauge", "machine", "taken_by")
    return {
        "inspection": inspection.pk,
        "reel": {
            "serial": reel.serial,
            "type": reel.type.code,
            "site": reel.site.code,
            "part_number": reel.part_number,
            "cable_part_number": reel.cable_part_number,
            "cable_serial": reel.cable_serial,
        },
        "parameters": inspection.parameters,
        "machine": machine.serial if machine else None,
        "wrap_gauge": inspection.wrap_gauge,
        "gauge_uses": [_use_json(each) for each in uses],
        "preparation": {name: getattr(inspection, name) for name in _PREPARATION},
        "findings": [_finding_json(each) for each in findings_in_count(inspection)],
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
                "third_readings": [_third_json(row) for row in third if row.reading_id == reading.pk],
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


def _keying_json(row: Keying) -> dict[str, Any]:
    """A keying of `keyings_of` as signatures bind it; the record of one without a photo does not name it."""
    kept = ("point", "role", "attempt", "value", "salt", "commitment", "keyed_at")
    return {
        **{name: getattr(row, name) for name in kept},
        "person": row.participant.person_id,
        "keyed_by": row.keyed_by_id,
        **({"photo": row.photo_digest} if row.photo_digest else {}),
    }


def _finding_json(row: Finding) -> dict[str, Any]:
    """A finding of `findings_in_count` as it stands when the count is signed first."""
    kept = ("part", "kind", "kind_words", "severity", "salt", "recorded_at", "lowered_at", "lower_reason", "closed_at",
            "remedy", "close_reason")  # fmt: skip
    photo = getattr(row, "photo", None)
    return {
        "finding": row.pk,
        **{name: getattr(row, name) for name in (*kept, *DETAILS)},
        **{
            f"{done}_by": person_json(by) if (by := getattr(row, f"{done}_by")) else None
            for done in ("recorded", "lowered", "closed")
        },
        "photo": photo.digest if photo else None,
    }


def _third_json(row: ThirdReading) -> dict[str, Any]:
    kept = (
        "point", "attempt", "asked_at", "taken_back_at", "read_at", "value", "salt", "commitment", "agrees_with",
    )  # fmt: skip
    return {
        **{name: getattr(row, name) for name in kept},
        "asked_by": person_json(row.asked_by),
        "read_by": person_json(row.read_by) if row.read_by else None,
    }


def _use_json(use: GaugeUse) -> dict[str, Any]:
    return {
        "wrap_gauge": use.gauge.serial,
        "machine": use.machine.serial,
        "calibration_due": use.calibration_due,
        "taken_at": use.taken_at,
        "taken_by": person_json(use.taken_by),
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
