"""Forward–backward and Viterbi for a hidden state x_t that moves step by step and is seen as y_t through noise.

    predicted_t ∝ p(x_t | y_1 … y_t-1)        filtered_t ∝ predicted_t p(y_t | x_t)
    backward_t  ∝ p(y_t+1 … y_T | x_t)        smoothed_t ∝ filtered_t backward_t

Nothing of reels. A step from one time to the next is handed in as a function, so that a small matrix (the textbook
examples) and a convolution (the drift model) run through the same lines. Many sequences run side by side as rows, the
longest first: those that go on are always the first n rows, and one that has ended takes no further part.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from reels.domain.uncertainty import FloatArray

IntArray = NDArray[np.int64]
ComplexArray = NDArray[np.complex128]
Step = Callable[[int, FloatArray], FloatArray]

# Added to every divisor that may be zero, and before every logarithm: far above the least float (2e-308) and far below
# any probability that matters, so that it changes no other digit.
TINY = 1e-300


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Filtered:
    """The forward pass: predicted and filtered, shape (times, rows, *states), summing to one over the states.

    log_evidence: shape (times, rows), log p(y_t | y_1 … y_t-1); its sum over the times is log p(y_1 … y_T).
    """

    predicted: FloatArray
    filtered: FloatArray
    log_evidence: FloatArray


def forward(start: FloatArray, likelihoods: FloatArray, ahead: Step, lengths: IntArray) -> Filtered:
    """Filter every row from its first time to its last.

    start: p(x_1), shape (rows, *states). likelihoods: p(y_t | x_t), shape (times, rows, *states), or broadcasting to
    it. ahead(t, filtered) carries the distribution at t, shape (n, *states), to t + 1. lengths: shape (rows,), times of
    each row, not increasing.
    Source: Rabiner (1989), scaled forward recursion.
    """
    predicted = np.zeros((likelihoods.shape[0], *start.shape))
    filtered = np.zeros_like(predicted)
    log_evidence = np.zeros(predicted.shape[:2])
    here = start
    for t in range(predicted.shape[0]):
        n = int(np.count_nonzero(lengths > t))
        here = here[:n] if t == 0 else ahead(t - 1, here[:n])
        predicted[t, :n] = here
        # Scaled to one at every time, else some hundreds of counts underflow; the scale is p(y_t | y_1 … y_t-1).
        here, scale = _scaled(here * likelihoods[t, :n])
        filtered[t, :n] = here
        log_evidence[t, :n] = np.log(scale)
    return Filtered(predicted=predicted, filtered=filtered, log_evidence=log_evidence)


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
        messages[t, :n], _ = _scaled(back(t, messages[t + 1, :n] * likelihoods[t + 1, :n]))
    return messages


def _scaled(unscaled: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Each row divided by its sum over the states, and the sums."""
    n, *states = unscaled.shape
    scale = unscaled.reshape(n, -1).sum(axis=1) + TINY
    return unscaled / scale.reshape(n, *(1 for _ in states)), scale


def viterbi(
    log_start: FloatArray, log_likelihoods: FloatArray | Sequence[FloatArray], log_step: Callable[[int], FloatArray]
) -> IntArray:
    """The single most probable course of one sequence.

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
