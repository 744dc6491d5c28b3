"""Findings on a reel: recorded by whoever works on it, lowered and closed by an authorised person.

A stop holds the reel in the act that records it, and freezes the count that is under way; the act that closes or lowers
the last one lets the reel go again, if it was a finding that held it.
"""

import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from decimal import Decimal
from typing import Any

from django.db import transaction

from inspections import access
from inspections.domain import findings
from inspections.domain.act_fields import FindingFields
from inspections.domain.findings import LOGGED, OTHER, ReelPart, Remedy, Severity
from inspections.domain.words import Act
from inspections.errors import BelowLeastSeverity, FindingClosed, NotAStop, SamePerson, WorkNotLogged
from inspections.models import Finding, FindingKind, FindingPhoto, Inspection
from inspections.queries.counts import live_inspection
from inspections.queries.findings import kind_for, kinds_of, open_stops
from inspections.queries.keyings import may_be_read
from inspections.services import evaluation
from inspections.services.photos import photo_columns
from inspections.services.safety_notices import let_hold_end
from inspections.services.setup import hold_reel, withdraw_values
from reels import access as reel_access
from reels import queries as reel_queries
from reels.domain.words import Side
from reels.errors import ValueNotTaken
from reels.models import CableEvent, Reel, ReelType
from reels.services import register
from reels.services.history import Actor, ActRecorder, record_act
from reels.services.reels import require_in_service

# Whoever works on a reel says what they see: nobody is to be kept from it for want of an authorisation to count.
MAY_RECORD = (Act.COUNT, Act.VERIFY, Act.MAINTAIN, Act.SET, Act.CONFIRM, Act.RELEASE)
MILLIMETRE_M = Decimal("0.001")


@transaction.atomic
def add_kind(*, reel_type: ReelType, part: ReelPart, code: str, words: str, least_severity: Severity, actor: Actor,
             at: datetime) -> FindingKind:  # fmt: skip
    """A kind of finding that a type's reels are looked over for. Raises OnlyAdministrators or ValueNotTaken."""
    kind = FindingKind(reel_type=reel_type, part=part, code=code, words=words, least_severity=least_severity)
    return register.add(kind, "finding_kind_added", actor, at)


@transaction.atomic
def record_finding(*, serial: str, facts: FindingFields, actor: Actor, at: datetime,
                   photo: bytes | None = None) -> Finding:  # fmt: skip
    """Record what is not sound about a reel, at the count that is under way if one is. A stop holds the reel.

    Raises ValueNotTaken, BelowLeastSeverity, PhotoNotTaken, ReelRetired or NotAuthorised.
    """
    reel = reel_access.reel_for_update(serial, actor.person, at)
    access.any_authorisation_for(actor.person, MAY_RECORD, reel, at)
    require_in_service(reel)
    kind = _kind(reel.type, facts)
    _check_place(reel.type, facts)
    count = live_inspection(reel)
    about = {"part": facts.part, "kind": kind.code, "severity": facts.severity}
    with _on_reel(reel, count, "finding_recorded", actor, at, **about) as act:
        finding = _finding(act, reel, count, facts, kind)
        if facts.severity == Severity.STOP and reel_queries.hold_on(reel) is None:
            finding.hold = hold_reel(act, reel, f"a stop finding: {finding.named}")
        act.add(finding)
        if photo is not None:
            act.add(FindingPhoto(finding=finding, **photo_columns(photo)))
        if count is None or not may_be_read(count):
            evaluation.tell_details(act, [finding])
    return finding


@transaction.atomic
def lower_finding(*, finding_id: int, reason: str, actor: Actor, at: datetime) -> Finding:
    """Make a stop a watch; the count that it froze goes on, and the reel is let go if nothing else holds it.

    Raises OnlyInPerson, FindingClosed, NotAStop, SamePerson or NotAuthorised.
    """
    finding, count = _for_decision(finding_id, actor, at)
    if finding.severity != Severity.STOP:
        raise NotAStop(finding=finding.pk)
    with _on_reel(finding.reel, count, "finding_lowered", actor, at, finding=finding.pk, reason=reason) as act:
        act.change(
            finding, severity=Severity.WATCH, lowered_at=at, lowered_by=actor.person, lower_reason=reason
        )  # fmt: skip
        _let_go(act, finding.reel, f"finding {finding.pk} is a watch now: {reason}")
    return finding


