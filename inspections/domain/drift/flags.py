"""Which intervals are flagged."""

from collections.abc import Sequence

import numpy as np


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
