"""What is recorded after it happened: an order that cannot be is refused, and what was done since is named."""

from datetime import datetime

from django.db.models import Q

from inspections.domain.words import LIVE, InspectionState
from inspections.errors import OutOfOrder
from inspections.models import Inspection, SetupValues
from reels.errors import ReelInTransit
from reels.models import Hold, Installation, Machine, Move, Reel
from reels.services.reels import require_time

HOLDS = Q(state__in=[*LIVE, InspectionState.SIGNED])


def moment_of(reel: Reel, happened_at: datetime | None, at: datetime) -> datetime:
    """When it happened: as said, or now. Raises OutOfTime for a time to come, or before the reel was received."""
    if happened_at is None:
        return at
    require_time("happened_at", happened_at, reel, at)
    return happened_at


def require_free_since(reel: Reel, machine: Machine | None, when: datetime) -> None:
    """From then on the reel was in no machine, the machine held no reel, and the reel was neither counted nor sent.

    Raises OutOfOrder: a reel is counted off the machine, and is in one place at a time.
    """
    if move := Move.objects.filter(Q(ended_at__gt=when) | Q(ended_at__isnull=True), reel=reel).last():
        sent = f"the reel was sent to {move.to_site} at {_clock(reel, move.sent_at)}"
        raise OutOfOrder(seen=_clock(reel, when), why=sent + _until(reel, move))
    later = Q(removed_at__isnull=True) | Q(removed_at__gt=when)
    rows = Installation.objects.select_related("reel", "machine").filter(later)
    other = (
        rows.filter(Q(reel=reel) | Q(machine=machine) if machine else Q(reel=reel)).order_by("-installed_at").first()
    )
    if other:
        until = f"until {_clock(reel, other.removed_at)}" if other.removed_at else "and is there still"
        raise OutOfOrder(
            seen=_clock(reel, when),
            why=f"reel {other.reel.serial} was in machine {other.machine.serial} from "
            f"{_clock(reel, other.installed_at)} {until}",
        )
    count = Inspection.objects.filter(HOLDS, reel=reel, done_at__gt=when).order_by("-done_at").first()
    if count:
        why = f"the reel was counted off the machine at {_clock(reel, count.done_at)}, inspection {count.pk}"
        raise OutOfOrder(seen=_clock(reel, when), why=why)


def require_at_hand(reel: Reel, when: datetime) -> None:
    """Raises ReelInTransit where the reel was on its way then."""
    ends = Move.objects.select_related("from_site", "to_site").filter(reel=reel, sent_at__lte=when)
    move = ends.filter(Q(ended_at__isnull=True) | Q(ended_at__gt=when)).first()
    if move is None:
        return
    todo = "Nothing was done to it meanwhile." if move.ended_at else "Receive it there, or call it back, first."
    raise ReelInTransit(serial=reel.serial, from_site=move.from_site, to_site=move.to_site,
                        on=_clock(reel, move.sent_at), then=_until(reel, move), todo=todo)  # fmt: skip


def _until(reel: Reel, move: Move) -> str:
    return f", and was on its way until {_clock(reel, move.ended_at)}" if move.ended_at else ""


def require_removable(installation: Installation, when: datetime) -> None:
    """The reel was in the machine by then, and nothing was confirmed there since. Raises OutOfOrder."""
    reel = installation.reel
    if when < installation.installed_at:
        why = f"it was installed in machine {installation.machine.serial} at {_clock(reel, installation.installed_at)}"
        raise OutOfOrder(seen=_clock(reel, when), why=why)
    since = SetupValues.objects.filter(reel=reel, machine=installation.machine, confirmed_at__gt=when).first()
    if since and since.confirmed_at:
        why = f"setup values {since.pk} were confirmed in the machine at {_clock(reel, since.confirmed_at)}"
        raise OutOfOrder(seen=_clock(reel, when), why=why)


def require_held_by(reel: Reel, hold: Hold, when: datetime) -> None:
    """The reel was held by then. Raises OutOfOrder."""
    if when < hold.placed_at:
        raise OutOfOrder(seen=_clock(reel, when), why=f"the reel is held since {_clock(reel, hold.placed_at)}")


def done_since(reel: Reel, when: datetime) -> list[str]:
    """The reel's counts, issues and installations since something happened, in words, oldest first. Three queries."""
    counts = Inspection.objects.filter(HOLDS, reel=reel, done_at__gt=when)
    values = SetupValues.objects.select_related("machine").filter(reel=reel, issued_at__gt=when)
    installed = Installation.objects.select_related("machine").filter(reel=reel, installed_at__gt=when)
    done = [
        *((row.done_at, f"inspection {row.pk} was counted") for row in counts),
        *((row.issued_at, f"setup values {row.pk} were issued for {row.machine.serial}") for row in values),
        *((row.installed_at, f"it was installed in {row.machine.serial}") for row in installed),
    ]
    return [f"{words} on {reel.site.day_of(moment)}" for moment, words in sorted(done)]


def _clock(reel: Reel, moment: datetime) -> str:
    """As people there say it: the day and the time, with the zone of their clocks."""
    return f"{moment.astimezone(reel.site.zone):%Y-%m-%d %H:%M %Z}"
