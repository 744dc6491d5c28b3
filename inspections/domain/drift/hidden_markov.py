"""Forward–backward and Viterbi for a hidden state that moves step by step and is seen through noise. Nothing of reels.

A step from one time to the next is handed in as a function, so that a small matrix (the textbook examples) and a
convolution (the drift model) run through the same lines. Many chains run side by side as rows, the longest first, and
a row that has ended takes no further part.

Messages are scaled to sum to one at every time, which keeps any length of chain within floating point.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
Step = Callable[[int, FloatArray], FloatArray]

LEAST = 1e-300  # keeps a row whose every state is ruled out from dividing by zero


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Filtered:
    """What is believed at each time from the times so far.

    before: shape (times, rows, *states), before the reading of that time; sums to one over the states.
    after: the same, with that reading.
    log_evidence: shape (times, rows), logarithm of the probability of each reading given the earlier ones.
    """

    before: FloatArray
    after: FloatArray
    log_evidence: FloatArray


def forward(start: FloatArray, likelihoods: FloatArray, ahead: Step, lengths: IntArray) -> Filtered:
    """Filter every row from its first time to its last.

    start: shape (rows, *states), belief before the first reading. likelihoods: shape (times, rows, *states), or
    broadcasting to it. ahead(t, belief) carries beliefs at t, shape (n, *states), to t + 1. lengths: shape (rows,),
    times of each row, not increasing.
    Source: Rabiner (1989), scaled forward recursion.
    """
    times = likelihoods.shape[0]
    states = start.shape[1:]
    before = np.zeros((times, *start.shape))
    after = np.zeros_like(before)
    log_evidence = np.zeros((times, start.shape[0]))
    belief = start
    for t in range(times):
        n = int(np.count_nonzero(lengths > t))
        belief = belief[:n] if t == 0 else ahead(t - 1, belief[:n])
        before[t, :n] = belief
        belief = belief * likelihoods[t, :n]
        scale = belief.reshape(n, -1).sum(axis=1) + LEAST
        belief /= scale.reshape(n, *(1 for _ in states))
        after[t, :n] = belief
        log_evidence[t, :n] = np.log(scale)
    return Filtered(before=before, after=after, log_evidence=log_evidence)


def backward(likelihoods: FloatArray, back: Step, lengths: IntArray, states: tuple[int, ...]) -> FloatArray:
    """How well each state at each time explains the later readings of its row: shape (times, rows, *states).

    back(t, message) carries messages at t + 1 (that reading included) to t. Each message sums to one over the states;
    a row's last one is flat.
    Source: Rabiner (1989), scaled backward recursion.
    """
    times = likelihoods.shape[0]
    messages = np.ones((times, lengths.size, *states)) / np.prod(states)
    for t in range(times - 2, -1, -1):
        n = int(np.count_nonzero(lengths > t + 1))
        message = back(t, messages[t + 1, :n] * likelihoods[t + 1, :n])
        scale = message.reshape(n, -1).sum(axis=1) + LEAST
        messages[t, :n] = message / scale.reshape(n, *(1 for _ in states))
    return messages


def viterbi(
    log_start: FloatArray, log_likelihoods: FloatArray | Sequence[FloatArray], log_step: Callable[[int], FloatArray]
) -> IntArray:
    """The single most probable course of one chain.

    log_start: shape (states,). log_likelihoods: for each time, shape (states,). log_step(t): shape (states from,
    states to), the step from t to t + 1. Every time may have states of its own.
    Returns the state at each time, shape (times,); of equally probable courses, the one with the lowest last state.
    Source: Viterbi (1967).
    """
    best = log_start + log_likelihoods[0]
    came_from: list[IntArray] = []
    for t in range(1, len(log_likelihoods)):
        # routes[i, j]: best course that is in i at t - 1 and in j at t
        routes = best[:, None] + log_step(t - 1)
        came_from.append(routes.argmax(axis=0))
        best = routes.max(axis=0) + log_likelihoods[t]
    course = [int(best.argmax())]
    for origins in reversed(came_from):
        course.append(int(origins[course[-1]]))
    return np.array(course[::-1], dtype=np.int64)
