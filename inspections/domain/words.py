"""The words of an inspection. The trade's words for the drum are in reels/domain/words.py."""

from enum import StrEnum


class Act(StrEnum):
    """What somebody may be authorised to do."""

    COUNT = "count"
    VERIFY = "verify"
    ISSUE = "issue"
    SET = "set"
    CONFIRM = "confirm"
    RELEASE = "release"
    INSTRUCT = "instruct"  # see the practice results of the people of a site
    MAINTAIN = "maintain"  # log cable events; install, remove, hold, send, receive and retire reels

    @property
    def verb(self) -> str:
        """The word for people. Whoever has a count's referral before them decides; nothing here is a release."""
        return "decide" if self is Act.RELEASE else self.value


class Role(StrEnum):
    """The two roles in an inspection."""

    TECHNICIAN = "technician"
    VERIFIER = "verifier"


class Meaning(StrEnum):
    """What a signature says."""

    COUNTED = "counted"
    VERIFIED = "verified"


class Point(StrEnum):
    """What is keyed at a count, in the order of the job. All are hold points but the unwind direction.

    The serial is keyed once a count, the rest in each reading.
    """

    SERIAL = "serial"
    OPEN_SIDE = "open_side"
    SCALE_LEFT = "scale_left"
    SCALE_RIGHT = "scale_right"
    UNWIND = "unwind"
    HAND_COUNT = "hand_count"
    GAUGE = "gauge"
    CROSSOVER = "crossover"


class InspectionState(StrEnum):
    """Where an inspection stands."""

    OPEN = "open"
    REFERRED = "referred"
    AWAITING_SIGN_OFF = "awaiting_sign_off"
    SIGNED = "signed"
    CANCELLED = "cancelled"
    VOIDED = "voided"


LIVE = frozenset({InspectionState.OPEN, InspectionState.REFERRED, InspectionState.AWAITING_SIGN_OFF})


class Decision(StrEnum):
    """What is decided on a referred inspection."""

    READ_AGAIN = "read_again"
    ACCEPT_PROPOSED = "accept_proposed"


class NoticedState(StrEnum):
    """Of a reel that a safety notice covers. HELD_BEFORE: by another hold; once that ends, by the notice."""

    HELD = "held"
    HELD_BEFORE = "held_before"
    RELEASED = "released"
    NOT_HELD = "not_held"  # the notice was lifted before the other hold ended


class ReelStatus(StrEnum):
    """Where a reel stands; derived from facts, the first that holds (queries/status.py)."""

    RETIRED = "retired"
    HELD = "held"
    REFERRED = "referred"
    AWAITING_SIGN_OFF = "awaiting_sign_off"
    COUNT_OPEN = "count_open"
    VALUES_CONFIRMED = "values_confirmed"
    INSTALLED = "installed"
    WITHOUT_VALUES = "installed_without_values"
    VALUES_ISSUED = "values_issued"
    COUNTED = "counted"
    AWAITING_COUNT = "awaiting_count"
    IN_TRANSIT = "in_transit"
