"""Who may do what with inspections and setup values: authorisations, as of the moment of the act."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Exists, OuterRef, Q, QuerySet

from inspections.domain.words import Act
from inspections.errors import NotAnInstructor, NotAuthorised
from inspections.models import (
    Authorisation,
    DriftFlag,
    Exercise,
    Finding,
    FindingKind,
    FindingNumber,
    Inspection,
    ReadinessAsked,
    SafetyNotice,
    SetupValues,
)
from reels import access as reel_access
from reels.errors import OnlyInPerson
from reels.models import MachineHold, Person, Posting, Reel, Site
from reels.services.history import Actor

MAY_END_HOLDS = (Act.RELEASE, Act.MAINTAIN)
ANSWERING = (Act.VERIFY, Act.RELEASE, Act.MAINTAIN)


def authorisations_in_force(person: Person, at: datetime) -> QuerySet[Authorisation]:
    """The person's authorisations at that moment, none for a login that is closed or not settled."""
    return Authorisation.objects.filter(
        Q(valid_until__isnull=True) | Q(valid_until__gt=at),
        reel_access.settled("person__"),
        person=person,
        valid_from__lte=at,
        ended_at__isnull=True,
    )


def authorisation_for(person: Person, act: Act, reel: Reel, at: datetime) -> Authorisation:
    """The authorisation by which the person may do this to this reel now.

    Raises NotAuthorised, or PasswordNotOwn or NotEnrolled for a login that is not settled.
    """
    authorisation = (
        authorisations_in_force(person, at)
        .filter(Q(reel_type__isnull=True) | Q(reel_type=reel.type_id), Q(site__isnull=True) | Q(site=reel.site_id))
        .filter(act=act)
        .order_by("id")
        .first()
    )
    if authorisation is None:
        reel_access.require_settled(person)
        raise NotAuthorised(
            name=person.full_name,
            act=act.verb,
            reel_type=reel.type.code,
            site=reel.site.name,
            on=reel.site.day_of(at),
        )
    return authorisation


def any_authorisation_for(person: Person, acts: tuple[Act, ...], reel: Reel, at: datetime) -> Authorisation:
    """The authorisation by one of several acts, the first that is held. Raises NotAuthorised for the first act."""
    # The first act last, so that it is the one that a refusal names.
    for act in acts[1:]:
        try:
            return authorisation_for(person, act, reel, at)
        except NotAuthorised:
            continue
    return authorisation_for(person, acts[0], reel, at)


def may_end_machine_hold(person: Person, hold: MachineHold, at: datetime) -> Authorisation:
    """For the type of the reel that the machine was held with, at the machine's site. Raises NotAuthorised."""
    return any_authorisation_for(person, MAY_END_HOLDS, Reel(type=hold.reel.type, site=hold.machine.site), at)


def maintains_anything(person: Person, at: datetime) -> bool:
    """Whether the person may maintain reels of any type at any site. One query."""
    return authorisations_in_force(person, at).filter(act=Act.MAINTAIN).exists()


def may_for_all(person: Person, notice: SafetyNotice, at: datetime, *acts: Act) -> bool:
    """Whether an authorisation by one of these acts reaches as far as the notice. One query."""
    of_type = Q(reel_type__isnull=True) | Q(reel_type=notice.type_id or 0)
    at_site = Q(site__isnull=True) | Q(site=notice.site_id or 0)
    return authorisations_in_force(person, at).filter(of_type, at_site, act__in=acts).exists()


def require_for_all(person: Person, notice: SafetyNotice, at: datetime, *acts: Act) -> None:
    """Raises NotAuthorised."""
    if not may_for_all(person, notice, at, *acts):
        reel_access.require_settled(person)
        raise NotAuthorised(name=person.full_name, act=acts[0].verb, on=at.date(),
                            reel_type=notice.type or "any", site=notice.site or "any site")  # fmt: skip


def in_person(actor: Actor) -> None:
    """Raises OnlyInPerson for a script or command."""
    if not actor.is_at_the_keys:
        raise OnlyInPerson()


def readable_inspections(person: Person, at: datetime, coming: str = "") -> QuerySet[Inspection]:
    """coming: "reel", to get one of a reel that may be on its way to the person's sites; never for a list."""
    return Inspection.objects.filter(reel_access.at_readable_sites(person, at, "reel__site", coming)).select_related(
        "reel__type", "reel__site", "reel__chain", "machine", "opened_by"
    )


def inspection_for_read(inspection_id: int, person: Person, at: datetime) -> Inspection:
    """The inspection, or NotFound when there is none that the person may see."""
    return reel_access.one(readable_inspections(person, at, "reel"), "inspection", pk=inspection_id)


def inspection_for_update(inspection_id: int, person: Person, at: datetime) -> Inspection:
    """The inspection with its reel locked, read after the lock was had."""
    reel_access.lock_of_reel(inspections=inspection_id)
    return inspection_for_read(inspection_id, person, at)


