"""What an act asks for, declared once: the form of its page and its body in the API are both made from it.

A declaration is a frozen dataclass whose fields are made with `act_field`; one that has a default may be left out.
`reels/pages/act_fields.py` makes the fields of a form of it, `reels/api/act_fields.py` those of a serializer.
"""

from collections.abc import Sequence
from dataclasses import MISSING, dataclass, field, fields
from datetime import date, datetime
from enum import StrEnum, auto
from typing import Any

from reels.domain.type_rules import RULE_NAMES, TypeRule
from reels.domain.words import Scope

PASSWORD_MOST, REMARK_MOST = 200, 2000  # characters
TOKEN_DAYS = [("90", "90 days"), ("30", "30 days"), ("180", "180 days"), ("365", "a year")]


class FieldKind(StrEnum):
    """What a value is; REMARK: a few sentences; SERIAL, CODE and USERNAME: of something that is there already.

    CODES: of some of those that are there; DAY: of the calendar; ANSWERS: codes of what was asked, each with yes.
    """

    TEXT = auto()
    REMARK = auto()
    SECRET = auto()
    MOMENT = auto()
    LENGTH = auto()
    WHOLE = auto()
    YES_NO = auto()
    WORD = auto()
    SERIAL = auto()
    CODE = auto()
    CODES = auto()
    USERNAME = auto()
    DAY = auto()
    ANSWERS = auto()


@dataclass(frozen=True, slots=True, kw_only=True)
class ActField:
    """One value that an act asks for.

    label, hint, missing: what a page says of it, and when it is left empty. help: what the document of the API says.
    most: characters, or the largest number. words: those of a closed list, each with what a page calls it.
    """

    kind: FieldKind
    label: str = ""
    hint: str = ""
    missing: str = ""
    help: str = ""
    most: int | None = None
    words: Sequence[tuple[str, str]] = ()
    default: Any = MISSING

    @property
    def is_required(self) -> bool:
        """Whether it may not be left out."""
        return self.default is MISSING


def act_field(kind: FieldKind, *, default: Any = MISSING, **about: Any) -> Any:
    """A field of a declaration."""
    return field(default=default, metadata={"act": ActField(kind=kind, default=default, **about)})


def fields_of(declaration: type) -> dict[str, ActField]:
    """What an act asks for, by name, in order."""
    return {each.name: each.metadata["act"] for each in fields(declaration) if "act" in each.metadata}


@dataclass(frozen=True, slots=True, kw_only=True)
class ReasonFields:
    reason: str = act_field(
        FieldKind.REMARK, label="Reason", missing="Give a reason.", help="Why; it is kept and shown."
    )


