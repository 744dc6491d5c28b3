"""What the service refuses, in one family. Pure, so that the domain may raise from it.

The class says what kind of refusal it is, `code` names the rule for programs, `message` is the sentence for people,
filled in with the facts: what was seen and what is allowed. Status codes are given in deploy/problems.py.
"""

from typing import Any, ClassVar


class Refused(Exception):
    """A rule of the job, or the state of the record, does not allow this. The state may be read again and changed."""

    code: ClassVar[str] = "refused"
    title: ClassVar[str] = "Not possible now"
    message: ClassVar[str] = "This is not possible now."
    fields: ClassVar[tuple[str, ...]] = ()

    def __init__(self, **facts: Any) -> None:
        super().__init__(facts)
        self.facts = facts

    def __str__(self) -> str:
        return self.message.format(**self.facts)


class Malformed(Refused):
    """A value that can't be taken, whatever the state of the record."""

    code = "malformed"
    title = "A value cannot be accepted"
    message = "A value cannot be accepted."


class NotAllowed(Refused):
    """The person may not do this here and today."""

    code = "not_allowed"
    title = "Not allowed"
    message = "You may not do this."


class NotFound(Refused):
    """There is no such thing, or none that this person may see."""

    code = "not_found"
    title = "Not found"
    message = "There is no {what} {key!r} that you may see."


class Busy(Refused):
    """Somebody else holds the record; the same request may be sent again."""

    code = "busy"
    title = "Busy"
    message = "Somebody else is writing to this record. Send the same request again in a moment."


class Unreachable(Busy):
    """The database does not answer; whether the last thing was stored, nobody can say from here."""

    code = "unreachable"
    title = "The records cannot be reached"
    message = "The records cannot be reached just now. Send the same request again in a moment; it is stored once."


class AlreadyRecorded(Refused):
    code = "already_recorded"
    title = "Recorded by somebody else at the same moment"
    message = "Somebody else recorded the same at the same moment. Look again before you go on."


class OnlyInPerson(NotAllowed):
    code = "only_in_person"
    title = "Only in person"
    message = "This is done by a person in a session of their own, and never by a script or command."


class OnlyAdministrators(NotAllowed):
    code = "only_administrators"
    message = "Only an administrator may change reference data and people; {username} is not one."


# Logins -------------------------------------------------------------------------------------------------------------


class WrongPassword(NotAllowed):
    code = "wrong_password"
    title = "The password is not right"
    message = "The password does not match; nothing was done."
    fields = ("password",)


class WrongCode(NotAllowed):
    code = "wrong_code"
    title = "The code is not right"
    message = "The code does not match, or was used before. Wait for the next one and check the device's clock."
    fields = ("code",)


class TooManyTries(Refused):
    """429. retry_after_s: seconds until the login may be tried again."""

    code = "too_many_tries"
    title = "Locked after too many wrong passwords"
    message = (
        "Too many wrong passwords were given for this user name. It is locked for {minutes} minutes more, also for the "
        "right one, and the administrators have been told."
    )
    fields = ("password",)


class PasswordNotOwn(NotAllowed):
    code = "password_not_own"
    title = "Change the password first"
    message = "{name} has a password that an administrator knows. Its owner changes it before anything else."


class SecondFactorMissing(NotAllowed):
    code = "second_factor_missing"
    title = "A second factor is needed"
    message = "{name} has no second factor, and it is needed here. Set one up under “Your login”, and do this again."


class NotEnrolled(NotAllowed):
    code = "not_enrolled"
    title = "Not enrolled"
    message = (
        "{name} is not enrolled: a second administrator, who is not the one that gave the login, checks first whose it "
        "is."
    )


class AnotherAdministrator(NotAllowed):
    code = "another_administrator"
    title = "Another administrator is needed"
    message = "{name} cannot do this here, having {done}; another administrator can."


# Scripts and repeated requests --------------------------------------------------------------------------------------


class ScopeMissing(NotAllowed):
    code = "scope_missing"
    title = "The token lacks the scope"
    message = "This needs a token with the scope {needed}; the token {token} has {scopes}."


class AlreadyEnded(Refused):
    code = "already_ended"
    title = "Already ended"
    message = "The {what} was ended on {on}."


