"""Where reels stood at a moment that is past: by when things happened, as far as it is recorded today.

A reel whose history has not grown since then stands where its status row says; the others are worked out again from
their records, some hundred at a time. So what it costs depends on how many reels there are, and not on how much ever
happened to them.
"""

from collections.abc import Iterator, Mapping
from datetime import datetime
from itertools import islice
from typing import Any, NamedTuple

from django.db.models import Exists, Min, OuterRef, Q, QuerySet, Subquery

from inspections.domain.reading import Outcome
from inspections.domain.words import Decision, InspectionState, ReelStatus
from inspections.models import ImportedCount, Inspection, Keying, Reading, ReelStatusRow, Referral, SetupValues
from inspections.queries.currency import ends_of
from inspections.queries.life import received_at
from inspections.queries.status import latest, status_of
from reels.models import HistoryEntry, Hold, Installation, Move, Reel

AT_ONCE = 500


class Stood(NamedTuple):
    """A reel at a moment. type: its id; last_at: of the last count by then, of its coming where there was none."""

    status: ReelStatus
    type: int
    last_at: datetime


def reels_at(sites: Q, moment: datetime) -> Iterator[Stood]:
    """Every reel of some sites that had come by then, in no order. One query, and eight for each AT_ONCE that changed.

    sites: as `access.at_readable_sites` gives them.
    """
    newest = HistoryEntry.objects.filter(chain=OuterRef("reel__chain"), seq=OuterRef("reel__chain__length"))
    rows = ReelStatusRow.objects.filter(sites, reel__received_on__lte=moment.date())
    changed = rows.annotate(has_changed=Exists(newest.filter(at__gt=moment)))
    others: list[int] = []
    for reel, status, type_id, last_at, has_changed in (
        changed.values_list("reel", "status", "type", "last_at", "has_changed").iterator(2000)
    ):  # fmt: skip
        if has_changed:
            others.append(reel)
        else:
            yield Stood(ReelStatus(status), type_id, last_at)
    of_others = iter(others)
    while some := list(islice(of_others, AT_ONCE)):
        yield from _worked_out(some, moment)


def _worked_out(reels: list[int], moment: datetime) -> Iterator[Stood]:
    rows: list[Any] = list(_with_what_held(Reel.objects.filter(pk__in=reels), moment))
    states = _live_states({reel.live_id for reel in rows if reel.live_id}, moment)
    ends = ends_of({reel.pk: reel.counted_at for reel in rows if reel.counted_at})
    for reel in rows:
        first_end = ends.get(reel.pk)
        reel.live_state = states.get(reel.live_id)
        reel.ended_at = first_end[0] if first_end and first_end[0] <= moment else None
        reel.gone_at = reel.retired_at if reel.retired_at and reel.retired_at <= moment else None
        yield Stood(status_of(reel), reel.type_id, latest((reel.counted_at, reel.imported_at)) or received_at(reel))


def _with_what_held(reels: QuerySet[Reel], moment: datetime) -> QuerySet[Reel]:
    """The reels with what `status_of` asks for, as it was then. One query."""
    signed = Inspection.objects.filter(state__in=(InspectionState.SIGNED, InspectionState.VOIDED), ended_at__lte=moment)
    imported = ImportedCount.objects.filter(counted_at__lte=moment)
    values = _standing(SetupValues, "issued_at", "withdrawn_at", moment)
    return reels.annotate(
        sent_at=_of_reel(_standing(Move, "sent_at", "ended_at", moment), "sent_at"),
        held_at=_of_reel(_standing(Hold, "placed_at", "ended_at", moment), "placed_at"),
        machine_id=_of_reel(_standing(Installation, "installed_at", "removed_at", moment), "machine"),
        values_id=_of_reel(values, "pk"),
        confirmed_at=_of_reel(values.filter(confirmed_at__lte=moment), "confirmed_at"),
        live_id=_of_reel(_standing(Inspection, "recorded_at", "ended_at", moment), "pk"),
        counted_at=_of_reel(signed.exclude(void__confirmed_at__lte=moment).order_by("-done_at", "-id"), "done_at"),
        imported_at=_of_reel(imported.order_by("-counted_at"), "counted_at"),
    )


def _standing(model: type[Any], begun: str, ended: str, moment: datetime) -> QuerySet[Any]:
    """The rows that had begun by then and not ended, the newest first."""
    still = Q(**{f"{ended}__isnull": True}) | Q(**{f"{ended}__gt": moment})
    rows: QuerySet[Any] = model._default_manager.filter(still, **{f"{begun}__lte": moment})
    return rows.order_by(f"-{begun}", "-pk")


def _of_reel(rows: QuerySet[Any], column: str) -> Subquery:
    return Subquery(rows.filter(reel=OuterRef("pk")).values(column)[:1])


def _live_states(live: set[int], moment: datetime) -> Mapping[int, InspectionState]:
    """How far counts that were under way had come, by the last of what is recorded of each. Three queries."""
    if not live:
        return {}
    moves = [*_moves_by_readings(live), *_moves_by_referrals(live)]
    states = dict.fromkeys(live, InspectionState.OPEN)
    states.update((inspection, state) for at, _, inspection, state in sorted(moves) if at <= moment)
    return states


_Move = tuple[datetime, int, int, InspectionState]  # when, its place among those of one moment, whose, and to where
_OF_REFERRALS = 2**16  # after those of all readings


def _moves_by_readings(live: set[int]) -> Iterator[_Move]:
    began = Keying.objects.filter(reading__inspection__in=live).order_by().values_list(
        "reading__inspection", "reading__number"
    ).annotate(Min("keyed_at"))  # fmt: skip
    for inspection, number, keyed_at in began:
        yield keyed_at, 2 * number, inspection, InspectionState.OPEN
    ended = Reading.objects.filter(inspection__in=live, ended_at__isnull=False, outcome=Outcome.ACCEPTED)
    for inspection, number, ended_at in ended.values_list("inspection", "number", "ended_at"):
        assert ended_at is not None, "the rows are those with an end"
        yield ended_at, 2 * number + 1, inspection, InspectionState.AWAITING_SIGN_OFF


def _moves_by_referrals(live: set[int]) -> Iterator[_Move]:
    rows = Referral.objects.filter(inspection__in=live)
    for inspection, referred_at, released_at, decision in rows.values_list(
        "inspection", "referred_at", "released_at", "decision"
    ):
        yield referred_at, _OF_REFERRALS, inspection, InspectionState.REFERRED
        if released_at:
            is_accepted = decision == Decision.ACCEPT_PROPOSED
            state = InspectionState.AWAITING_SIGN_OFF if is_accepted else InspectionState.OPEN
            yield released_at, _OF_REFERRALS + 1, inspection, state
