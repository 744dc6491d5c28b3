"""States and keyed values in words, each state with a shape of its own."""

from typing import Any

from inspections.domain.keying import half_of
from inspections.domain.type_words import face_in_words, half_in_words
from inspections.domain.validity import Validity
from inspections.domain.words import InspectionState, Point, ReelStatus
from reels.domain.reel_figures import DrumSection
from reels.domain.words import Parity
from reels.pages.formats import Badge

# In the order in which somebody should look at them.
STATUS = {
    ReelStatus.HELD: Badge(word="Held", icon="held", tone="stop", means="It may not be used until the hold is ended."),
    ReelStatus.REFERRED: Badge(
        word="Referred", icon="referred", tone="stop", means="Its count is before an authorised person."
    ),
    ReelStatus.WITHOUT_VALUES: Badge(
        word="Installed without values", icon="machine-without", tone="stop",
        means="The machine holds no values that are in force. It has to come off and be counted.",
    ),
    ReelStatus.AWAITING_SIGN_OFF: Badge(
        word="Awaiting sign-off", icon="pen", tone="doing", means="Its count is worked out; two people have to sign it."
    ),
    ReelStatus.COUNT_OPEN: Badge(word="Count open", icon="half", tone="doing", means="It is being counted."),
    ReelStatus.AWAITING_COUNT: Badge(
        word="Awaiting count", icon="awaited", tone="doing",
        means="It has no signed count that is still current. It has to be counted before it is used.",
    ),
    ReelStatus.COUNTED: Badge(
        word="Counted", icon="checked", tone="ready", means="Its count is signed; setup values can be issued from it."
    ),
    ReelStatus.VALUES_ISSUED: Badge(
        word="Values issued", icon="plate", tone="ready", means="It is ready to go into the machine named below."
    ),
    ReelStatus.INSTALLED: Badge(
        word="Installed, not confirmed", icon="machine", tone="doing",
        means="Its values are issued; they have to be set, read back and confirmed.",
    ),
    ReelStatus.VALUES_CONFIRMED: Badge(
        word="Values confirmed", icon="checked-twice", tone="good",
        means="It is installed, and two people have read its values back from the machine.",
    ),
    ReelStatus.IN_TRANSIT: Badge(
        word="In transit", icon="transit", tone="doing",
        means="It was sent to another site and is in neither's stock until it is received there or called back.",
    ),
    ReelStatus.RETIRED: Badge(
        word="Retired", icon="retired", tone="quiet", means="Out of service for good. Its records stay."
    ),
}  # fmt: skip

STATE = {
    InspectionState.OPEN: Badge(word="Open", icon="half", tone="doing", means="It is being read."),
    InspectionState.REFERRED: STATUS[ReelStatus.REFERRED],
    InspectionState.AWAITING_SIGN_OFF: STATUS[ReelStatus.AWAITING_SIGN_OFF],
    InspectionState.SIGNED: Badge(word="Signed", icon="checked-twice", tone="good", means="It never changes."),
    InspectionState.CANCELLED: Badge(
        word="Cancelled", icon="retired", tone="quiet", means="It ended without a result. What was keyed is kept."
    ),
    InspectionState.VOIDED: Badge(word="Voided", icon="crossed", tone="stop", means=Validity.VOIDED.means),
}

ENDED = "ended"  # of a reading that had no outcome when its count was cancelled
OUTCOME = {
    "accepted": Badge(word="Worked out", icon="checked", tone="good"),
    "reread": Badge(word="Read again", icon="again", tone="doing"),
    "referred": STATUS[ReelStatus.REFERRED],
    ENDED: Badge(word="Ended", icon="retired", tone="quiet"),
    "": Badge(word="Under way", icon="half", tone="doing"),
}

IN_FORCE = Badge(word="In force", icon="plate", tone="ready")
CONFIRMED = Badge(word="In force, confirmed", icon="checked-twice", tone="good")
VALIDITY = {
    word: Badge(word=word.capitalize(), icon=icon, tone=tone, means=word.means)
    for word, icon, tone in (
        (Validity.STANDS, "checked-twice", "good"), (Validity.LAPSED, "half", "doing"),
        (Validity.WITHDRAWN, "crossed", "quiet"), (Validity.SUPERSEDED, "retired", "quiet"),
        (Validity.VOIDED, "crossed", "stop"),
    )
}  # fmt: skip
WITHDRAWN = VALIDITY[Validity.WITHDRAWN]
MATCHES = Badge(word="Matches", icon="checked", tone="good")
DIFFERS = Badge(word="Differs", icon="crossed", tone="stop")
AGREE = Badge(word="Agree", icon="checked", tone="good")
WAITING = Badge(word="One missing", icon="half", tone="doing")
PASSED = Badge(word="Passed", icon="checked", tone="good")
FAILED = Badge(word="Failed", icon="crossed", tone="stop")

LABELS = {
    Point.SERIAL: "Serial", Point.OPEN_SIDE: "Open side", Point.SCALE_LEFT: "Left scale",
    Point.SCALE_RIGHT: "Right scale",
    Point.UNWIND: "Unwind direction", Point.HAND_COUNT: "Hand count", Point.GAUGE: "Wrap gauge",
    Point.CROSSOVER: "Crossover",
}  # fmt: skip


def keyed_third(value: int | None) -> str:
    """What a third person read, as a person would say it."""
    return "left out" if value is None else str(value)


def keyed_words(point: Point, value: Any, drum: DrumSection) -> str:
    """A keyed value as a person would say it; odd and even are always words. drum: of the type, for what is beside."""
    match point:
        case Point.GAUGE:
            return f"{value['wraps']} on the {face_in_words(Parity(value['face']), drum)} face"
        case Point.CROSSOVER:
            return half_in_words(half_of(value), drum) if "half" in value else f"{value['deg']}°"
        case Point.OPEN_SIDE:
            return "none: the top layer is flush" if value == "none" else str(value)
        case Point.UNWIND:
            return str(value).replace("_", " ")
        case _:
            return "left out" if value is None else str(value)
