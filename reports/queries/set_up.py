"""What a new service needs before the first count is signed, and how much of it is there."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Exists, OuterRef, Q, QuerySet

from inspections import access
from inspections.domain.words import Act
from inspections.models import ImportedCount
from inspections.queries.status import numbers_by_status
from reels import access as reel_access
from reels.models import Machine, Person, Posting, ReelType, SetUpList, Site, WrapGauge
from reels.queries import publications_in_force

MOST = 1000  # rows of a table that are counted, of what may grow without end


def is_put_away() -> bool:
    """Whether the organisation has put its set-up list away. One query."""
    return SetUpList.objects.filter(put_away_at__isnull=False).exists()


@dataclass(frozen=True, slots=True, kw_only=True)
class SetUpState:
    """How many there are of each thing, as far as MOST; and what is told of more than a number.

    has_second: whether a second administrator was made. ready: people who are enrolled and posted. counters, verifiers:
    the ids of people who may do that somewhere. may_register: whether the reader maintains reels.
    """

    administrators: int
    has_second: bool
    people: int
    ready: int
    sites: int
    types: list[ReelType]
    publications: int
    machines: int
    gauges: int
    counters: frozenset[int]
    verifiers: frozenset[int]
    reels: int
    may_register: bool
    has_older: bool


def set_up_state(person: Person, at: datetime) -> SetUpState:
    """For an administrator. A fixed number of queries, each over no more than MOST rows; reels are sums that are kept.

    Raises OnlyAdministrators.
    """
    people = reel_access.people(person).filter(is_active=True)
    posted = Posting.objects.filter(Q(valid_until=None) | Q(valid_until__gt=at), person=OuterRef("pk"))
    settled = reel_access.settled()
    authorised = access.authorisations_not_ended(at).filter(act__in=[Act.COUNT, Act.VERIFY]).order_by("pk")
    by_act: dict[str, set[int]] = {Act.COUNT: set(), Act.VERIFY: set()}
    for act, person_id in authorised.values_list("act", "person")[:MOST]:
        by_act[act].add(person_id)
    return SetUpState(
        administrators=_number(people.filter(settled, is_staff=True)),
        has_second=people.filter(is_superuser=True).exclude(pk=person.pk).exists(),
        people=_number(people), ready=_number(people.filter(settled, Exists(posted))),
        sites=_number(Site.objects.all()), types=list(reel_access.reel_types()[:MOST]),
        publications=_number(publications_in_force(None, at)),
        machines=_number(Machine.objects.all()), gauges=_number(WrapGauge.objects.all()),
        counters=frozenset(by_act[Act.COUNT]), verifiers=frozenset(by_act[Act.VERIFY]),
        reels=sum(numbers_by_status(Q()).values()), may_register=access.maintains_anything(person, at),
        has_older=ImportedCount.objects.exists(),
    )  # fmt: skip


def _number(rows: QuerySet[Any]) -> int:
    return rows.order_by().values("pk")[:MOST].count()
