"""What the service refuses, in one family. Pure, so that the domain may raise from it.

The class says what kind of refusal it is, `code` names the rule for programs, `message` is the sentence for people,
filled in with the facts: what was seen and what is allowed. Status codes are given in deploy/problems.py.

A class's own name is its code, ReelHeld's is reel_held, unless it gives another: programs branch on it, so that a class
is renamed only with its code kept (a test holds every code to its heading in deploy/handbook/problems.md).
"""

import re
from collections.abc import Collection
from typing import Any, ClassVar

from reels.domain.text import filled_in


class Refused(Exception):
    """A rule of the job, or the state of the record, does not allow this. The state may be read again and changed."""

    code: ClassVar[str] = "refused"
    title: ClassVar[str] = "Not possible now"
    message: ClassVar[str] = "This is not possible now."
    fields: ClassVar[tuple[str, ...]] = ()

    def __init_subclass__(cls) -> None:
        cls.code = vars(cls).get("code") or re.sub(r"(?<!^)(?=[A-Z])", "_", cls.__name__).lower()

    def __init__(self, **facts: Any) -> None:
        super().__init__(facts)
        self.facts = facts

    def __str__(self) -> str:
        return filled_in(self.message, self.facts)


class NotYet(Exception):
    """A worker has it to do. run: the task (a TaskRun). at: where to look for what comes of it; "": asked again."""

    def __init__(self, run: Any, at: str = "") -> None:
        super().__init__(run)
        self.run, self.at = run, at


class AskedFirst(Refused):
    """Asked before it is done: sent again with the code among its `answers`, which says yes, it is done.

    yes: what a page calls that answer.
    """

    title = "This is asked first"
    yes: ClassVar[str] = "Yes"
    BY_CODE: ClassVar[dict[str, "type[AskedFirst]"]] = {}

    def __init_subclass__(cls) -> None:
        super().__init_subclass__()
        cls.BY_CODE[cls.code] = cls

    def unless_answered(self, answers: Collection[str]) -> None:
        """Ask, unless the answer came with the act."""
        if self.code not in answers:
            raise self


class Malformed(Refused):
    """A value that can't be taken, whatever the state of the record."""

    title = "A value cannot be accepted"
    message = "A value cannot be accepted."


class NotAllowed(Refused):
    """The person may not do this here and today."""

    title = "Not allowed"
    message = "You may not do this."


class NotFound(Refused):
    """There is no such thing, or none that this person may see."""

    title = "Not found"
    message = "There is no {what} {key!r} that you may see."


class Busy(Refused):
    """Somebody else holds the record; the same request may be sent again."""

    title = "Busy"
    message = "Somebody else is writing to this record. Send the same request again in a moment."


class Unreachable(Busy):
    """The database does not answer; whether the last thing was stored, nobody can say from here."""

    title = "The records cannot be reached"
    message = "The records cannot be reached just now. Send the same request again in a moment; it is stored once."


class TookTooLong(Busy):
    """Whether the last thing was stored, nobody can say from here."""

    title = "It took too long"
    message = "This took longer than {seconds} seconds and was given up. Send the request again: it is stored once."


class QueueFull(Busy):
    title = "Too much waits already"
    message = "{most} tasks wait already, and no more are taken. Try again in a while; an administrator sees them."


class TaskFailed(Refused):
    """task: the number of the one that failed."""

    title = "It could not be worked out"
    message = (
        "{title} failed on {at}: {why} It is not tried again by itself. Whoever wants it all the same "
        "has it tried again (POST /api/v1/tasks/{task}/retry)."
    )


class TaskNotSo(Refused):
    title = "The task is not at that point"
    message = "{title} is {seen}; this is for a task that is {allowed}."


class AlreadyRecorded(Refused):
    title = "Recorded by somebody else at the same moment"
    message = "Somebody else recorded the same at the same moment. Look again before you go on."