def readable_setup_values(person: Person, at: datetime, coming: str = "") -> QuerySet[SetupValues]:
    """coming: as of inspections."""
    return SetupValues.objects.filter(reel_access.at_readable_sites(person, at, "reel__site", coming)).select_related(
        "reel__type", "reel__site", "reel__chain", "machine", "inspection"
    )


def setup_values_for_read(setup_id: int, person: Person, at: datetime) -> SetupValues:
    """The setup values, or NotFound when there are none that the person may see."""
    return reel_access.one(readable_setup_values(person, at, "reel"), "setup values", pk=setup_id)


def setup_values_for_update(setup_id: int, person: Person, at: datetime) -> SetupValues:
    """The setup values with their reel locked, read after the lock was had."""
    reel_access.lock_of_reel(setup_values=setup_id)
    return setup_values_for_read(setup_id, person, at)


def readable_authorisations(person: Person) -> QuerySet[Authorisation]:
    """The person's own authorisations; everybody's for an administrator."""
    rows = Authorisation.objects.select_related("person", "reel_type", "site", "granted_by", "ended_by")
    return rows if person.is_staff else rows.filter(person=person)


def authorisations_not_ended(at: datetime) -> QuerySet[Authorisation]:
    """Everybody's that were not ended and are not over; what is to come is among them. For administrators."""
    return Authorisation.objects.filter(Q(valid_until__isnull=True) | Q(valid_until__gt=at), ended_at__isnull=True)


def authorisation_to_end(authorisation_id: int, administrator: Person) -> Authorisation:
    """Anybody's, ended ones too. Raises OnlyAdministrators or NotFound."""
    reel_access.only_administrators(administrator)
    rows = Authorisation.objects.select_related("person", "reel_type", "site")
    return reel_access.one(rows, "authorisation", pk=authorisation_id)


def _of_readable_reel(person: Person, at: datetime) -> Exists:
    """That a row's reel may be seen: not by a join, for from a site's reels SQLite would go to all rows."""
    return Exists(reel_access.readable_reels(person, at).filter(pk=OuterRef("reel")))


def readable_flags(person: Person, at: datetime) -> QuerySet[DriftFlag]:
    return DriftFlag.objects.filter(_of_readable_reel(person, at)).select_related(
        "reel__type", "reel__site", "reel__chain", "assigned_to", "raised_by", "looked_into_by", "closed_by"
    )


def flag_for_update(flag_id: int, person: Person, at: datetime) -> DriftFlag:
    """The flag with its reel locked, read after the lock was had; NotFound when the person may not see it."""
    reel_access.lock_of_reel(drift_flags=flag_id)
    return reel_access.one(readable_flags(person, at), "flag", pk=flag_id)


def require_looks_into(flag: DriftFlag, person: Person, at: datetime) -> None:
    """Whoever the flag is assigned to looks into it, and whoever maintains the reel. Raises NotAuthorised."""
    if flag.assigned_to_id != person.pk:
        authorisation_for(person, Act.MAINTAIN, flag.reel, at)


def readable_findings(person: Person, at: datetime) -> QuerySet[Finding]:
    """The findings on the reels that the person may see; whether they may see where one lies: queries/findings.py."""
    return Finding.objects.filter(_of_readable_reel(person, at)).select_related(
        "reel__type", "reel__site", "reel__chain", "inspection", "recorded_by", "lowered_by", "closed_by"
    )


def finding_numbers(person: Person, at: datetime) -> QuerySet[FindingNumber]:
    """Of the reels that the person may see, by their sites."""
    return FindingNumber.objects.filter(reel_access.at_readable_sites(person, at))


def finding_for_read(finding_id: int, person: Person, at: datetime) -> Finding:
    """The finding, or NotFound when there is none that the person may see."""
    return reel_access.one(readable_findings(person, at), "finding", pk=finding_id)


def finding_for_update(finding_id: int, person: Person, at: datetime) -> Finding:
    """The finding with its reel locked, read after the lock was had."""
    reel_access.lock_of_reel(findings=finding_id)
    return finding_for_read(finding_id, person, at)


def releasing(person: Person, at: datetime) -> Callable[[Finding], bool]:
    """Whether the person may decide on a finding, for many of them. One query."""
    held = held_acts(person, at)
    return lambda row: Act.RELEASE in held.on(row.reel.type_id, row.reel.site_id)


def finding_kinds() -> QuerySet[FindingKind]:
    """What the reels of each type are looked over for; open to everybody who is logged in."""
    return FindingKind.objects.select_related("reel_type")


def finding_kind(kind_id: int) -> FindingKind:
    """One of them. Raises NotFound."""
    return reel_access.one(finding_kinds(), "kind of finding", pk=kind_id)


def readiness_rules() -> QuerySet[ReadinessAsked]:
    """What sites ask, or have asked, of people's practice; open to everybody who is logged in."""
    return ReadinessAsked.objects.select_related("site")


def readiness_rule(rule_id: int) -> ReadinessAsked:
    """One of them. Raises NotFound."""
    return reel_access.one(readiness_rules(), "readiness rule", pk=rule_id)