@transaction.atomic
def close_finding(*, finding_id: int, remedy: Remedy, reason: str, actor: Actor, at: datetime) -> Finding:
    """Close a finding. By work on the cable, the count under way ends, and none from before holds any more.

    Raises OnlyInPerson, FindingClosed, WorkNotLogged, SamePerson or NotAuthorised.
    """
    finding, count = _for_decision(finding_id, actor, at)
    if remedy in LOGGED:
        _require_logged(finding, remedy)
    about = {"finding": finding.pk, "remedy": remedy.value, "reason": reason}
    with _on_reel(finding.reel, count, "finding_closed", actor, at, **about) as act:
        act.change(finding, closed_at=at, closed_by=actor.person, remedy=remedy, close_reason=reason)
        if remedy.ends_counts:
            why = f"finding {finding.pk} was closed: {remedy.spoken}"
            withdraw_values(act, finding.reel, why)
            if count:
                evaluation.cancel(act, count, f"{why[0].upper()}{why[1:]}. {reason}")
        _let_go(act, finding.reel, f"finding {finding.pk} is closed: {reason}")
    return finding


# Smaller steps -------------------------------------------------------------------------------------------------------


@contextmanager
def _on_reel(
    reel: Reel, count: Inspection | None, act_name: str, actor: Actor, at: datetime, **facts: Any
) -> Iterator[ActRecorder]:
    """An act about a reel that is locked, at the count that is under way, if one is."""
    if count is None:
        with record_act(reel.chain, act_name, actor, at, **facts) as act:
            yield act
    else:
        count.reel = reel  # with its chain as it was locked
        with evaluation.on_inspection(count, act_name, actor, at, **facts) as act:
            yield act


def _for_decision(finding_id: int, actor: Actor, at: datetime) -> tuple[Finding, Inspection | None]:
    """An open finding, for whoever decides on it, and the count that is under way."""
    access.in_person(actor)
    finding = access.finding_for_update(finding_id, actor.person, at)
    access.authorisation_for(actor.person, Act.RELEASE, finding.reel, at)
    if finding.closed_at:
        raise FindingClosed(
            finding=finding.pk, on=finding.reel.site.day_of(finding.closed_at), remedy=Remedy(finding.remedy).spoken
        )
    count = live_inspection(finding.reel)
    if finding.recorded_by_id == actor.person.pk:
        raise SamePerson(name=actor.person.full_name, done="recorded this finding")
    if count and count.participants.filter(person=actor.person).exists():
        raise SamePerson(name=actor.person.full_name, done="taken part in the count that is under way")
    return finding, count


def _kind(reel_type: ReelType, facts: FindingFields) -> FindingKind:
    kind = kind_for(reel_type, facts.part, facts.kind)
    if kind is None:
        listed = [each.code for each in kinds_of(reel_type) if each.part == facts.part]
        raise ValueNotTaken(
            field="kind",
            seen=facts.kind,
            allowed=f"of the {ReelPart(facts.part).spoken}: {', '.join([*listed, OTHER])}",
        )
    if Severity(facts.severity).is_below(Severity(kind.least_severity)):
        raise BelowLeastSeverity(kind=kind.words, least=kind.least_severity, seen=facts.severity)
    return kind


def _check_place(reel_type: ReelType, facts: FindingFields) -> None:
    """As far as a place was given, the type's drum has it."""
    most = {"layer": reel_type.max_layers, "visible_wrap": max(reel_type.wraps_odd_layer, reel_type.wraps_even_layer)}
    for field, last in most.items():
        seen = getattr(facts, field)
        if seen is not None and not 1 <= seen <= last:
            raise ValueNotTaken(field=field, seen=seen, allowed=f"1 to {last}, or nothing")
    if facts.visible_wrap is not None and facts.side is None:
        raise ValueNotTaken(field="side", seen="nothing", allowed="left or right, from which the wrap is counted")


def _finding(
    act: ActRecorder, reel: Reel, count: Inspection | None, facts: FindingFields, kind: FindingKind
) -> Finding:
    length_m = facts.length_from_end_m
    finding = Finding(
        reel=reel, inspection=count, part=facts.part, kind=kind.code, kind_words=kind.words, severity=facts.severity,
        layer=facts.layer, side=Side(facts.side) if facts.side else "", visible_wrap=facts.visible_wrap,
        length_from_end_m=None if length_m is None else length_m.quantize(MILLIMETRE_M),
        words=facts.words, salt=secrets.token_hex(16), recorded_at=act.at, recorded_by=act.actor.person,
    )  # fmt: skip
    finding.commitment = findings.commitment(findings.details_of(finding), finding.salt)
    return finding


def _require_logged(finding: Finding, remedy: Remedy) -> None:
    """What was done to the cable is in its events; else the finding's closing would hide a cut from whoever looks."""
    events = reel_queries.standing_cable_events(finding.reel)
    if not events.filter(kind=remedy.value, recorded_at__gte=finding.recorded_at).exists():
        raise WorkNotLogged(work=CableEvent.Kind(remedy.value).label, finding=finding.pk)


def _let_go(act: ActRecorder, reel: Reel, reason: str) -> None:
    """End the hold that findings placed, once none of them is an open stop; another person's hold stays."""
    hold = reel_queries.hold_on(reel)
    if hold and hold.findings.exists() and not open_stops(reel).exists():
        let_hold_end(act, hold, reel, reason)
