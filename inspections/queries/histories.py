"""What is on record of reels for the drift report and for weighing a count just keyed, some reels at a time."""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime, time
from functools import lru_cache
from typing import Any

from django.db.models import F, OuterRef, Q, QuerySet, Subquery

from inspections.domain import drift
from inspections.domain.drift import (
    ClosedFlag,
    CountSeen,
    CutLogged,
    DriftParameters,
    Ending,
    Plausibility,
    ReelHistory,
)
from inspections.domain.words import InspectionState, Meaning, Role
from inspections.models import DriftFlag, ImportedCount, Inspection, LearnedRates, SignOff
from reels.domain import ledger
from reels.domain.winding import drum_from
from reels.models import CableEvent, Reel

REELS_AT_ONCE = 200


def reel_histories(reels: QuerySet[Reel], as_of: datetime | None = None) -> Iterator[ReelHistory]:
    """What is on record of each reel, in order of serial: see `histories_of`. Five queries for every 200 reels."""
    for batch in in_batches(reels):
        yield from histories_of(batch, as_of)


def in_batches(reels: QuerySet[Reel]) -> Iterator[list[Reel]]:
    """The reels with their type and chain, in order of serial, some at a time. One query each time."""
    last = ""
    while batch := list(
        reels.filter(serial__gt=last).select_related("type", "chain").order_by("serial")[:REELS_AT_ONCE]
    ):
        yield batch
        last = batch[-1].serial


def histories_of(reels: Sequence[Reel], as_of: datetime | None = None) -> list[ReelHistory]:
    """What is on record of these reels: signed and imported counts, cuts and replacements that stand, closed flags.

    as_of: only what was recorded by then, and nothing that was taken back later is missing; None: everything.
    Returns one history a reel, in the order given. Four queries.
    """
    counts, events, flags = _counts(reels, as_of), _events(reels, as_of), _closed_flags(reels, as_of)
    return [
        ReelHistory(
            reel=reel.serial, drum=drum_from(vars(reel.type)), lead_wraps=reel.type.lead_wraps,
            counts=tuple(counts[reel.pk].values()),
            cuts=tuple(event for event in events[reel.pk] if isinstance(event, CutLogged)),
            replaced_at=tuple(event for event in events[reel.pk] if isinstance(event, datetime)),
            received_at=datetime.combine(reel.received_on, time.min, tzinfo=UTC),
            received_m=None if reel.cable_length_m is None else float(reel.cable_length_m),
            closed_flags=tuple(flags[reel.pk]),
        )
        for reel in reels
    ]  # fmt: skip


def _counts(reels: Sequence[Reel], as_of: datetime | None) -> dict[int, dict[datetime, CountSeen]]:
    """By reel and time. A count that was imported and entered as an inspection too is one count."""
    imported = ImportedCount.objects.filter(reel__in=reels)
    inspected = Inspection.objects.filter(reel__in=reels, state=InspectionState.SIGNED)
    if as_of:
        imported = imported.filter(recorded_at__lte=as_of)
        inspected = Inspection.objects.filter(
            Q(void__confirmed_at__isnull=True) | Q(void__confirmed_at__gt=as_of),
            reel__in=reels, state__in=(InspectionState.SIGNED, InspectionState.VOIDED), ended_at__lte=as_of,
        )  # fmt: skip
    counts: dict[int, dict[datetime, CountSeen]] = defaultdict(dict)
    for rows, time_column, revision_column, people in (
        (imported, "counted_at", "revision", {meaning: F(f"{meaning}_by") for meaning in Meaning}),
        (inspected, "done_at", "publication_revision", {meaning: _signed_by(meaning) for meaning in Meaning}),
    ):
        columns = ("reel_id", time_column, "layers", "wraps", "publication", revision_column, "reel__site__code")
        for (
            reel,
            at,
            layers,
            wraps,
            publication,
            revision,
            site,
            counted_by,
            verified_by,
        ) in rows.order_by().values_list(*columns, people[Meaning.COUNTED], people[Meaning.VERIFIED]):
            counts[reel][at] = CountSeen(
                at=at, layers=layers, wraps=wraps, revision=f"{publication} {revision}".strip() or None,
                counted_by=counted_by or None, verified_by=verified_by or None, site=site,
            )  # fmt: skip
    return counts