class KeyReused(Refused):
    """422: a key stands for one request."""

    code = "key_reused"
    title = "The key was used for another request"
    message = "The Idempotency-Key {key!r} was used at {at} for another request; take a new key for a new request."


class FeedIsShorter(Refused):
    code = "feed_is_shorter"
    title = "The feed ends before that"
    message = (
        "The feed was asked for after place {after} and ends at {last}: these are not the records that the cursor came "
        "from, an older copy perhaps. Read it from the beginning."
    )


class NothingRecorded(Refused):
    code = "nothing_recorded"
    title = "Nothing is recorded yet"
    message = "Nothing is recorded yet, so there is nothing that a checkpoint could cover."


class CheckpointBroken(Refused):
    code = "checkpoint_broken"
    title = "The records are not those of the last checkpoint"
    message = (
        "The checkpoint of {made_at} covers {entries} entries, and the records no longer begin with them: something "
        "was changed, removed or put in. No checkpoint is made. Keep the database as it is and run verify_records."
    )


class CheckpointKeyMissing(Refused):
    code = "checkpoint_key_missing"
    title = "The key for checkpoints is missing"
    message = "Checkpoints cannot be signed: {why}"


class StillRunning(Refused):
    code = "still_running"
    title = "The same request is still being processed"
    message = "A request with the Idempotency-Key {key!r} is still being processed. Send it again in a moment."


# Reference data -----------------------------------------------------------------------------------------------------


class AlreadyThere(Refused):
    code = "already_there"
    title = "Already there"
    message = "There is already a {what} {key!r}."


class ValueNotTaken(Malformed):
    code = "value_not_taken"
    message = "{field} was {seen}; allowed: {allowed}."


# Reels --------------------------------------------------------------------------------------------------------------


class ReelRetired(Refused):
    code = "reel_retired"
    title = "The reel is retired"
    message = "Reel {serial} was retired on {on}; nothing more is recorded for it."


class ReelInstalled(Refused):
    code = "reel_installed"
    title = "The reel is installed"
    message = "Reel {serial} is installed in machine {machine}; take it off the machine first."


class ReelNotInstalled(Refused):
    code = "reel_not_installed"
    title = "The reel is not installed"
    message = "Reel {serial} is not installed in a machine."


class MachineOccupied(Refused):
    code = "machine_occupied"
    title = "The machine is occupied"
    message = "Machine {machine} holds reel {serial}; remove that one first."


class OtherSite(Refused):
    code = "other_site"
    title = "At different sites"
    message = "Reel {serial} is at {reel_site} and machine {machine} at {machine_site}; move one of them first."


class ReelHeld(Refused):
    code = "reel_held"
    title = "The reel is held"
    message = "Reel {serial} is held since {since}: {reason}"


class ReelNotHeld(Refused):
    code = "reel_not_held"
    title = "The reel is not held"
    message = "Reel {serial} is not held."


class CutTooLong(Malformed):
    code = "cut_too_long"
    title = "The cut is longer than the cable"
    message = "A cut of {seen_m} m was given; reel {serial} can have at most {most_m} m of cable."
    fields = ("length_removed_m",)


class OutOfTime(Malformed):
    code = "out_of_time"
    title = "The time cannot be right"
    message = "{field} was {seen}; allowed: from {earliest} to {latest}."


class AlreadyReversed(Refused):
    code = "already_reversed"
    title = "Already reversed"
    message = "Cable event {event} was reversed before, or is itself a reversal."


# Winding ------------------------------------------------------------------------------------------------------------


class ImpossibleValue(Malformed):
    code = "impossible_value"
    title = "A number cannot be right"
    message = "{field} was {seen} (place {place}); allowed: {allowed}."


class ImpossibleDrum(ValueNotTaken):
    code = "impossible_drum"
    title = "The drum is impossible"


class OffTheDrum(Malformed):
    code = "off_the_drum"
    title = "That does not fit on the drum"
    message = "{field} was {seen} (place {place}); this drum allows {allowed}."


class TooFewKnownLengths(Refused):
    code = "too_few_known_lengths"
    title = "Too few reels of known length"
    message = "{seen} reels of known length were given; at least {least} are needed to fit {what}."


class KnownLengthsTellNothing(Refused):
    code = "known_lengths_tell_nothing"
    title = "The known lengths are inconclusive"
    message = "The reels of known length leave {what} open: {why}."
