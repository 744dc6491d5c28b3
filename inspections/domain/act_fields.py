"""What the acts on counts, reels, setup values and flags ask for, where their service takes the values one by one."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from inspections.domain.drift import Ending
from inspections.domain.findings import ReelPart, Remedy, Severity
from inspections.domain.practice import Difficulty
from inspections.domain.practice.words import DIFFICULTY_NAMES
from inspections.domain.third_reading import ASKED_AT
from inspections.domain.words import Act, Decision, Meaning, Point
from reels.domain.act_fields import FieldKind, ReasonFields, act_field, answers_field
from reels.domain.words import Side

AS_SHOWN = "As the machine shows it."
FUNCTIONAL, FIRST_USE, REMOVAL = "functional", "first_use", "removal"
CHECKS = ((FUNCTIONAL, "functional check"), (FIRST_USE, "reading after first use"), (REMOVAL, "reading at removal"))
ENDINGS = (
    (Ending.LATE_LOGGED_CUT.value, "a cut, logged late"), (Ending.MISCOUNT.value, "a miscount"),
    (Ending.CONFIRMED_LOSS.value, "a confirmed loss"), (Ending.UNEXPLAINED.value, "unexplained"),
)  # fmt: skip
PARTS = tuple((part.value, part.spoken) for part in ReelPart)


@dataclass(frozen=True, slots=True, kw_only=True)
class HelpFields:
    remark: str = act_field(FieldKind.REMARK, label="What is unclear?", missing="Say what you need help with.")


@dataclass(frozen=True, slots=True, kw_only=True)
class ThirdReadingFields:
    point: str = act_field(
        FieldKind.WORD, label="Point", words=tuple((each.value, each.value) for each in Point if each in ASKED_AT)
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class GaugeReturnFields:
    wrap_gauge: str = act_field(
        FieldKind.TEXT, label="Serial of the wrap gauge", hint="Read it off the gauge, in its place in the machine.",
        most=40, missing="Read the serial off the gauge and key it.", help="As it stands on the gauge.",
    )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class GaugeTakingFields:
    wrap_gauge: str = act_field(
        FieldKind.TEXT, label="Serial of the wrap gauge", hint="Read it off the gauge in your hand.", most=40,
        missing="Read the serial off the gauge and key it.", help="As it stands on the gauge.",
    )  # fmt: skip
    end_marks_match: bool = act_field(
        FieldKind.YES_NO, label="Its end marks match the mounting of its machine",
        missing="Match the end marks of the gauge to the mounting of its machine.",
    )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class FindingFields:
    """What is said of a finding; where it lies, as far as it can be said."""

    part: str = act_field(FieldKind.WORD, label="Part of the reel", missing="Say which part it is.", words=PARTS)
    kind: str = act_field(
        FieldKind.CODE, label="What it is", missing="Choose what it is.",
        help="A kind that the reel's type lists for the part, or `other`.",
    )  # fmt: skip
    severity: str = act_field(
        FieldKind.WORD, label="How bad it is", missing="Say how bad it is.",
        hint="A stop holds the reel; a watch comes up at each next preparation.",
        words=tuple((each.value, each.value) for each in Severity), help="Never below the least of its kind.",
    )  # fmt: skip
    layer: int | None = act_field(FieldKind.WHOLE, label="Layer", help="1 is next to the core.", default=None)
    side: str | None = act_field(
        FieldKind.WORD, label="Side", words=tuple((each.value, each.value) for each in Side),
        help="As installed, looking forward.", default=None,
    )  # fmt: skip
    visible_wrap: int | None = act_field(
        FieldKind.WHOLE, label="Visible wrap", hint="Counted from the flange of that side.",
        help="Counted from the flange of `side`.", default=None,
    )  # fmt: skip
    length_from_end_m: Decimal | None = act_field(
        FieldKind.LENGTH, label="From the outer end", help="Metres along the cable.", default=None
    )
    words: str = act_field(
        FieldKind.REMARK, label="What you see", missing="Say what you see.",
        hint="Not what a scale or the gauge shows: the other person has still to read it.",
    )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class RemedyFields:
    remedy: str = act_field(
        FieldKind.WORD, label="How it was closed", missing="Say how it was closed.",
        words=tuple((each.value, each.spoken) for each in Remedy),
    )  # fmt: skip
    reason: str = act_field(FieldKind.REMARK, label="Reason", missing="Give a reason.")


@dataclass(frozen=True, slots=True, kw_only=True)
class ReleaseFields:
    decision: str = act_field(
        FieldKind.WORD, label="Decision", missing="Choose one.",
        words=(
            (Decision.READ_AGAIN.value, "have it read again"),
            (Decision.ACCEPT_PROPOSED.value, "accept the proposed count"),
        ),
    )  # fmt: skip
    reason: str = act_field(FieldKind.REMARK, label="Reason", missing="Give a reason.")


@dataclass(frozen=True, slots=True, kw_only=True)
class SignOffFields:
    meaning: str = act_field(FieldKind.WORD, words=tuple((each.value, each.value) for each in Meaning))
    password: str = act_field(
        FieldKind.SECRET, label="Your password, again", missing="Type your password.", help="The signer's own, again."
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class ReversalFields:
    remark: str = act_field(FieldKind.REMARK, label="Reason", missing="Give a reason.")


@dataclass(frozen=True, slots=True, kw_only=True)
class NewReelFields:
    serial: str = act_field(
        FieldKind.TEXT, label="Serial, as it stands on the data plate", most=40, missing="Key the serial."
    )
    reel_type: str = act_field(FieldKind.CODE, label="Reel type", missing="Choose the type.")
    site: str = act_field(FieldKind.CODE, label="Site where it is", missing="Choose the site.")
    received_on: date = act_field(FieldKind.DAY, label="Received on", missing="Say when it was received.")
    length_m: Decimal | None = act_field(
        FieldKind.LENGTH, label="Cable it was received with", hint="As its papers say. Empty: not known.", default=None
    )
    part_number: str = act_field(FieldKind.TEXT, label="Part number of the assembly", most=40, default="")
    cable_part_number: str = act_field(FieldKind.TEXT, label="Part number of the cable", most=40, default="")
    cable_serial: str = act_field(FieldKind.TEXT, label="Serial or lot of the cable", most=40, default="")


@dataclass(frozen=True, slots=True, kw_only=True)
class MachineFields:
    machine: str = act_field(FieldKind.SERIAL, label="Machine")


WHEN: Any = {
    "label": "When, if not now", "hint": "In the site's time zone. Empty: now.", "default": None,
    "help": "When it happened, where that is recorded later; null: now.",
}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class HoldFields(ReasonFields):
    happened_at: datetime | None = act_field(FieldKind.MOMENT, **WHEN)


@dataclass(frozen=True, slots=True, kw_only=True)
class InstallationFields(MachineFields):
    happened_at: datetime | None = act_field(FieldKind.MOMENT, **WHEN)
    answers: Sequence[str] = answers_field()


@dataclass(frozen=True, slots=True, kw_only=True)
class MachineReadingFields:
    """What the machine shows: layers and wraps, or a length. It may show nothing."""

    layers: int | None = act_field(
        FieldKind.WHOLE, label="Layers shown by the machine", hint="Or the length below.", help=AS_SHOWN, default=None
    )
    wraps: int | None = act_field(FieldKind.WHOLE, label="Wraps shown by the machine", help=AS_SHOWN, default=None)
    length_m: Decimal | None = act_field(
        FieldKind.LENGTH, label="Cable on the drum, as the machine shows it", default=None,
        help="Metres of cable on the drum, as the machine shows them, where it shows no layers and wraps.",
    )  # fmt: skip
    length_out_m: Decimal | None = act_field(
        FieldKind.LENGTH, label="Cable out while it was read", hint="Empty: stowed.", default=None,
        help="Metres that were out; null: stowed.",
    )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class RemovalFields(MachineReadingFields):
    reason: str = act_field(
        FieldKind.REMARK, label="Reason", missing="Give a reason.", help="Why; it is kept and shown."
    )
    happened_at: datetime | None = act_field(FieldKind.MOMENT, **WHEN)
    cable_went_out: bool | None = act_field(
        FieldKind.YES_NO, label="Did cable go out while it was installed?", hint="Not known counts as used.",
        help="Whether any cable was paid out since it was installed; null, not known, counts as used.", default=None,
    )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class SendingFields:
    site: str = act_field(FieldKind.CODE, label="To site")
    document: str = act_field(FieldKind.TEXT, label="Shipping document or work order", most=120, default="")
    happened_at: datetime | None = act_field(FieldKind.MOMENT, **WHEN)


@dataclass(frozen=True, slots=True, kw_only=True)
class ReceiptFields:
    """What is said of a reel that came. site: None for the one that it was sent to."""

    site: str | None = act_field(
        FieldKind.CODE, label="Received at", default=None, help="Where it came to; null: where it was sent to."
    )
    sound: bool = act_field(
        FieldKind.YES_NO, label="Condition it came in", missing="Say how it was found.",
        help="Whether it came as it should; if not, it is held.",
    )  # fmt: skip
    words: str = act_field(
        FieldKind.REMARK, label="Condition, in words", hint="Needed if it is not sound; it is held then.", default=""
    )
    happened_at: datetime | None = act_field(FieldKind.MOMENT, **WHEN)
    answers: Sequence[str] = answers_field()


@dataclass(frozen=True, slots=True, kw_only=True)
class SafetyNoticeFields(ReasonFields):
    """What a safety notice says, and what it covers: the reels to which all that is named applies."""

    reference: str = act_field(
        FieldKind.TEXT, label="Reference", hint="Your own, by which people name it.", most=60, missing="Give it one.",
        help="The notice's own; no other has it.",
    )  # fmt: skip
    reel_type: str | None = act_field(FieldKind.CODE, label="Reel type", default=None, help="null: any.")
    site: str | None = act_field(FieldKind.CODE, label="Site", default=None, help="null: any.")
    cable_lot: str = act_field(
        FieldKind.TEXT, label="Serial or lot of the cable", hint="Of the cable that is on the reel now.", most=40,
        default="", help="Of the cable that is on a reel now.",
    )  # fmt: skip
    publication: str = act_field(
        FieldKind.TEXT, label="Counted by publication", most=120, default="",
        hint="Last by their latest signed count, or next because their type is counted by it now.",
        help="By which the latest signed count was worked, or reels of its type are counted now.",
    )  # fmt: skip
    publication_revision: str = act_field(
        FieldKind.TEXT, label="In its revision", hint="Empty: any.", most=40, default="", help="null: any."
    )
    answers: Sequence[str] = answers_field()


@dataclass(frozen=True, slots=True, kw_only=True)
class CallBackFields(ReasonFields):
    happened_at: datetime | None = act_field(FieldKind.MOMENT, **WHEN)


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadBackFields:
    layers: int = act_field(FieldKind.WHOLE, label="Layers shown by the machine", help=AS_SHOWN)
    wraps: int = act_field(FieldKind.WHOLE, label="Wraps shown by the machine", help=AS_SHOWN)


@dataclass(frozen=True, slots=True, kw_only=True)
class MachineCheckFields(MachineReadingFields):
    kind: str = act_field(FieldKind.WORD, label="Check", words=CHECKS[:2])
    passed: bool = act_field(
        FieldKind.YES_NO, label="Result",
        help="Of a reading, true where nothing but the numbers decides: those that are too far off fail all the same.",
    )  # fmt: skip
    remark: str = act_field(FieldKind.REMARK, label="Observations", default="")


@dataclass(frozen=True, slots=True, kw_only=True)
class AssigneeFields:
    assigned_to: str = act_field(FieldKind.USERNAME, label="Assigned to")


@dataclass(frozen=True, slots=True, kw_only=True)
class LookedIntoFields:
    finding: str = act_field(FieldKind.REMARK, label="Findings")


@dataclass(frozen=True, slots=True, kw_only=True)
class EndingFields:
    ending: str = act_field(FieldKind.WORD, label="Outcome", words=ENDINGS)
    reason: str = act_field(FieldKind.REMARK, label="Reason")


SEVERITIES = (
    (Severity.WATCH.value, "a watch: it comes up at each next count"),
    (Severity.STOP.value, "a stop: it holds the reel"),
)
ACTS = tuple((act.value, act.verb) for act in Act)
DIFFICULTIES = tuple((each.value, DIFFICULTY_NAMES[each]) for each in Difficulty)


@dataclass(frozen=True, slots=True, kw_only=True)
class FindingKindFields:
    """What the reels of a type are looked over for."""

    reel_type: str = act_field(FieldKind.CODE, label="Reel type", missing="Choose the type.")
    part: str = act_field(FieldKind.WORD, label="Part", words=PARTS, missing="Choose the part.")
    code: str = act_field(
        FieldKind.TEXT, label="Code", most=30, missing="Give it a code.",
        hint="Small letters, digits and hyphens, as in broken-wire; figures and files name it, so it stays as it is.",
    )  # fmt: skip
    words: str = act_field(FieldKind.TEXT, label="What people call it", most=80, missing="Say what people call it.")
    least_severity: str = act_field(
        FieldKind.WORD, label="How bad it is at least", words=SEVERITIES, missing="Choose how bad."
    )
    is_offered: bool = act_field(
        FieldKind.YES_NO,
        label="It can be recorded",
        default=False,
        hint="Not ticked: no longer; what is on record stays.",
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadinessRuleFields:
    """What a site asks of somebody's practice before they are authorised there for an act."""

    site: str = act_field(FieldKind.CODE, label="Site", missing="Choose the site.")
    act: str = act_field(
        FieldKind.WORD, label="Before somebody is authorised to", words=ACTS, missing="Choose the act."
    )
    in_a_row: int = act_field(FieldKind.WHOLE, label="Practice reels in a row without a miss", missing="Say how many.")
    within_days: int = act_field(FieldKind.WHOLE, label="In the last, days", missing="Say in how many days.")
    least: str = act_field(
        FieldKind.WORD, label="Of this difficulty or harder", words=DIFFICULTIES, missing="Choose the difficulty.",
        hint="Easier reels do not add to the run, but a miss in one ends it.",
    )  # fmt: skip
    is_asked: bool = act_field(
        FieldKind.YES_NO, label="It is asked for", default=False, hint="Not ticked: the site asks for no practice."
    )
