"""What counts, sign-offs and setup values refuse. Pure, as in reels."""

from reels.errors import Malformed, NotAllowed, Refused, ValueNotTaken

# Counting -----------------------------------------------------------------------------------------------------------


class ImpossibleParameters(ValueNotTaken):
    code = "impossible_parameters"
    title = "No reel type is like that"


class ImpossibleReading(ValueNotTaken):
    code = "impossible_reading"
    title = "Nobody can have read that"


class ReadingIncomplete(Refused):
    code = "reading_incomplete"
    title = "The reading is not complete"
    says = "Not keyed yet: {missing}. Only one scale reading may be left out."


class ReelOnMachine(Refused):
    code = "reel_on_machine"
    title = "The reel is on a machine"
    says = "Reel {serial} was in machine {machine} at {at}; a reel is counted off the machine."


class CountAlreadyOpen(Refused):
    code = "count_already_open"
    title = "A count is open already"
    says = "Inspection {inspection} of reel {serial} is still {state}; finish or cancel it first."


class NotPrepared(Malformed):
    code = "not_prepared"
    title = "The preparation is not complete"
    says = "Before the first reading: {missing}."


class WrongState(Refused):
    code = "wrong_state"
    title = "The inspection is past that"
    says = "Inspection {inspection} is {state}; this needs one that is {allowed}."


class PointNotOpen(Refused):
    code = "point_not_open"
    title = "This step is not open yet"
    says = "{point} comes later: both people must first agree on {earlier}."


class AlreadyKeyed(Refused):
    code = "already_keyed"
    title = "Already keyed"
    says = "You have keyed {point} in this reading; it is kept, and waits for the other person."


class NotYourPoint(Refused):
    code = "not_your_point"
    title = "The technician keys this"
    says = "{point} is keyed by the technician alone."


class OtherRole(Refused):
    code = "other_role"
    title = "You have the other role"
    says = "{name} takes part in inspection {inspection} as {role}; nobody has both roles in one inspection."


class NotReferred(Refused):
    code = "not_referred"
    title = "Nothing is referred"
    says = "Inspection {inspection} is not referred."


class NothingProposed(Refused):
    code = "nothing_proposed"
    title = "No count is proposed"
    says = "There is no proposed count to accept in inspection {inspection}; have it read again."


# Authority and signatures -------------------------------------------------------------------------------------------


class NotAuthorised(NotAllowed):
    code = "not_authorised"
    title = "Not authorised"
    says = "{name} holds no authorisation to {act} reels of type {reel_type} at {site} on {on}."


class OnlyInPerson(NotAllowed):
    code = "only_in_person"
    title = "Only in person"
    says = "This is done by a person in a session of their own, and never by a script or command."


class WrongPassword(NotAllowed):
    code = "wrong_password"
    title = "The password is not right"
    says = "The password does not match; nothing was signed."
    fields = ("password",)


class NotSignable(Refused):
    code = "not_signable"
    title = "This cannot be signed"
    says = "{why}"


class SamePerson(Refused):
    code = "same_person"
    title = "Another person is needed"
    says = "{name} has already {done}; this needs another person."


class NotVoidable(Refused):
    code = "not_voidable"
    title = "Nothing to void"
    says = "{why}"


# Setup values -------------------------------------------------------------------------------------------------------


class NotIssuable(Refused):
    code = "not_issuable"
    title = "No setup values can be issued"
    says = "{why}"


class NotInForce(Refused):
    code = "not_in_force"
    title = "These setup values are not in force"
    says = "Setup values {setup_values} were withdrawn on {on}: {why}"


class StepMissing(Refused):
    code = "step_missing"
    title = "A step is missing"
    says = "Before this: {missing}."


class ReadBackDiffers(Refused):
    code = "read_back_differs"
    title = "The machine shows something else"
    says = (
        "The machine shows {seen_layers} layers and {seen_wraps} wraps; the values in force are {layers} layers and "
        "{wraps} wraps. Set the machine again and read it back. What you keyed is kept."
    )
    fields = ("layers", "wraps")
