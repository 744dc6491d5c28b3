"""The functional check, and what a machine shows after first use and at removal. What failed holds reel and machine."""

from datetime import datetime
from typing import Any

from django.db import transaction

from inspections import access
from inspections.domain.act_fields import CHECKS, FIRST_USE
from inspections.domain.machine_reading import Compared, MachineShows, compared
from inspections.domain.words import Act
from inspections.errors import StepMissing
from inspections.models import MachineCheck, SetupValues
from inspections.services.setup import hold_machine, hold_reel, in_force_for_update
from reels.domain.winding import drum_from
from reels.domain.words import counted
from reels.errors import OffTheDrum, ValueNotTaken
from reels.services.history import Actor, ActRecorder, record_act

NOTHING_SHOWN = MachineShows()
SHOWN = ("layers", "wraps", "length_m", "length_out_m")


def shown_in(values: dict[str, Any]) -> MachineShows:
    """Take what the machine shows out of the values of an act."""
    taken = {name: values.pop(name) for name in SHOWN}
    return MachineShows(**{name: value for name, value in taken.items() if value is not None})


@transaction.atomic
def record_check(*, setup_id: int, kind: str, passed: bool, remark: str, actor: Actor, at: datetime,
                 shown: MachineShows = NOTHING_SHOWN) -> MachineCheck:  # fmt: skip
    """The functional check after installation, or what the machine showed after first use: numbers, unless it failed.

    One that failed, or that shows something too far from what is expected, holds the reel and the machine, and the
    values end: nobody is to reel by numbers that the machine did not bear out.
    Raises OnlyInPerson, NotInForce, StepMissing, ValueNotTaken or NotAuthorised.
    """
    access.in_person(actor)
    values = in_force_for_update(setup_id, actor, at)
    access.any_authorisation_for(actor.person, (Act.SET, Act.CONFIRM, Act.MAINTAIN), values.reel, at)
    if values.confirmed_at is None:
        raise StepMissing(missing="a second person confirms what the machine shows")
    if not passed and not remark.strip():
        raise ValueNotTaken(field="remark", seen="nothing", allowed="what the machine did, where a check failed")
    if kind == FIRST_USE and passed and not shown.is_read:
        raise ValueNotTaken(
            field="layers", seen="nothing", allowed="what the machine shows: layers and wraps, or a length"
        )
    with record_act(values.reel.chain, "machine_checked", actor, at, setup_values=values.pk) as act:
        return add_check(act, values, kind, shown, passed=passed, remark=remark)


def add_check(act: ActRecorder, values: SetupValues, kind: str, shown: MachineShows, *, passed: bool = True,
              remark: str = "") -> MachineCheck:  # fmt: skip
    """Within another act: write down a check of the machine that holds confirmed values; a failure holds both."""
    about, why = {}, remark
    if shown.is_read or shown.length_out_m:
        reading = _compared(values, shown)
        is_within = reading.is_within(float(values.reel.type.reading_limit_wraps))
        about, why = _as_kept(shown, reading), why or _in_words(shown, reading)
        passed = passed and is_within
    check = act.add(
        MachineCheck(setup_values=values, kind=kind, passed=passed, remark=remark, done_by=act.actor.person,
                     done_at=act.at, **about)
    )  # fmt: skip
    if not passed:
        reason = f"the {dict(CHECKS)[kind]} failed: {why}"
        hold_machine(act, values.machine, values.reel, f"{reason} (reel {values.reel.serial})")
        hold_reel(act, values.reel, reason)
    return check


def _compared(values: SetupValues, shown: MachineShows) -> Compared:
    """Raises ValueNotTaken for what is no reading, or for more cable out than there is."""
    both = (shown.layers is None) == (shown.wraps is None)
    if not both or (shown.layers is None) == (shown.length_m is None):
        allowed = "layers and wraps together, or the length on the drum, and not both"
        seen = {"layers": shown.layers, "wraps": shown.wraps, "length_m": shown.length_m}
        given_values = ", ".join(f"{name} {value}" for name, value in seen.items() if value is not None)
        raise ValueNotTaken(field="layers", seen=given_values or "nothing", allowed=allowed)
    drum = drum_from(vars(values.reel.type))
    stowed = compared(MachineShows(layers=values.layers, wraps=values.wraps), values.layers, values.wraps, drum)
    try:
        return compared(shown, values.layers, values.wraps, drum)
    except OffTheDrum as refused:
        allowed = f"at most {stowed.length_m:.1f} m, which the setup values stand for"
        raise ValueNotTaken(field="length_out_m", seen=shown.length_out_m, allowed=allowed) from refused


def _as_kept(shown: MachineShows, reading: Compared) -> dict[str, Any]:
    more = reading.more_turns
    return {
        **{name: getattr(shown, name) for name in SHOWN}, "expected_layers": reading.layers,
        "expected_wraps": round(reading.wraps, 3), "expected_length_m": round(reading.length_m, 3),
        "more_turns": None if more is None else round(more, 3) + 0.0,  # never -0.0, which is kept as 0
    }  # fmt: skip


def _in_words(shown: MachineShows, reading: Compared) -> str:
    """What was seen beside what was expected."""
    out = f" with {shown.length_out_m} m out" if shown.length_out_m else ", stowed"
    if shown.length_m is not None:
        return f"it shows {shown.length_m} m on the drum{out}; expected are {reading.length_m:.1f} m"
    seen = f"{counted(shown.layers or 0, 'layer')}, {counted(shown.wraps or 0, 'wrap')}"
    return f"it shows {seen}{out}; expected are {counted(reading.layers, 'layer')}, {reading.wraps:.1f} wraps"
