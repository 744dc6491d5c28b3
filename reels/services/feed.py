"""The feed of changes: every history entry has one place in it, and no place is ever filled behind a reader.

Entries get their ids before they are committed, so a reader who goes by ids steps over an entry that is written first
and committed last. Here an entry is numbered after its commit, under a lock that is held until the numbers are
committed themselves:

1. Numbers are given from the highest one on, only by a holder of the lock, so they are committed in their order.
2. Only a committed entry can be numbered, for nobody sees another.

Whoever sees number n therefore sees every number below it, and nothing is ever put there later. The numbers are plain
rows: they outlive a dump and its restoring elsewhere, where the database's own transaction numbers begin anew.
"""

from django.db import transaction
from django.db.models import Max

from reels import access
from reels.models import Chain, FeedPlace

FEED = "feed"  # a chain without entries; its row is the lock


def number_waiting() -> None:
    """Number the entries that were committed and have no number yet. If somebody else is at it, leave it to them."""
    if not FeedPlace.objects.filter(number__isnull=True).exists():
        return
    Chain.objects.get_or_create(name=FEED)
    with transaction.atomic():
        if access.lock_if_free(FEED):
            _number()


def last_number() -> int:
    """The number of the feed's last place; 0 while there is none. One query."""
    return FeedPlace.objects.aggregate(last=Max("number"))["last"] or 0


def _number() -> None:
    waiting = list(FeedPlace.objects.filter(number__isnull=True).order_by("entry_id"))
    for number, place in enumerate(waiting, start=last_number() + 1):
        place.number = number
    FeedPlace.objects.bulk_update(waiting, ["number"], batch_size=500)
