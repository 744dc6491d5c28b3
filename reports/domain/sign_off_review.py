"""Which signatures deserve a look, and why. None of it is a fault by itself; somebody asks, and judges."""

from collections import Counter
from collections.abc import Mapping
from datetime import datetime, timedelta
from enum import StrEnum

FAST = timedelta(seconds=30)  # two signatures closer than that leave no time to read what is signed
NEAR_END = timedelta(days=14)
LEAST_TOGETHER = 5  # inspections; with fewer, "always the same two" is chance
USUAL_SHARE = 0.8


class ReviewReason(StrEnum):
    """Why a signature deserves a look."""

    FAST_PAIR = "fast_pair"
    USUAL_PAIR = "usual_pair"
    NEAR_END = "near_end"
    READ_BACK = "read_back"
    VOID = "void"
    OUTLIER = "surprise"


REVIEW_REASONS = {
    ReviewReason.FAST_PAIR: "fast pair",
    ReviewReason.USUAL_PAIR: "always the same two",
    ReviewReason.NEAR_END: "near an authorisation's end",
    ReviewReason.READ_BACK: "read-back refused",
    ReviewReason.VOID: "voided or asked to be",
    ReviewReason.OUTLIER: "surprising, accepted",
}


def usual_pairs(together: Mapping[tuple[int, int], int]) -> frozenset[tuple[int, int]]:
    """The pairs that nearly always sign together.

    together: how many inspections the technician and the verifier, by their ids, signed together.
    Returns those with at least LEAST_TOGETHER of them, being USUAL_SHARE or more of what either one signed.
    """
    counted: Counter[int] = Counter()
    verified: Counter[int] = Counter()
    for (technician, verifier), number in together.items():
        counted[technician] += number
        verified[verifier] += number
    return frozenset(
        pair
        for pair, number in together.items()
        if number >= LEAST_TOGETHER
        and number >= USUAL_SHARE * counted[pair[0]]
        and number >= USUAL_SHARE * verified[pair[1]]
    )


def is_fast(signed_at: datetime, other_at: datetime | None) -> bool:
    """Whether two signatures of one inspection came within FAST of each other."""
    return other_at is not None and abs(signed_at - other_at) <= FAST


def is_near_end(signed_at: datetime, ends_at: datetime | None) -> bool:
    """Whether an authorisation ended within NEAR_END after it was signed under."""
    return ends_at is not None and ends_at - signed_at <= NEAR_END
