"""The lives of reels and of their cables, as far as their types limit them. A fixed number of queries each."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from datetime import UTC, datetime, time
from decimal import Decimal

from reels.domain.life import LIMIT_NAMES, LifeLimit, LifePart, Spent, Use, life_of
from reels.models import CableEvent, Reel, ReelEvent
from reels.queries import STANDING

EVER = datetime.max.replace(tzinfo=UTC)


def lives_of(reels: Iterable[Reel], at: datetime = EVER) -> dict[int, list[Spent]]:
    """What is spent by then of each life that a reel's type limits, by the reel's id. Two queries; none of no limits.

    reels: with their types. Left out is a reel without limits.
    """
    return lives_at({reel.pk: (reel, at) for reel in reels})


def lives_at(asked: Mapping[int, tuple[Reel, datetime]]) -> dict[int, list[Spent]]:
    """The same of reels at moments, each by any key; a reel may be asked for at several."""
    limited = {key: each for key, each in asked.items() if any(vars(each[0].type)[name] for name in LIMIT_NAMES)}
    if not limited:
        return {}
    reels = {reel.pk for reel, _ in limited.values()}
    fitted, uses = defaultdict(list), defaultdict(list)
    replaced = CableEvent.objects.filter(STANDING, reel__in=reels, kind=CableEvent.Kind.REPLACED)
    for reel, when in replaced.values_list("reel", "happened_at"):
        fitted[reel].append(when)
    columns = ("reel", "happened_at", "recorded_at", "uses", "hours")
    used = ReelEvent.objects.filter(STANDING, reel__in=reels, uses__isnull=False)
    for reel, happened_at, recorded_at, number, hours in used.order_by("pk").values_list(*columns):
        uses[reel].append(Use(happened_at=happened_at, recorded_at=recorded_at, uses=number, hours=hours or Decimal(0)))
    return {
        key: life_of(
            {LifePart.CABLE: max((when for when in fitted[reel.pk] if when <= at), default=received_at(reel)),
             LifePart.REEL: received_at(reel)},
            uses[reel.pk], vars(reel.type), at,
        )
        for key, (reel, at) in limited.items()
    }  # fmt: skip


def life_on(reel: Reel, at: datetime) -> list[Spent]:
    """Those of one reel. Two queries; none where its type limits nothing."""
    return lives_of([reel], at).get(reel.pk, [])


def received_at(reel: Reel) -> datetime:
    """When its first day began, in UTC."""
    return datetime.combine(reel.received_on, time.min, tzinfo=UTC)


def over(lives: Iterable[Spent], at: datetime, limit: LifeLimit = LifeLimit.HARD) -> str:
    """Which have reached a limit by then, in words; or nothing."""
    return "; ".join(f"{each.part}: {each.in_words}" for each in lives if each.reached(at) == limit)