class OnlyInPerson(NotAllowed):
    title = "Only in person"
    message = "This is done by a person in a session of their own, and never by a script or command."


class OnlyAdministrators(NotAllowed):
    message = "Only an administrator may change reference data and people; {username} is not one."


# Logins -------------------------------------------------------------------------------------------------------------


class WrongPassword(NotAllowed):
    title = "The password is not right"
    message = "The password does not match; nothing was done."
    fields = ("password",)


class WrongCode(NotAllowed):
    title = "The code is not right"
    message = "The code does not match, or was used before. Wait for the next one and check the device's clock."
    fields = ("code",)


class TooManyTries(Refused):
    """429. retry_after_s: seconds until the login may be tried again there."""

    title = "Locked after too many wrong passwords"
    message = (
        "Too many wrong passwords were given {where}. It is locked for {minutes} minutes more there, also for the "
        "right one. The administrators have been told, and can unlock a login."
    )
    fields = ("password",)


class PasswordNotOwn(NotAllowed):
    title = "Change the password first"
    message = "{name} has a password that an administrator knows. Its owner changes it before anything else."


class SecondFactorMissing(NotAllowed):
    title = "A second factor is needed"
    message = "{name} has no second factor, and it is needed here. Set one up under “Your login”, and do this again."


class NotEnrolled(NotAllowed):
    title = "Not enrolled"
    message = "{name} is not enrolled: another administrator than who gave the login checks first whose it is."


class AnotherAdministrator(NotAllowed):
    title = "Another administrator is needed"
    message = "{name} cannot do this here, having {done}; another administrator can."


class RulesNotSourced(Refused):
    title = "Rules without their publication"
    message = (
        "Of reel type {reel_type} nobody has said yet in which paragraph of a publication these rules are written: "
        "{missing}. Name it for each; then another administrator confirms them."
    )


# Scripts and repeated requests --------------------------------------------------------------------------------------


class ScopeMissing(NotAllowed):
    title = "The token lacks the scope"
    message = "This needs a token with the scope {needed}; the token {token} has {scopes}."


class AlreadyEnded(Refused):
    title = "Already ended"
    message = "The {what} was ended on {on}."


class LinkNotGood(Refused):
    message = "This link was used, replaced by another, or is too old. Ask whoever gave it to you for a new one."


class KeyReused(Refused):
    """422: a key stands for one request."""

    title = "The key was used for another request"
    message = "The Idempotency-Key {key!r} was used at {at} for another request; take a new key for a new request."


class FeedIsShorter(Refused):
    title = "The feed ends before that"
    message = (
        "The feed was asked for after place {after} and ends at {last}: these are not the records that the cursor came "
        "from, an older copy perhaps. Read it from the beginning."
    )


class NothingRecorded(Refused):
    title = "Nothing is recorded yet"
    message = "Nothing is recorded yet, so there is nothing that a checkpoint could cover."


class CheckpointBroken(Refused):
    title = "The records are not those of the last checkpoint"
    message = (
        "The checkpoint of {made_at} covers {entries} entries, and the records no longer begin with them: something "
        "was changed, removed or put in. No checkpoint is made. Keep the database as it is and run verify_records."
    )


class CheckpointKeyMissing(Refused):
    title = "The key for checkpoints is missing"
    message = "Checkpoints cannot be signed: {why}"


class StillRunning(Refused):
    title = "The same request is still being processed"
    message = "A request with the Idempotency-Key {key!r} is still being processed. Send it again in a moment."


# Reference data -----------------------------------------------------------------------------------------------------


class AlreadyThere(Refused):
    title = "Already there"
    message = "There is already a {what} {key!r}."


class PublicationOutOfOrder(Refused):
    title = "A later revision begins later"
    message = "{earlier} begins on {begins}; a revision that follows it begins later. Seen: {seen}."
    fields = ("valid_from",)


class ValueNotTaken(Malformed):
    message = "{field} was {seen}; allowed: {allowed}."


