"""What counts, sign-offs and setup values refuse. Pure, as in reels."""

from reels.errors import AskedFirst, Busy, Malformed, NotAllowed, Refused, ValueNotTaken

# Counting -----------------------------------------------------------------------------------------------------------


class ImpossibleParameters(ValueNotTaken):
    title = "The rule parameters are impossible"


class ImpossibleReading(ValueNotTaken):
    title = "The reading is impossible"


class PhotoNotTaken(Malformed):
    title = "The photo cannot be accepted"
    message = "The photo is {seen}; allowed: {allowed}."


class ReadingIncomplete(Refused):
    title = "The reading is not complete"
    message = "Not keyed yet: {missing}. Only one scale reading may be left out."


class ReelOnMachine(Refused):
    title = "The reel is on a machine"
    message = "Reel {serial} was in machine {machine} at {at}; a reel is counted off the machine."


class CountAlreadyOpen(Refused):
    title = "A count is open already"
    message = "Inspection {inspection} of reel {serial} is still {state}; finish or cancel it first."


class NotPrepared(Malformed):
    title = "The preparation is not complete"
    message = "Before the first reading: {missing}."


class PublicationNotInForce(Refused):
    title = "The publication is not in force"
    message = "{publication}, {why}. In force for reels of type {reel_type}: {in_force}. {advice}"
    fields = ("publication",)


class TechnicianNotNamed(Malformed):
    title = "The technician is not named"
    message = "A script names the technician who counts; that person alone can sign."
    fields = ("technician",)


class TechnicianIsYou(Malformed):
    title = "You are the technician"
    message = "Who opens a count in a session of their own is its technician: {name}. Leave `technician` out."
    fields = ("technician",)


class WrongState(Refused):
    title = "Not possible in this state of the inspection"
    message = "Inspection {inspection} is {state}; this needs one that is {allowed}."


class ReadingEnded(Refused):
    title = "That reading has ended"
    message = "Reading {number} has ended, and nothing was keyed. Reading {now} is open: look at the reel again for it."


class PointNotOpen(Refused):
    title = "This step is not open yet"
    message = "{point} comes later: both people must first agree on {earlier}."


class AlreadyKeyed(Refused):
    title = "Already keyed"
    message = "You have keyed {point} in this reading; it is kept, and waits for the other person."


class NotYourPoint(Refused):
    title = "The technician keys this"
    message = "{point} is keyed by the technician alone."


class OtherRole(Refused):
    title = "You have the other role"
    message = "{name} takes part in inspection {inspection} as {role}; nobody has two roles in one inspection."


class NoThirdReading(Refused):
    title = "No third reading can be asked for"
    message = "{why}"
    fields = ("point",)


class ThirdReadingAwaited(Refused):
    title = "A third reading is awaited"
    message = (
        "A third person has been asked to read {point}; it is closed until that is done, or {name}, who asked, takes "
        "the request back."
    )


class ThirdReadingOver(Refused):
    title = "Nothing is asked for any more"
    message = "This third reading of {point} is no longer awaited: {why}."


class NotAThirdPerson(NotAllowed):
    title = "Another person is needed"
    message = "{name} takes part in inspection {inspection}; a third reading is made by somebody who does not."


class NotOneOfTheTwo(NotAllowed):
    title = "One of the two asks"
    message = "{name} takes no part in inspection {inspection}; one of its two people asks for a third reading."


class NotYourRequest(NotAllowed):
    title = "Somebody else asked"
    message = "The third reading was asked for by {name}, who alone can take the request back."


class GaugeNotUsable(Refused):
    title = "The wrap gauge cannot be used"
    message = "Wrap gauge {serial} {why}."
    fields = ("wrap_gauge",)


class EndMarksDiffer(Malformed):
    title = "The end marks do not match"
    message = (
        "Match the end marks of wrap gauge {serial} to the mounting of machine {machine} before anything is read. If "
        "they do not match, do not use it, and ask for help."
    )
    fields = ("end_marks_match",)


class GaugeIsOut(Refused):
    title = "The wrap gauge is out"
    message = (
        "Wrap gauge {serial} of machine {machine} is out since {since}, with {name}, for inspection {inspection}. Put "
        "it back in its place and key its serial there first."
    )
    fields = ("wrap_gauge",)


class GaugeNotTaken(Refused):
    title = "The wrap gauge comes first"
    message = (
        "Before wraps are counted in inspection {inspection}, the technician keys the serial of the wrap gauge and "
        "matches its end marks to the mounting of its machine."
    )


class GaugeNotOut(Refused):
    title = "No wrap gauge is out"
    message = "No wrap gauge is out for inspection {inspection}."


class OtherGauge(Refused):
    title = "That is another wrap gauge"
    message = (
        "{seen} was keyed; out for inspection {inspection} is wrap gauge {serial}. Put that one back in its place in "
        "machine {machine}, and key its serial there."
    )
    fields = ("wrap_gauge",)


class NotReferred(Refused):
    title = "Nothing is referred"
    message = "Inspection {inspection} is not referred."


class NothingProposed(Refused):
    title = "No count is proposed"
    message = "There is no proposed count to accept in inspection {inspection}; have it read again."


# Findings -----------------------------------------------------------------------------------------------------------


class BelowLeastSeverity(Refused):
    title = "It is worse than that"
    message = (
        "“{kind}” is recorded as a {least} at least, and {seen} was chosen. An authorised person may lower it later."
    )
    fields = ("severity",)


class StopFindingOpen(Refused):
    title = "A stop finding is open"
    message = (
        "Finding {finding} is a stop: {named}. Nothing goes on before an authorised person has closed it, or made it a "
        "watch."
    )


