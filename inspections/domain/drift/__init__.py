"""Unlogged cuts: what a reel's counts and log entries say, over its whole history. The public face.

A slip reverts at the next count; a cut stays. So a single difference proves little and the sequence proves a lot. The
hidden state is the cable on the drum; it falls by logged cuts, by unlogged ones, and else stays, but for a little
stretch of new cable. Each count sees it through whole wraps, looseness and people's slips. Rates come from the fleet
(`learn`), beliefs about a reel from its history and the rates (`assess`). Pure: the caller hands over the rows that
were known on the day that it asks about.

    records     what goes in and what comes out     parameters     rates and what they mean
    geometry    drum tables, windows of lengths     looseness      how loosely a reel is wound
    chain       a history laid out for inference    likelihood     what a count tells, slips among it
    kernels     moves by cuts and by the log        batch          chains side by side, one step
    smoother    forward and backward pass           posteriors     slips and log entries read off them
    fleet       reels and fleets put together       learning       rates from a fleet
    newest      the newest count: plausible?        words          the sentences
    hidden_markov  the recursions themselves
"""

from collections.abc import Sequence

import numpy as np

from inspections.domain.drift.fleet import assess_fleet
from inspections.domain.drift.learning import learn
from inspections.domain.drift.newest import (
    Plausibility,
    Recount,
    most_probable_course,
    plausibility,
    recount,
    worth_of_recount,
)
from inspections.domain.drift.parameters import DEFAULT_PARAMETERS, DriftParameters, in_words
from inspections.domain.drift.records import (
    ClosedFlag,
    CountPosterior,
    CountSeen,
    CutLogged,
    Ending,
    IntervalPosterior,
    ReelAssessment,
    ReelHistory,
    Slip,
)
from inspections.domain.drift.words import explain, plausibility_in_words

__all__ = [
    "DEFAULT_PARAMETERS",
    "ClosedFlag",
    "CountPosterior",
    "CountSeen",
    "CutLogged",
    "DriftParameters",
    "Ending",
    "IntervalPosterior",
    "Plausibility",
    "Recount",
    "ReelAssessment",
    "ReelHistory",
    "Slip",
    "assess",
    "assess_fleet",
    "choose_flags",
    "explain",
    "in_words",
    "learn",
    "most_probable_course",
    "plausibility",
    "plausibility_in_words",
    "recount",
    "worth_of_recount",
]


def assess(history: ReelHistory, theta: DriftParameters = DEFAULT_PARAMETERS) -> ReelAssessment:
    """What is believed of one reel.

    history: any number of counts. rates: learned from its fleet.
    Returns one belief a count and one a pair of neighbouring counts, in order of time.
    """
    return next(assess_fleet([history], theta))


def choose_flags(probabilities: Sequence[float], false_share: float = 0.05) -> list[bool]:
    """Flag as many intervals as possible while the expected share of false flags stays at or below false_share.

    probabilities: of an unlogged cut, each 0 to 1. false_share: 0 to 1.
    Returns one answer each, in the order given; equal probabilities are answered alike.
    Source: the Bayesian false discovery rate, Newton et al. (2004): the mean of 1 - p over the flagged.
    """
    p = np.asarray(probabilities, dtype=np.float64)
    falling = np.sort(p)[::-1]
    expected = np.cumsum(1.0 - falling) / np.arange(1, p.size + 1)
    last_of_its_kind = np.append(falling[1:] != falling[:-1], True)[: p.size]
    fine = np.flatnonzero((expected <= false_share + 1e-12) & last_of_its_kind)
    if fine.size == 0:
        return [False] * p.size
    return [bool(x) for x in p >= falling[fine[-1]]]
