"""Every signature, and around each what may make somebody ask. As many queries for one as for thousands."""

from collections import Counter
from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any

from django.db.models import Count, Exists, F, OuterRef, Q, QuerySet, Subquery
from django.db.models.functions import Coalesce, Least

from inspections import access
from inspections.domain.words import Act, Meaning
from inspections.models import AcceptedOutlier, Authorisation, ReadBack, SignOff, Void
from reels.access import readable_sites
from reels.models import Person
from reels.queries import matching

SIGNING = (Act.COUNT, Act.VERIFY)
NEWEST = 2000  # inspections; people who nearly always sign together do so in the newest of these


def signatures(person: Person, at: datetime) -> QuerySet[Any]:
    """The signatures of the inspections that the person may see, the newest first.

    Each with `other_at` and `other_id` (the inspection's other signature), `refused` (how many read-backs from it were
    refused), `void_why`, `outlier_why` and `ends_at` (when the authorisation it was made under ended or ends).
    """
    here = OuterRef("inspection")
    other = SignOff.objects.filter(inspection=here).exclude(pk=OuterRef("pk"))
    refused = ReadBack.objects.filter(setup_values__inspection=here, matches=False).order_by()
    surprise = AcceptedOutlier.objects.filter(reading__inspection=here).order_by("-pk")
    return (
        # Not by a join: from the sites' reels SQLite would go to all of their signatures, and sort them for each page.
        SignOff.objects.filter(Exists(access.readable_inspections(person, at).filter(pk=here)))
        .select_related("inspection__reel__site", "person", "authorisation")
        .defer("statement")
        .annotate(
            other_at=Subquery(other.values("signed_at")[:1]),
            other_id=Subquery(other.values("person")[:1]),
            refused=Coalesce(
                Subquery(refused.values("setup_values__inspection").annotate(n=Count("pk")).values("n")[:1]), 0
            ),
            void_why=Subquery(Void.objects.filter(inspection=here).values("reason")[:1]),
            outlier_why=Subquery(surprise.values("reason")[:1]),
            ends_at=Coalesce(
                Least("authorisation__valid_until", "authorisation__ended_at"),
                "authorisation__valid_until",
                "authorisation__ended_at",
            ),
        )
        .order_by("-signed_at", "-id")
    )


def signatures_matching(rows: QuerySet[Any], filters: Mapping[str, Any]) -> QuerySet[Any]:
    """Those of a person, site or reel (any part of its serial number), signed from one day to another (UTC)."""
    return matching(
        rows, filters, person="person__username", site="inspection__reel__site__code",
        reel="inspection__reel__serial__icontains", since="signed_at__date__gte", until="signed_at__date__lte",
    )  # fmt: skip


def within(column: str, time: timedelta) -> Q:
    """Whose moment in a column lies no further from the signature than that, before or after."""
    return Q(**{f"{column}__gte": F("signed_at") - time, f"{column}__lte": F("signed_at") + time})


def not_after(column: str, time: timedelta) -> Q:
    """Whose moment in a column comes no later than that after the signature."""
    return Q(**{f"{column}__lte": F("signed_at") + time})


def signed_together(person: Person, at: datetime) -> dict[tuple[int, int], int]:
    """How many inspections each technician and verifier signed together, by their ids, of the newest. One query.

    Of the newest NEWEST that were signed, so that it costs no more after many years.
    """
    here = OuterRef("inspection")
    verified = SignOff.objects.filter(inspection=here, meaning=Meaning.VERIFIED).values("person")[:1]
    rows = SignOff.objects.filter(
        Exists(access.readable_inspections(person, at).filter(pk=here)), meaning=Meaning.COUNTED
    ).order_by("-signed_at", "-id")
    pairs = rows.annotate(verifier=Subquery(verified)).values_list("person", "verifier")[:NEWEST]
    return Counter(pair for pair in pairs if pair[1] is not None)


def signers(person: Person, at: datetime) -> list[tuple[str, str]]:
    """Who signed anything and may or might count or verify at the person's sites: user name and full name. One query.

    By their authorisations, which are few, and not by all signatures.
    """
    held = Authorisation.objects.filter(
        Q(site__isnull=True) | Q(site__in=readable_sites(person, at)), person=OuterRef("pk"), act__in=SIGNING
    )
    signed = SignOff.objects.filter(person=OuterRef("pk"))
    rows = Person.objects.filter(Exists(held), Exists(signed)).order_by("full_name")
    return list(rows.values_list("username", "full_name"))


def may_audit(person: Person, at: datetime) -> bool:
    """Whether the person verifies counts anywhere or administers, and so sees others' authorisations. One query."""
    return person.is_staff or access.authorisations_in_force(person, at).filter(act=Act.VERIFY).exists()


def authorisations_at(person: Person, at: datetime) -> QuerySet[Authorisation]:
    """The authorisations in force at the person's sites, the first to end first; their own for who audits nothing."""
    rows = Authorisation.objects.filter(
        Q(valid_until__isnull=True) | Q(valid_until__gt=at), ended_at__isnull=True, person__is_active=True
    ).select_related("person", "site", "reel_type")
    if may_audit(person, at):
        sites = readable_sites(person, at)
        elsewhere = Q(site__isnull=True) & ~Exists(sites.filter(postings__person=OuterRef("person")))
        rows = rows.filter(Q(site__isnull=True) | Q(site__in=sites)).exclude(elsewhere)
    else:
        rows = rows.filter(person=person)
    return rows.order_by(F("valid_until").asc(nulls_last=True), "person__full_name", "act", "pk")