class FindingMissing(Refused):
    title = "A finding comes first"
    message = (
        "Before the first reading of inspection {inspection} these were found not sound: {parts}. Record what is wrong "
        "with each before anything is keyed."
    )


class FindingClosed(Refused):
    title = "The finding is closed"
    message = "Finding {finding} was closed on {on}: {remedy}."


class NotAStop(Refused):
    title = "It is not a stop"
    message = "Finding {finding} is a watch already; there is nothing to lower."


class WorkNotLogged(Refused):
    title = "The work is not logged yet"
    message = (
        "Log the {work} first: none is logged for this reel since finding {finding} was recorded, and what was done to "
        "the cable stands in its events."
    )
    fields = ("remedy",)


# Authority and signatures -------------------------------------------------------------------------------------------


class NotAuthorised(NotAllowed):
    title = "Not authorised"
    message = "{name} holds no authorisation to {act} for reels of type {reel_type} at {site} on {on}."


class NotSignable(Refused):
    title = "This cannot be signed"
    message = "{why}"


class RulesNotConfirmed(Refused):
    """todo: what has to be done first."""

    title = "The type's rules are not confirmed"
    message = (
        "The rules of reel type {reel_type} are not confirmed: its counts can be practised and imported, and what is "
        "read is kept, but none is signed and no setup values come from one. {todo}"
    )


class RulesChanged(NotSignable):
    title = "The type's rules were changed since"
    message = (
        "Since this reading of inspection {inspection} was begun, rules of reel type {reel_type} were changed: "
        "{changed}. Read the reel again, by the rules as they are now; what was read is kept."
    )


class CountIsOutlier(NotSignable):
    """told: what is surprising, and what explains it best."""

    code = "count_surprises"
    title = "The count does not fit the reel's history"
    message = "{told} Read the reel again, log the cut if one was made, or say why the count stands; then sign."


class NoOutlier(Refused):
    code = "nothing_surprising"
    title = "Nothing needs a reason"
    message = "Inspection {inspection} holds no surprising count that waits for a reason."


class SamePerson(Refused):
    title = "Another person is needed"
    message = "{name} has already {done}; this needs another person."


class NotVoidable(Refused):
    title = "Nothing to void"
    message = "{why}"


# Setup values -------------------------------------------------------------------------------------------------------


class NotIssuable(Refused):
    title = "No setup values can be issued"
    message = "{why}"


class SameCut(AskedFirst):
    title = "The same cut is logged already"
    message = (
        "A cut of {length_m} m at that time is logged for reel {serial} already, as event {event} by {name}. Log "
        "another only if one more was made."
    )
    fields = ("length_removed_m",)
    yes = "Another cut of that length was made at that time"


class UnlikelyCut(AskedFirst):
    """leaves, other: what it would leave, and that it may be in another unit; or nothing."""

    title = "The length is unusual"
    message = (
        "A cut of {length_m} m is outside what the log of type {reel_type} has seen, {least} to {most} m."
        "{leaves}{other}"
    )
    fields = ("length_removed_m",)
    yes = "The length is right"


class OutOfOrder(Refused):
    """seen: the time that was given; why: what cannot be before or after it."""

    title = "The order cannot be right"
    message = "This cannot have happened at {seen}: {why}."
    fields = ("happened_at",)


class HoldsReels(AskedFirst):
    title = "It holds these reels"
    message = (
        "The notice covers {covers}. Of these there are {number}: {which}. Those that come later are held as well."
    )
    yes = "Hold them"


class CountLapsed(Refused):
    title = "The count has lapsed"
    message = "The count of inspection {inspection} has lapsed: {why}. Count the reel again."


class NotInForce(Refused):
    title = "These setup values are not in force"
    message = "Setup values {setup_values} were withdrawn on {on}: {why}"


class StepMissing(Refused):
    title = "A step is missing"
    message = "Before this: {missing}."


class ReadBackDiffers(Refused):
    title = "The machine shows something else"
    # Not what was issued, so that the next reading is one of the machine.
    message = (
        "You keyed layers {layers}, wraps {wraps}; that is not what was issued. It is kept. The setter compares the "
        "machine with the card, sets it again and reads it back."
    )
    fields = ("layers", "wraps")


# Practice -----------------------------------------------------------------------------------------------------------


class PracticeStillOpen(Refused):
    title = "A practice reel is still open"
    message = "A practice reel of type {reel_type} is under way; finish it, or ask for help on it, before the next."


class PracticeStepPassed(Refused):
    title = "The step is entered already"
    message = "Step {seen} of this practice reel is entered already; it goes on with {next}."


class NotAnInstructor(NotAllowed):
    title = "For instructors"
    message = "Other people's practice is shown to whoever is authorised to instruct at their site; {name} is not."


class NotReady(Refused):
    title = "Not ready yet"
    message = "{site} asks for practice before somebody is authorised to {act}, and {name} is not there yet. {why}"


# Older records brought in -------------------------------------------------------------------------------------------


class ImportRefused(Malformed):
    """problems: those told, of a total; reasons: all, commonest first, by file, column, allowed; the rest are rows."""

    title = "The files cannot be brought in"
    message = "Problems in the files: {total}. Nothing was stored."


class TooManyImports(Busy):
    title = "Too many imports wait already"
    message = "{most} imports wait for a worker already. Send this one again once some are done."


# Flags of the drift report ------------------------------------------------------------------------------------------


class FlagAlreadyOpen(Refused):
    title = "The interval is assigned already"
    message = "Flag {flag} on this interval is open and assigned to {name}."


class FlagClosed(Refused):
    title = "The flag is closed"
    message = "Flag {flag} was closed on {on} as {ending}."
