"""Textbook examples through the very recursions that the drift model uses."""

from itertools import product

import numpy as np
import pytest

from inspections.domain.drift.hidden_markov import backward, forward, viterbi
from reels.domain.uncertainty import FloatArray

# Russell & Norvig, the umbrella world (companion code aima-python, read; the book not read): rain or not
RAIN = np.array([[0.7, 0.3], [0.3, 0.7]])
UMBRELLA, NO_UMBRELLA, UNSEEN = [0.9, 0.2], [0.1, 0.8], [1.0, 1.0]

# Healthy or fever; normal, cold, dizzy (Wikipedia, Viterbi algorithm, seen in one code file)
HEALTH = np.array([[0.7, 0.3], [0.4, 0.6]])
SYMPTOMS = np.array([[0.5, 0.4, 0.1], [0.1, 0.3, 0.6]])

# Rainy or sunny; walk, shop, clean (hmmlearn's tests, read), same start and steps as above
ERRANDS = np.array([[0.1, 0.4, 0.5], [0.6, 0.3, 0.1]])


def both_passes(start: list[float], step: FloatArray, seen: list[list[float]]) -> tuple[FloatArray, FloatArray, float]:
    """Filtered, smoothed and the log probability of everything seen, of one sequence."""
    likelihoods = np.array(seen)[:, None, :]
    lengths = np.array([len(seen)])
    result = forward(np.array([start]), likelihoods, lambda _t, posterior: posterior @ step, lengths)
    messages = backward(likelihoods, lambda _t, message: message @ step.T, lengths, (2,))
    smoothed = result.filtered * messages
    return (
        result.filtered[:, 0],
        (smoothed / smoothed.sum(axis=2, keepdims=True))[:, 0],
        float(result.log_evidence.sum()),
    )


def test_the_umbrella_world_is_filtered_and_smoothed_as_published() -> None:
    # day 0 is before any umbrella; published .8182, .8834 filtered and .8834 smoothed on day 1
    filtered, smoothed, _ = both_passes([0.5, 0.5], RAIN, [UNSEEN, UMBRELLA, UMBRELLA])
    assert filtered[1:, 0] == pytest.approx([0.81818, 0.88336], abs=5e-6)
    assert smoothed[1, 0] == pytest.approx(0.88336, abs=5e-6)


def test_a_day_without_a_look_is_smoothed_as_recomputed() -> None:
    # umbrella, umbrella, no umbrella, umbrella, umbrella: recomputed with general libraries
    seen = [UNSEEN, UMBRELLA, UMBRELLA, NO_UMBRELLA, UMBRELLA, UMBRELLA]
    _, smoothed, _ = both_passes([0.5, 0.5], RAIN, seen)
    assert smoothed[:, 0] == pytest.approx([0.6469, 0.8673, 0.8204, 0.3075, 0.8204, 0.8673], abs=5e-5)


def test_alternating_umbrellas_are_smoothed_as_in_the_companion_code() -> None:
    seen = [UNSEEN, UMBRELLA, NO_UMBRELLA, UMBRELLA, NO_UMBRELLA, UMBRELLA]
    _, smoothed, _ = both_passes([0.5, 0.5], RAIN, seen)
    assert smoothed[:, 0] == pytest.approx([0.5871, 0.7177, 0.2324, 0.6072, 0.2324, 0.7177], abs=5e-5)


def test_the_log_likelihood_is_that_of_hmmlearns_own_test() -> None:
    # hmmlearn tests/test_base.py cites Wikipedia's forward-backward: -3.3725; its first reading comes at the start
    _, _, log_evidence = both_passes([0.5, 0.5], RAIN, [UMBRELLA, UMBRELLA, NO_UMBRELLA, UMBRELLA, UMBRELLA])
    assert log_evidence == pytest.approx(-3.3725, abs=5e-5)


def test_errands_give_the_posteriors_and_the_evidence_as_recomputed() -> None:
    seen = [ERRANDS[:, k].tolist() for k in (0, 1, 2)]
    _, smoothed, log_evidence = both_passes([0.6, 0.4], HEALTH, seen)
    assert smoothed == pytest.approx(
        np.array([[0.231703, 0.768297], [0.624063, 0.375937], [0.863977, 0.136023]]), abs=5e-7
    )
    assert np.exp(log_evidence) == pytest.approx(0.033612, abs=5e-7)


@pytest.mark.parametrize(
    ("emissions", "expected", "probability"),
    [(SYMPTOMS, [0, 0, 1], 0.01512), (ERRANDS, [1, 0, 0], 0.01344)],
    ids=["normal, cold, dizzy: healthy, healthy, fever", "walk, shop, clean: sunny, rainy, rainy"],
)
def test_the_most_probable_course_is_the_published_one(
    emissions: FloatArray, expected: list[int], probability: float
) -> None:
    log_seen = np.log(emissions.T)
    course = viterbi(np.log([0.6, 0.4]), log_seen, lambda _t: np.log(HEALTH))
    assert course.tolist() == expected
    joint = np.log([0.6, 0.4])[course[0]] + log_seen[np.arange(3), course].sum()
    joint += np.log(HEALTH)[course[:-1], course[1:]].sum()
    assert np.exp(joint) == pytest.approx(probability, abs=5e-7)


def test_the_most_probable_umbrella_week_is_as_recomputed() -> None:
    # umbrella on days 1, 2, 4, 5: rain, rain, dry, rain, rain
    seen = np.log(np.array([UMBRELLA, UMBRELLA, NO_UMBRELLA, UMBRELLA, UMBRELLA]))
    assert viterbi(np.log([0.5, 0.5]), seen, lambda _t: np.log(RAIN)).tolist() == [0, 0, 1, 0, 0]


def test_with_steps_that_differ_from_time_to_time_the_course_is_the_best_of_all() -> None:
    rng = np.random.default_rng(20261129)
    log_start, log_seen = np.log(rng.dirichlet(np.ones(3))), np.log(rng.dirichlet(np.ones(3), 4))
    log_steps = np.log(rng.dirichlet(np.full(3, 0.3), (3, 3)))

    def log_joint(course: tuple[int, ...]) -> float:
        moves = sum(log_steps[t, course[t], course[t + 1]] for t in range(3))
        return float(log_start[course[0]] + log_seen[range(4), course].sum() + moves)

    best = max(product(range(3), repeat=4), key=log_joint)
    assert tuple(viterbi(log_start, log_seen, lambda t: log_steps[t]).tolist()) == best


def test_rows_of_different_length_are_worked_out_as_if_alone() -> None:
    rng = np.random.default_rng(20261125)
    lengths = np.array([6, 4, 4, 1])
    likelihoods = rng.uniform(0.05, 1.0, (6, 4, 2))
    together = forward(np.full((4, 2), 0.5), likelihoods, lambda _t, posterior: posterior @ RAIN, lengths)
    messages = backward(likelihoods, lambda _t, message: message @ RAIN.T, lengths, (2,))
    for row, length in enumerate(lengths):
        filtered, smoothed, log_evidence = both_passes([0.5, 0.5], RAIN, likelihoods[:length, row].tolist())
        assert not together.filtered[length:, row].any()
        posterior = together.filtered[:length, row] * messages[:length, row]
        assert together.filtered[:length, row] == pytest.approx(filtered, abs=1e-12)
        assert posterior / posterior.sum(axis=1, keepdims=True) == pytest.approx(smoothed, abs=1e-12)
        assert together.log_evidence[:length, row].sum() == pytest.approx(log_evidence, abs=1e-12)
