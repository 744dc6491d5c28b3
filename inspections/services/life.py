"""What becomes of a reel whose life, or whose cable's, has reached a hard limit of its type: it is held.

By uses and hours that is in the act that records them; by age, or where a type was given another limit, when the worker
looks. Nothing is issued, installed or confirmed meanwhile, since that is compared with the clock each time.
"""

from datetime import datetime
from typing import Any

from django.db import transaction
from django.utils import timezone

from inspections.domain.words import ReelStatus
from inspections.models import ReelStatusRow
from inspections.queries.life import life_on, over
from inspections.services.setup import hold_reel
from reels import access
from reels import queries as reel_queries
from reels.domain.life import LIMIT_NAMES
from reels.domain.words import counted
from reels.models import Hold, Reel, ReelType, TaskRun
from reels.services import tasks
from reels.services.history import ActRecorder, by_itself, record_act
from reels.services.tasks import HeldTask, leased

NOT_HELD_AGAIN = (ReelStatus.HELD, ReelStatus.RETIRED)


def hold_if_over(act: ActRecorder, reel: Reel) -> Hold | None:
    """Within another act: hold the reel, if it is not held and a life is over. Three queries."""
    why = over(life_on(reel, act.at), act.at)
    if not why or reel.retired_at or reel_queries.hold_on(reel):
        return None
    return hold_reel(act, reel, f"a hard limit of its type is reached: {why}")


def look_if_limited(act: ActRecorder) -> None:
    """The last of every act: where a type was given another limit, have the worker look at its reels."""
    types = (change.before for change in act.changes if change.table == ReelType._meta.db_table)
    if any(before and not set(LIMIT_NAMES).isdisjoint(before) for before in types):
        transaction.on_commit(put_look, robust=True)


def put_look() -> TaskRun:
    """Have the worker look for lives that are over. Raises QueueFull."""
    return tasks.put(hold_those_over, key="lives", title="Lives of reels and cables")


@leased
def hold_those_over(context: HeldTask) -> dict[str, Any]:
    """Hold each reel of which a life is over by now, in an act of its own. Held once, it is not found again."""
    held, last = 0, 0
    while next_one := _next_over(last, timezone.now()):
        context.progress(f"{counted(held, 'reel')} held", held)
        last, serial = next_one
        held += _hold(serial)
    return {"held": held, "in_words": [f"{counted(held, 'reel')} held, of which a life is over."]}


def _next_over(last: int, at: datetime) -> tuple[int, str] | None:
    rows = ReelStatusRow.objects.filter(hard_limit_at__lte=at, reel__gt=last).exclude(status__in=NOT_HELD_AGAIN)
    return rows.order_by("reel").values_list("reel", "serial").first()


@transaction.atomic
def _hold(serial: str) -> bool:
    chain = access.lock_of_reel(serial=serial)
    reel = Reel.objects.select_related("type", "site").get(serial=serial)
    assert chain is not None, "every reel has its chain"
    at = timezone.now()
    if reel.retired_at or reel_queries.hold_on(reel) or not over(life_on(reel, at), at):
        return False
    with record_act(chain, "held", by_itself("nightly run"), at) as act:
        return hold_if_over(act, reel) is not None
