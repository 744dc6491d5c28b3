"""What documents are made from, a fixed number of queries each."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import datetime, timedelta
from typing import Any

from django.conf import settings
from django.db.models import Prefetch, QuerySet
from django.http import HttpRequest
from django.urls import reverse

from inspections.domain.validity import Validity
from inspections.domain.words import InspectionState
from inspections.models import Finding, Inspection, MachineCheck, ReadBack, SetupValues, SignOff, Void
from inspections.queries.currency import ends_of_counts
from inspections.queries.life import lives_at
from inspections.queries.record import person_json
from inspections.queries.validity import newer_counts, validity_of
from reels.domain import ledger
from reels.domain.life import Spent, life_name
from reels.models import CableEvent, Installation, Person, Reel, ReelEvent, ReelType
from reels.queries import length_counted
from reports.pdf.facts import InspectionFacts, ReelLabel, SetupCard

_SET_UP_BY = ("issued_by", "gauge_returned_by", "set_by", "confirmed_by", "withdrawn_by")
_SET_UP = ("id", "layers", "wraps", "parity", "issued_at", "gauge_returned_at", "set_at", "confirmed_at",
           "withdrawn_at", "withdrawn_why")  # fmt: skip

_READ_ON_MACHINES = ("layers", "wraps", "length_m", "length_out_m", "expected_layers", "expected_wraps",
                     "expected_length_m", "more_turns")  # fmt: skip

# What a document shows besides the record itself: an entry that changes none of these makes no new document.
SHOWN = (SignOff, Void, SetupValues, ReadBack, MachineCheck, CableEvent, ReelEvent, Installation, Finding)


def may_show(changes: Iterable[Mapping[str, Any]]) -> bool:
    """Whether changes, as in a history entry, may show on a document. No query."""
    tables = {model._meta.db_table for model in SHOWN}
    return any(change["table"] in tables for change in changes)


def documented(inspections: QuerySet[Inspection]) -> QuerySet[Inspection]:
    """Those of the inspections that have a document: signed by both, or voided since; with all that it shows.

    Five queries, for one inspection or for many.
    """
    read_backs = ReadBack.objects.select_related("keyed_by")
    checks = MachineCheck.objects.select_related("done_by")
    values = SetupValues.objects.order_by("issued_at", "id").select_related("machine", *_SET_UP_BY)
    shown = values.prefetch_related(Prefetch("read_backs", read_backs), Prefetch("machine_checks", checks))
    return (
        inspections.filter(state__in=(InspectionState.SIGNED, InspectionState.VOIDED))
        .select_related("record", "void__requested_by", "void__confirmed_by", "reel__type", "reel__site", "reel__chain")
        .prefetch_related("sign_offs", Prefetch("setup_values", shown))
    )


def documented_of(reel: Reel) -> QuerySet[Inspection]:
    """The inspections of a reel that have a document."""
    return documented(Inspection.objects.filter(reel=reel)).order_by("id")


def with_what_followed(inspections: Sequence[Inspection]) -> Iterator[tuple[Inspection, dict[str, Any]]]:
    """Each with what may follow it in its situation, left out where there is nothing to say. Seven queries.

    Of a count: until when it is current, what ended it first, and by which one it was superseded; of its reel: what was
    spent of the lives that the type limits, when it was counted. Nothing of it depends on when it is asked.
    """
    counts = [each for each in inspections if each.state == InspectionState.SIGNED]
    ends = ends_of_counts({each.pk: (each.reel_id, each.done_at) for each in counts})
    newer = newer_counts(counts) if counts else {}
    lives = lives_at({each.pk: (each.reel, each.done_at) for each in inspections})
    for each in inspections:
        more: dict[str, Any] = {"life": [_life_json(spent) for spent in lives.get(each.pk, ())]}
        if later_one := newer.get(each.pk):
            more["superseded"] = {"at": later_one[0], "by": later_one[1]}
        if each in counts:
            days = each.reel.type.count_days
            ended_at, why = ends.get(each.pk, (None, ""))
            until = each.done_at + timedelta(days=days) if days else None
            more["count"] = {"current_until": until, "ended_at": ended_at, "why": why} if until or why else None
        yield each, {name: value for name, value in more.items() if value}


def _life_json(spent: Spent) -> dict[str, Any]:
    return {"name": life_name(spent.part, spent.measure), "spent": spent.in_words}


def facts_of(
    inspection: Inspection, followed: Mapping[str, Any], *, number: int, at: datetime, made_with: Mapping[str, str]
) -> InspectionFacts:
    """What a document of an inspection is made from. No query for what `documented` and `with_what_followed` gave.

    number: which of the inspection's documents it is, from 1.
    """
    situation = {
        "v": 1,
        "kind": "situation",
        "at": at,
        "made_with": dict(made_with),
        "inspection": inspection.pk,
        "document": number,
        "issuer": settings.ORGANISATION,
        "site_name": inspection.reel.site.name,
        "address": settings.PUBLIC_URL,
        "state": inspection.state,
        "clocks": inspection.reel.site.time_zone,
        "reference_side": inspection.reel.type.reference_side,
        "length": length_json(inspection.layers, inspection.wraps, inspection.reel.type),
        "void": _void_json(inspection),
        "setup_values": [_setup_json(values) for values in inspection.setup_values.all()],
        **followed,
    }
    return InspectionFacts(
        record=bytes(inspection.record.content),
        statements=tuple(bytes(each.statement) for each in inspection.sign_offs.all()),
        situation=ledger.canonical(ledger.plain(situation)),
    )


def length_json(layers: int | None, wraps: int | None, reel_type: ReelType) -> dict[str, str] | None:
    """The cable that a count stands for by the type as it is now, to a tenth of a metre; None if it can't hold it."""
    length = length_counted(layers, wraps, reel_type)
    if length is None:
        return None
    return {
        "value_m": f"{length.value_m:.1f}",
        "standard_u_m": f"{max(length.combined_u_m, 0.1):.1f}",
    }  # never shown as 0.0


