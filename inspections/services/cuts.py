"""What is possible of a cut and unlikely: asked about once, before it is logged."""

from collections.abc import Collection
from datetime import datetime, timedelta
from decimal import Decimal

from django.db.models import Count, Max, Min

from inspections.errors import SameCut, UnlikelyCut
from inspections.queries.counts import newest_count
from reels import queries as reel_queries
from reels.domain.winding import drum_from, wrap_lengths_mm
from reels.domain.words import LengthUnit
from reels.errors import CutTooLong
from reels.models import CableEvent, Reel
from reels.services.reels import CableEventFacts

LEAST_CUTS = 5  # of a type, before its log is believed to have seen what is usual
MARGIN = Decimal("0.1")  # beyond what was seen, of a length: or half the next small cuts would be asked about
BELIEVED_U = 3  # standard uncertainties that a count's length may be too short by
SOON = timedelta(days=1)
FOOT_M = LengthUnit.FEET.metres


def check_cut(reel: Reel, facts: CableEventFacts, at: datetime) -> None:
    """Refuse what is more than the reel can hold, and ask about what is unlikely. Six queries.

    Raises CutTooLong, SameCut or UnlikelyCut; the questions unless they are among the answers.
    """
    metres = facts.length_removed_m
    if facts.kind != CableEvent.Kind.CUT or metres is None or metres <= 0:
        return
    left = _believed_m(reel, facts.happened_at)
    if left is not None and metres > left:
        raise CutTooLong(seen_m=metres, serial=reel.serial, most_m=round(left, 1))
    _ask_whether_same(reel, facts, metres, at)
    _ask_whether_likely(reel, metres, left, facts.answers)


def _believed_m(reel: Reel, at: datetime) -> Decimal | None:
    """The greatest believable length of the cable then: by the newest count before, with the lead, less cuts since."""
    count = newest_count(reel)
    if count is None or count.at > at:
        return None
    length = reel_queries.length_counted(count.layers, count.wraps, reel.type)
    since = reel_queries.standing_cable_events(reel).filter(happened_at__gte=count.at, happened_at__lte=at)
    if length is None or since.filter(kind=CableEvent.Kind.REPLACED).exists():
        return None
    lead_m = (reel.type.lead_wraps + 2) * float(wrap_lengths_mm(drum_from(vars(reel.type)))[-1]) / 1000
    most = float(length.value_m) + BELIEVED_U * float(length.combined_u_m) + lead_m
    return Decimal(most) - sum((each.length_removed_m or Decimal(0) for each in since), Decimal(0))


def _ask_whether_same(reel: Reel, facts: CableEventFacts, metres: Decimal, at: datetime) -> None:
    same = reel_queries.standing_cable_events(reel).filter(
        kind=CableEvent.Kind.CUT, length_removed_m=metres, happened_at=facts.happened_at,
        recorded_at__gt=at - SOON,
    )  # fmt: skip
    if known := same.select_related("recorded_by").first():
        SameCut(event=known.pk, name=known.recorded_by.full_name, length_m=_plain(metres),
                serial=reel.serial).unless_answered(facts.answers)  # fmt: skip


def _ask_whether_likely(reel: Reel, metres: Decimal, left: Decimal | None, answers: Collection[str]) -> None:
    cuts = CableEvent.objects.filter(reel_queries.STANDING, reel__type=reel.type_id, kind=CableEvent.Kind.CUT)
    seen = cuts.aggregate(n=Count("pk"), least=Min("length_removed_m"), most=Max("length_removed_m"))
    if seen["n"] < LEAST_CUTS or _is_usual(metres, seen["least"], seen["most"]):
        return
    leaves = f" It would leave about {left - metres:.1f} m." if left is not None else ""
    UnlikelyCut(
        length_m=_plain(metres), least=_plain(seen["least"]), most=_plain(seen["most"]),
        reel_type=reel.type.code, leaves=leaves, other=_other_unit(metres, seen["least"], seen["most"]),
    ).unless_answered(answers)  # fmt: skip


def _plain(metres: Decimal) -> str:
    """Without the noughts at its end, which one database gives and another does not."""
    return f"{metres.normalize():f}"


def _is_usual(metres: Decimal, least: Decimal, most: Decimal) -> bool:
    return least * (1 - MARGIN) <= metres <= most * (1 + MARGIN)


def _other_unit(metres: Decimal, least: Decimal, most: Decimal) -> str:
    """Where the number would be usual in the other unit: that it may be meant so."""
    if _is_usual(metres * FOOT_M, least, most):
        return f" If {_plain(metres)} was read in feet, it is {metres * FOOT_M:.2f} m."
    if _is_usual(metres / FOOT_M, least, most):
        return f" If {metres / FOOT_M:.4g} was read in metres, it is that, and not feet."
    return ""
