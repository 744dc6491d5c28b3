"""What happened to a reel beside a cut or another cable: it was re-spooled, used, or met with an incident.

Who may record it, and what becomes of setup values, is in `inspections.services.maintenance`.
"""

from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from reels import queries
from reels.domain.act_fields import FieldKind, act_field
from reels.domain.words import CountEffect, IncidentKind, ReelEventKind
from reels.errors import ValueNotTaken
from reels.models import Reel, ReelEvent
from reels.services.history import ActRecorder
from reels.services.reels import require_in_service, require_time


@dataclass(frozen=True, slots=True, kw_only=True)
class ReelEventFacts:
    """What is said of an event. ends_count: where the type asks; None counts as yes. Length in metres."""

    kind: str = act_field(
        FieldKind.WORD, label="What happened", missing="Say what happened.",
        words=tuple((each.value, each.spoken) for each in ReelEventKind.happenings()),
    )  # fmt: skip
    happened_at: datetime = act_field(FieldKind.MOMENT, label="Date and time, in the site's time zone")
    incident: str | None = act_field(
        FieldKind.WORD, label="Which incident", default=None, help="Of an incident, and of nothing else.",
        words=tuple((each.value, each.value) for each in IncidentKind),
    )  # fmt: skip
    uses: int | None = act_field(
        FieldKind.WHOLE, label="Uses", hint="Of a use; empty: one.", help="Of `used`; null: 1.", default=None
    )
    hours: Decimal | None = act_field(FieldKind.LENGTH, label="Hours of use", help="Of `used`.", default=None)
    length_out_m: Decimal | None = act_field(
        FieldKind.LENGTH, label="Greatest length out", help="Of `used` and `incident`.", default=None
    )
    ends_count: bool | None = act_field(
        FieldKind.YES_NO, label="The count from before no longer holds", hint="Not known: yes, where the type asks.",
        help="Where the type asks it of a use or an incident; null, not known, counts as yes there.", default=None,
    )  # fmt: skip
    document: str = act_field(FieldKind.TEXT, label="Work order or document", most=120, default="")
    words: str = act_field(FieldKind.REMARK, label="In words", hint="Needed of an incident.", default="")


def add_reel_event(act: ActRecorder, reel: Reel, facts: ReelEventFacts) -> ReelEvent:
    """Write down what happened to a reel. Raises ReelRetired, OutOfTime or ValueNotTaken."""
    require_in_service(reel)
    require_time("happened_at", facts.happened_at, reel, act.at)
    kind = ReelEventKind(facts.kind)
    _check(reel, kind, facts)
    return act.add(
        ReelEvent(reel=reel, kind=kind, incident=facts.incident or "", hours=facts.hours,
                  uses=(facts.uses or 1) if kind is ReelEventKind.USED else None, length_out_m=facts.length_out_m,
                  ends_count=_ends_count(reel, kind, facts), happened_at=facts.happened_at, recorded_at=act.at,
                  recorded_by=act.actor.person, document=facts.document, words=facts.words)
    )  # fmt: skip


def _ends_count(reel: Reel, kind: ReelEventKind, facts: ReelEventFacts) -> bool:
    effect = {
        ReelEventKind.RESPOOLED: CountEffect.ENDS,
        ReelEventKind.USED: CountEffect(reel.type.after_use),
        ReelEventKind.INCIDENT: CountEffect(reel.type.after_incident),
    }[kind]
    if effect is CountEffect.ASKS:
        return facts.ends_count is not False  # what nobody knows is not relied on
    return effect is CountEffect.ENDS or bool(facts.ends_count)


def _check(reel: Reel, kind: ReelEventKind, facts: ReelEventFacts) -> None:
    """What is said fits the kind, and the reel."""
    is_incident = kind is ReelEventKind.INCIDENT
    if is_incident != bool(facts.incident):
        allowed = f"one of {', '.join(IncidentKind)}" if is_incident else "nothing, except of an incident"
        raise ValueNotTaken(field="incident", seen=facts.incident or "nothing", allowed=allowed)
    if is_incident and not facts.words.strip():
        raise ValueNotTaken(field="words", seen="nothing", allowed="what happened, of an incident")
    _check_numbers(reel, kind, facts)


def _check_numbers(reel: Reel, kind: ReelEventKind, facts: ReelEventFacts) -> None:
    is_incident, is_use = kind is ReelEventKind.INCIDENT, kind is ReelEventKind.USED
    if facts.uses == 0:
        raise ValueNotTaken(field="uses", seen=0, allowed="at least 1, of a use")
    for name, may_have in (("uses", is_use), ("hours", is_use), ("length_out_m", is_use or is_incident)):
        if (seen := getattr(facts, name)) is not None and not may_have:
            raise ValueNotTaken(field=name, seen=seen, allowed=f"nothing, where a reel was {kind.spoken}")
        if seen is not None and seen < 0:
            raise ValueNotTaken(field=name, seen=seen, allowed="0 or more")
    most = queries.cable_length_at(reel, facts.happened_at)
    if most is not None and (facts.length_out_m or 0) > most:
        allowed = f"at most {most} m, the cable by the log"
        raise ValueNotTaken(field="length_out_m", seen=facts.length_out_m, allowed=allowed)