# Reels --------------------------------------------------------------------------------------------------------------


class ReelRetired(Refused):
    title = "The reel is retired"
    message = "Reel {serial} was retired on {on}; nothing more is recorded for it."


class ReelInstalled(Refused):
    title = "The reel is installed"
    message = "Reel {serial} is installed in machine {machine}; take it off the machine first."


class ReelNotInstalled(Refused):
    title = "The reel is not installed"
    message = "Reel {serial} is not installed in a machine."


class MachineOccupied(Refused):
    title = "The machine is occupied"
    message = "Machine {machine} holds reel {serial}; remove that one first."


class MachineHeld(Refused):
    title = "The machine is held"
    message = "Machine {machine} is held since {since}: {reason}"
    fields = ("machine",)


class MachineNotHeld(Refused):
    title = "The machine is not held"
    message = "Machine {machine} is not held."


class MachineTakesOthers(Refused):
    """takes: the types that it takes, in words."""

    title = "The machine does not take the reel"
    message = (
        "Machine {machine} takes {takes}; reel {serial} is of type {reel_type}. Choose a machine that takes it; what a "
        "machine takes, an administrator says."
    )
    fields = ("machine",)


class IssuedForAnother(AskedFirst):
    title = "The values are for another machine"
    message = (
        "{in_force} are in force for reel {serial} in machine {issued_for}, not in {machine}. If it was put into "
        "{machine}, that is recorded and the values are withdrawn: none are carried over."
    )
    yes = "It is in this machine; withdraw the values"


class OtherSite(Refused):
    title = "At different sites"
    message = "Reel {serial} is at {reel_site} and machine {machine} at {machine_site}; move one of them first."


class ReelHeld(Refused):
    title = "The reel is held"
    message = "Reel {serial} is held since {since}: {reason}"


class ReelInTransit(Refused):
    """then: what became of it since, where it is told of a time that is over."""

    title = "The reel is in transit"
    message = "Reel {serial} was sent from {from_site} to {to_site} on {on}{then}. {todo}"


class ReelNotInTransit(Refused):
    title = "The reel is not in transit"
    message = "Reel {serial} is not in transit; it is at {site}."


class ReceivedElsewhere(AskedFirst):
    title = "It was sent to another site"
    message = "Reel {serial} was sent to {to_site}, not to {site}. If it came to {site}, it is in the stock there now."
    fields = ("site",)
    yes = "It came to this site"


class LifeOver(Refused):
    title = "A life is over"
    message = "Reel {serial} has reached a hard limit of its type: {why}. Fit another cable, or retire the reel."


class ReelNotHeld(Refused):
    title = "The reel is not held"
    message = "Reel {serial} is not held."


class CutTooLong(Malformed):
    title = "The cut is longer than the cable"
    message = "A cut of {seen_m} m was given; reel {serial} can have at most {most_m} m of cable."
    fields = ("length_removed_m",)


class OutOfTime(Malformed):
    title = "The time cannot be right"
    message = "{field} was {seen}; allowed: from {earliest} to {latest}."


class AlreadyReversed(Refused):
    title = "Already reversed"
    message = "Cable event {event} was reversed before, or is itself a reversal."


# Winding ------------------------------------------------------------------------------------------------------------


class ImpossibleValue(Malformed):
    title = "A number cannot be right"
    message = "{field} was {seen} (place {place}); allowed: {allowed}."


class ImpossibleDrum(ValueNotTaken):
    title = "The drum is impossible"


class OffTheDrum(Malformed):
    title = "That does not fit on the drum"
    message = "{field} was {seen} (place {place}); this drum allows {allowed}."


class TooFewKnownLengths(Refused):
    title = "Too few reels of known length"
    message = "{seen} reels of known length were given; at least {least} are needed to fit {what}."


class KnownLengthsTellNothing(Refused):
    title = "The known lengths are inconclusive"
    message = "The reels of known length leave {what} open: {why}."
