"""Why a count is worth making next, in a sentence."""

from inspections.domain.drift import Recount
from inspections.domain.words import ReelStatus

FIRST = {
    ReelStatus.HELD: "It is held: the hold comes first.",
    ReelStatus.REFERRED: "Its count has been referred to an authorised person.",
    ReelStatus.COUNT_OPEN: "A count of it is under way.",
    ReelStatus.AWAITING_SIGN_OFF: "A count of it is complete and waits for its signatures.",
}
LEAST_DOUBT_BITS = 0.1
COLUMNS = ("reel", "site", "status", "last_counted_at", "layers", "wraps", "p_unlogged_cut", "cut_m", "cut_low_m",
           "cut_high_m", "doubt_bits", "worth_bits", "settled_share", "worth_nats", "doubt_m", "worth_m",
           "reason")  # fmt: skip


def reason(worth: Recount, count: str, lost: str, moved: str) -> str:
    """What one more count would tell of a suspected cut.

    count: the newest count, with its day, in words; lost: the length that is missing if there was a cut; moved: the
    change that was seen, both with their unit.
    """
    cut = "an unlogged cut is more likely than not" if worth.p_cut >= 0.5 else "an unlogged cut is possible"
    return (
        f"The newest count, {count}, makes the cable {moved}: {cut} ({percent(worth.p_cut)}), of {lost}. A slip of "
        f"that count would look the same. One more should remove {percent(worth.settled_share)} of the doubt."
    )


def worth_in_words(worth: Recount) -> str:
    """What one more count of a reel would tell, without naming its newest one."""
    if worth.doubt_bits < LEAST_DOUBT_BITS:
        return "One more count now would add little: it is hardly in doubt whether the newest one shows a cut."
    return (
        f"Whether the newest count shows an unlogged cut is in doubt ({percent(worth.p_cut)}). One more count now "
        f"should remove {percent(worth.settled_share)} of that doubt."
    )


def to_do_first(status: str, machine: str | None) -> str:
    """What comes before it can be counted; nothing when it is ready."""
    if status in FIRST:
        return FIRST[ReelStatus(status)]
    return f"It is in {machine}: take it off first." if machine else ""


def percent(share: float) -> str:
    """A share as people read it, never 0 % or 100 %."""
    if 0.01 <= share <= 0.99:
        return f"{100 * share:.0f}\u00a0%"
    return "under 1\u00a0%" if share < 0.01 else "over 99\u00a0%"