def answers_field() -> Any:
    """For an act that may be asked about before it is done."""
    return act_field(
        FieldKind.ANSWERS, label="This was asked", default=(),
        help="Codes of questions (409) that were asked about this request, each answered with yes.",
    )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class OwnPasswordFields:
    password: str = act_field(
        FieldKind.SECRET, label="Your password, again", missing="Type the password.", help="One's own, again."
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class TokenFields:
    person: str = act_field(FieldKind.USERNAME, label="Whose rights it has", missing="Choose the person.")
    name: str = act_field(
        FieldKind.TEXT, label="Name of the script", most=40, missing="Name the script.", hint="Histories tell it."
    )
    scopes: Sequence[str] = act_field(
        FieldKind.CODES, label="What it is for", missing="Choose what it is for.",
        words=[(scope.value, scope.spoken) for scope in Scope],
    )  # fmt: skip
    days: str = act_field(FieldKind.WORD, label="Good for", words=TOKEN_DAYS)
    password: str = act_field(FieldKind.SECRET, label="Your password, again", missing="Type the password.")


@dataclass(frozen=True, slots=True, kw_only=True)
class PasswordChangeFields:
    password: str = act_field(
        FieldKind.SECRET, label="Current password", missing="Type the password.", help="One's own, again."
    )
    new_password: str = act_field(FieldKind.SECRET, label="New password", missing="Type the password.")


@dataclass(frozen=True, slots=True, kw_only=True)
class NewPasswordFields:
    new_password: str = act_field(
        FieldKind.SECRET, label="Password", missing="Type a password.",
        hint="At least 10 characters; several words are easier to remember than symbols.",
    )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class PersonFields:
    """Who somebody is, as their login has it."""

    full_name: str = act_field(FieldKind.TEXT, label="Full name", most=120, missing="Type the name.")
    staff_number: str = act_field(
        FieldKind.TEXT, label="Staff number", most=30, missing="Type the staff number.",
        hint="One for each human being; never used again.",
    )  # fmt: skip
    username: str = act_field(
        FieldKind.TEXT, label="User name", most=60, missing="Type a user name.",
        hint="For logging in: letters, digits and . _ - @ + without spaces. It cannot be changed later.",
    )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class PeopleFields:
    """People who are added at once, one a line."""

    people: str = act_field(
        FieldKind.REMARK, label="People, one a line", most=20_000, missing="Type or paste one person a line.",
        hint="Full name; staff number; user name. A list from a spreadsheet can be pasted as it is, or with commas.",
    )  # fmt: skip
    site: str = act_field(
        FieldKind.CODE, label="Posted to", default="", hint="Where they may read; what they may do there is authorised."
    )
    is_staff: bool = act_field(FieldKind.YES_NO, label="They are administrators", default=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class LoginFields:
    full_name: str = act_field(FieldKind.TEXT, label="Full name", most=120, missing="Type the name.")
    staff_number: str = act_field(FieldKind.TEXT, label="Staff number", most=30, missing="Type the staff number.")
    is_active: bool = act_field(
        FieldKind.YES_NO, label="The login is in use", default=False, hint="Not ticked: closed, and its sessions end."
    )
    is_staff: bool = act_field(FieldKind.YES_NO, label="Administrator", default=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class PostingFields:
    site: str = act_field(FieldKind.CODE, label="Site", default="")
    valid_from: datetime | None = act_field(FieldKind.MOMENT, label="From", default=None, hint="Empty: from now on.")
    valid_until: datetime | None = act_field(
        FieldKind.MOMENT, label="Until", default=None, hint="Empty: until it is ended."
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteFields:
    code: str = act_field(
        FieldKind.TEXT, label="Code", most=30, missing="Type a code.",
        hint="Small letters, digits and hyphens, as in kettle-point; it stands in addresses and files.",
    )  # fmt: skip
    name: str = act_field(FieldKind.TEXT, label="Name", most=80, missing="Type the name.")
    time_zone: str = act_field(
        FieldKind.CODE, label="Time zone", missing="Choose one.", hint="Its clocks, as in pages."
    )
    transit_days: int = act_field(
        FieldKind.WHOLE, label="Days that a reel may be on its way here", missing="Type the days.", most=9999,
        hint="One that was sent here and not received is late after so many.",
    )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class CodeFields:
    code: str = act_field(
        FieldKind.TEXT, label="Code that the device shows", most=40, missing="Type the code.",
        help="As the device shows it now.",
    )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class PublicationFields:
    code: str = act_field(FieldKind.TEXT, label="Publication", most=120, missing="Name the publication.")
    title: str = act_field(FieldKind.TEXT, label="Title", most=200, missing="Give its title.")
    revision: str = act_field(FieldKind.TEXT, label="Revision", most=40, missing="Name the revision.")
    valid_from: datetime = act_field(
        FieldKind.MOMENT, label="In force from", missing="Say from when it is in force.",
        help="An earlier revision of the same publication ends then.",
    )  # fmt: skip
    types: Sequence[str] = act_field(
        FieldKind.CODES, label="Reel types", hint="None chosen: every type.", help="Codes; none: every type.",
        default=(),
    )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class WitnessFields:
    name: str = act_field(FieldKind.TEXT, label="Name", most=120, missing="Name the witness.")
    key: str = act_field(
        FieldKind.TEXT, label="Public key", most=64, missing="Type the witness's public key.",
        hint="64 hexadecimal digits, as check_records.py witness-key prints them to the witness.",
        help="Ed25519, hexadecimal; only the witness holds the other half.",
    )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class CountersignatureFields:
    text: str = act_field(
        FieldKind.REMARK, label="Countersignature", missing="Paste the witness's text.", most=REMARK_MOST,
        hint="The whole of the file that check_records.py witness made.", help="The text as the witness made it.",
    )  # fmt: skip


def _paragraph(rule: str) -> Any:
    return act_field(FieldKind.TEXT, label=f"{rule}: paragraph", most=60, default="", help="Its paragraph.")


@dataclass(frozen=True, slots=True, kw_only=True)
class RuleSourceFields:
    """Where the rules of a reel type are written; a rule without a paragraph keeps the source that it has."""

    publication: str = act_field(FieldKind.TEXT, label="Publication", most=120, missing="Name the publication.")
    revision: str = act_field(FieldKind.TEXT, label="Revision", most=40, missing="Name the revision.")
    lead: str = _paragraph(RULE_NAMES[TypeRule.LEAD])
    arc: str = _paragraph(RULE_NAMES[TypeRule.ARC])
    reference_side: str = _paragraph(RULE_NAMES[TypeRule.REFERENCE_SIDE])
    scale_line: str = _paragraph(RULE_NAMES[TypeRule.SCALE_LINE])
    winding_sense: str = _paragraph(RULE_NAMES[TypeRule.WINDING_SENSE])
    unusual: str = _paragraph(RULE_NAMES[TypeRule.UNUSUAL])


@dataclass(frozen=True, slots=True, kw_only=True)
class ReelingMachineFields:
    serial: str = act_field(FieldKind.TEXT, label="Serial, as it stands on the machine", most=40, missing="Key it.")
    host: str = act_field(
        FieldKind.TEXT, label="Host", most=60, missing="Name the host.",
        hint="The registration or the name of what carries the machine.",
    )  # fmt: skip
    site: str = act_field(FieldKind.CODE, label="Site", missing="Choose the site.")
    types: Sequence[str] = act_field(
        FieldKind.CODES, label="Reel types that it takes", default=(),
        hint="Reels of other types are neither issued for it nor installed in it.",
    )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class GaugeMachineFields:
    machine: str = act_field(FieldKind.SERIAL, label="Machine that it belongs to")


@dataclass(frozen=True, slots=True, kw_only=True)
class CalibrationFields:
    calibrated_on: date = act_field(FieldKind.DAY, label="Calibrated on", missing="Say when it was calibrated.")
    due: date = act_field(
        FieldKind.DAY, label="Calibration due", missing="Say until when it may be used.",
        help="The last day on which it may be used.",
    )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class GaugeFields(CalibrationFields):
    serial: str = act_field(FieldKind.TEXT, label="Serial, as it stands on the gauge", most=40, missing="Key it.")
    machine: str = act_field(FieldKind.SERIAL, label="Machine that it belongs to")
    types: Sequence[str] = act_field(FieldKind.CODES, label="Reel types that it fits", missing="Choose what it fits.")


@dataclass(frozen=True, slots=True, kw_only=True)
class EnrolmentFields:
    checked: str = act_field(
        FieldKind.REMARK, label="How you checked whose login it is", hint="It is recorded and cannot be undone.",
        missing="Say how you checked it.", help="How it was checked whose login it is; it is kept.",
    )  # fmt: skip