def _void_json(inspection: Inspection) -> dict[str, Any] | None:
    void = getattr(inspection, "void", None)
    if void is None:
        return None
    return {
        "requested_by": person_json(void.requested_by), "requested_at": void.requested_at, "reason": void.reason,
        "confirmed_by": _person_or_none(void.confirmed_by), "confirmed_at": void.confirmed_at,
    }  # fmt: skip


def _setup_json(values: SetupValues) -> dict[str, Any]:
    return {
        **{name: getattr(values, name) for name in _SET_UP},
        **{name: _person_or_none(getattr(values, name)) for name in _SET_UP_BY},
        "machine": values.machine.serial,
        "read_backs": [
            {"role": each.role, "layers": each.layers, "wraps": each.wraps, "matches": each.matches,
             "keyed_by": person_json(each.keyed_by), "keyed_at": each.keyed_at}
            for each in values.read_backs.all()
        ],
        "checks": [
            {"kind": each.get_kind_display(), "passed": each.passed, "remark": each.remark,
             "done_by": person_json(each.done_by), "done_at": each.done_at, **_reading_json(each)}
            for each in values.machine_checks.all()
        ],
    }  # fmt: skip


def _reading_json(check: MachineCheck) -> dict[str, Any]:
    """What was read on the machine beside what was expected; nothing of a check without a reading."""
    if check.layers is None and check.length_m is None:
        return {}
    return {"reading": {name: getattr(check, name) for name in _READ_ON_MACHINES}}


def _person_or_none(person: Person | None) -> dict[str, Any] | None:
    return person_json(person) if person else None


def setup_card_of(values: SetupValues, at: datetime) -> SetupCard:
    """What the setup card of these values shows at a moment; they come from inspections.access. Ten queries."""
    shown = documented(Inspection.objects.filter(pk=values.inspection_id)).get()
    [setup_json] = [_setup_json(each) for each in shown.setup_values.all() if each.pk == values.pk]
    return SetupCard(
        reel=values.reel.serial,
        inspection=values.inspection_id,
        record_digest=shown.record.digest,
        host=values.machine.host,
        length=length_json(values.layers, values.wraps, shown.reel.type),
        values=ledger.plain(setup_json),
        count_stands=_in_words(shown, at),
        clocks=shown.reel.site.time_zone,
        address=settings.PUBLIC_URL,
    )


def _in_words(inspection: Inspection, at: datetime) -> str:
    """Whether a signed count stands. Six queries."""
    validity = validity_of(inspection, at)
    assert validity is not None, "it has a document, so it was signed"
    days = inspection.reel.type.count_days
    if validity.word is not Validity.STANDS:
        return validity.in_words
    if not days:
        return "stands; no day ends it"
    until = inspection.done_at + timedelta(days=days)
    here = until.astimezone(inspection.reel.site.zone)
    in_utc = f"{until:%Y-%m-%d %H:%M} UTC"
    return f"stands, current until {in_utc if here.tzname() == 'UTC' else f'{here:%Y-%m-%d %H:%M %Z} ({in_utc})'}"


def reel_facts(reel: Reel) -> list[tuple[str, str]]:
    """What the head of a reel's history says of it. No query."""
    length = f"{reel.cable_length_m} m" if reel.cable_length_m is not None else "unknown"
    retired = f"{reel.retired_at:%Y-%m-%d}: {reel.retired_reason}" if reel.retired_at else "no"
    return [
        ("Reel type", reel.type.code), ("Site", reel.site.name), ("Received", f"{reel.received_on}"),
        ("Cable when received", length), ("Retired", retired),
    ]  # fmt: skip


def label_of(reel: Reel, request: HttpRequest) -> ReelLabel:
    """What stands on a reel's label: of the service as the world knows it, or else as it was asked. No query."""
    root = settings.PUBLIC_URL or request.build_absolute_uri("/").rstrip("/")
    return ReelLabel(
        serial=reel.serial, reel_type=reel.type.code, part_number=reel.part_number,
        address=f"{root}{reverse('reel', args=[reel.serial])}",
    )  # fmt: skip