def _signed_by(meaning: Meaning) -> Subquery:
    """The name under which an inspection was signed in this meaning."""
    signed = SignOff.objects.filter(inspection=OuterRef("pk"), meaning=meaning)
    return Subquery(signed.order_by().values("full_name")[:1])


def _events(reels: Sequence[Reel], as_of: datetime | None) -> dict[int, list[CutLogged | datetime]]:
    """By reel: cuts, and times of replacements."""
    rows = CableEvent.objects.filter(reel__in=reels).exclude(kind=CableEvent.Kind.REVERSAL)
    if as_of:
        standing = Q(reversed_by__isnull=True) | Q(reversed_by__recorded_at__gt=as_of)
        rows = rows.filter(standing, recorded_at__lte=as_of)
    else:
        rows = rows.filter(reversed_by__isnull=True)
    events: dict[int, list[CutLogged | datetime]] = defaultdict(list)
    columns = ("reel_id", "kind", "happened_at", "recorded_at", "length_removed_m")
    for reel, kind, at, recorded_at, length_m in rows.values_list(*columns):
        is_cut = kind == CableEvent.Kind.CUT
        events[reel].append(CutLogged(at=at, length_m=float(length_m), recorded_at=recorded_at) if is_cut else at)
    return events


def _closed_flags(reels: Sequence[Reel], as_of: datetime | None) -> dict[int, list[ClosedFlag]]:
    """By reel, the last word on an interval last."""
    rows = DriftFlag.objects.filter(reel__in=reels, closed_at__isnull=False)
    if as_of:
        rows = rows.filter(closed_at__lte=as_of)
    flags: dict[int, list[ClosedFlag]] = defaultdict(list)
    for reel, from_at, to_at, ending in rows.order_by("closed_at", "id").values_list(
        "reel_id", "from_at", "to_at", "ending"
    ):
        flags[reel].append(ClosedFlag(from_at=from_at, to_at=to_at, ending=Ending(ending)))
    return flags


def learned_rates() -> LearnedRates | None:
    """The fleet's rates as they were learned last. One query."""
    return LearnedRates.objects.last()


def digest_of_rates(values: Mapping[str, Any]) -> str:
    """SHA-256 over rates as they are stored."""
    return ledger.digest(ledger.canonical(values))


def parameters_of(learned: LearnedRates | None) -> DriftParameters:
    """Rates as the domain takes them; what stands before anything is learned for None."""
    return drift.DEFAULT_PARAMETERS if learned is None else parameters_from(learned.values)


def parameters_from(stored: Mapping[str, Any]) -> DriftParameters:
    """Rates as they were stored, in JSON."""
    values: dict[str, Any] = {
        name: tuple(value) if isinstance(value, list) else value for name, value in stored.items()
    }
    return DriftParameters(**values)


# Both signatures ask it of one count, and each look at its page between them.
_weighed = lru_cache(maxsize=100)(drift.plausibility)


def plausibility_of(inspection: Inspection) -> Plausibility | None:
    """How a count that both people have keyed and that is worked out fits its reel's history; None before that.

    The history is what is on record of the time before the count. Six queries.
    """
    if inspection.state != InspectionState.AWAITING_SIGN_OFF or inspection.layers is None or inspection.wraps is None:
        return None
    [history] = histories_of([inspection.reel])
    at = inspection.done_at
    before = replace(
        history,
        counts=tuple(count for count in history.counts if count.at < at),
        cuts=tuple(cut for cut in history.cuts if cut.at <= at),
        replaced_at=tuple(moment for moment in history.replaced_at if moment <= at),
    )
    people = dict(inspection.participants.values_list("role", "person__full_name"))
    count = CountSeen(
        at=at, layers=inspection.layers, wraps=inspection.wraps,
        revision=f"{inspection.publication} {inspection.publication_revision}".strip() or None,
        counted_by=people.get(Role.TECHNICIAN), verified_by=people.get(Role.VERIFIER),
        site=next((count.site for count in before.counts), ""),
    )  # fmt: skip
    learned = learned_rates()
    weighed = _weighed(before, count, parameters_of(learned))
    return replace(weighed, by_general_rates=learned is None)