def acts_held(person: Person, reel: Reel, at: datetime) -> frozenset[Act]:
    """What the person is authorised to do to this reel now. One query."""
    held = authorisations_in_force(person, at).filter(
        Q(reel_type__isnull=True) | Q(reel_type=reel.type_id), Q(site__isnull=True) | Q(site=reel.site_id)
    )
    return frozenset(Act(act) for act in held.values_list("act", flat=True).distinct())


@dataclass(frozen=True, slots=True)
class HeldActs:
    """What a person is authorised to do anywhere: acts, each with a reel type and a site, None for every one."""

    scopes: tuple[tuple[Act, int | None, int | None], ...]

    def on(self, type_id: int | None, site_id: int | None) -> frozenset[Act]:
        """What they may do to a reel of this type at this site; as `acts_held`, without a query."""
        return frozenset(act for act, reel_type, site in self.scopes
                         if reel_type in (None, type_id) and site in (None, site_id))  # fmt: skip

    def where(self, *acts: Act, reel_type: str = "type", site: str = "site") -> Q:
        """The condition that they may do one of these to a row. reel_type, site: the ways from the row to them."""
        within = Q(pk__in=())
        for act, type_id, site_id in self.scopes:
            if act in acts:
                of_type = Q() if type_id is None else Q(**{reel_type: type_id})
                at_site = Q() if site_id is None else Q(**{site: site_id})
                if not of_type & at_site:
                    return Q()
                within |= of_type & at_site
        return within


def held_acts(person: Person, at: datetime) -> HeldActs:
    """One query, however many reels are then asked about."""
    held = authorisations_in_force(person, at).order_by().values_list("act", "reel_type", "site").distinct()
    return HeldActs(tuple((Act(act), reel_type, site) for act, reel_type, site in held))


def audited_sites(person: Person, at: datetime) -> QuerySet[Site]:
    """The sites at which the person may see figures under people's names: where they verify counts.

    All that an administrator may read. Three queries.
    """
    return _sites_of_acts(person, (Act.VERIFY,), at)


def answered_sites(person: Person, at: datetime) -> QuerySet[Site]:
    """The sites that the person answers for: where they verify counts, release them or say what becomes of reels.

    All that an administrator may read. Three queries.
    """
    return _sites_of_acts(person, ANSWERING, at)


def _sites_of_acts(person: Person, acts: Sequence[Act], at: datetime) -> QuerySet[Site]:
    sites = reel_access.readable_sites(person, at)
    held = authorisations_in_force(person, at).filter(act__in=acts)
    if person.is_staff or held.filter(site__isnull=True).exists():
        return sites
    return sites.filter(pk__in=held.values("site"))


# Practice -----------------------------------------------------------------------------------------------------------


def instructed_sites(person: Person, at: datetime) -> QuerySet[Site]:
    """The sites whose people the person is authorised to instruct, of those that they may see."""
    held = authorisations_in_force(person, at).filter(act=Act.INSTRUCT)
    return reel_access.readable_sites(person, at).filter(
        Q(pk__in=held.values("site")) | Q(Exists(held.filter(site__isnull=True)))
    )


def instructed_people(sites: QuerySet[Site], at: datetime) -> QuerySet[Person]:
    """Everybody who is posted at one of these sites now, by name."""
    posted = Posting.objects.filter(
        Q(valid_until__isnull=True) | Q(valid_until__gt=at),
        Q(site__isnull=True) | Q(site__in=sites),
        valid_from__lte=at,
    )
    return Person.objects.filter(Exists(sites), is_active=True, pk__in=posted.values("person")).order_by("full_name")


def only_instructors(person: Person, at: datetime) -> None:
    """Raises NotAnInstructor for whoever instructs nobody. One query."""
    if not instructed_sites(person, at).exists():
        raise NotAnInstructor(name=person.full_name)


def practising_person(person_id: int, reader: Person, at: datetime) -> Person:
    """Somebody whose practice the reader may see: themselves, or whom they instruct. NotFound for anybody else."""
    seen = Person.objects.filter(
        Q(pk=reader.pk) | Q(pk__in=instructed_people(instructed_sites(reader, at), at).values("pk"))
    )
    return reel_access.one(seen, "person", pk=person_id)


def exercise_for_read(exercise_id: int, person: Person, at: datetime) -> Exercise:
    """A practice reel of the person's own, or an ended one of whom they instruct. NotFound for any other."""
    instructed = instructed_people(instructed_sites(person, at), at).values("pk")
    seen = Exercise.objects.filter(Q(person=person) | Q(person__in=instructed, ended_at__isnull=False))
    return reel_access.one(seen.select_related("reel_type", "person"), "practice reel", pk=exercise_id)


def exercise_for_update(exercise_id: int, person: Person) -> Exercise:
    """A practice reel of the person's own, locked."""
    own = Exercise.objects.select_for_update(of=("self",)).select_related("reel_type").filter(person=person)
    return reel_access.one(own, "practice reel", pk=exercise_id)
