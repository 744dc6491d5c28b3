"""The law of propagation, beside the example that everybody checks it with."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from reels.domain.uncertainty import Propagated, checked, propagate
from reels.errors import ImpossibleValue

# GUM (JCGM 100:2008) H.1, end-gauge calibration; held from several independent test suites that agree, the document
# itself not read. l = l_s + d - l_s (dalpha theta + alpha_s dtheta), lengths in nanometres.
GAUGE_NM = 50_000_623.0
ALPHA_PER_C, THETA_C, DALPHA_PER_C, DTHETA_C = 11.5e-6, -0.1, 0.0, 0.0


def end_gauge() -> Propagated:
    sensitivities = [
        1 - (DALPHA_PER_C * THETA_C + ALPHA_PER_C * DTHETA_C),
        1.0,
        -GAUGE_NM * DTHETA_C,
        -GAUGE_NM * DALPHA_PER_C,
        -GAUGE_NM * THETA_C,
        -GAUGE_NM * ALPHA_PER_C,
    ]
    uncertainties = [25.0, 9.7, 1.2e-6, 0.41, 0.58e-6, 0.029]
    return propagate(sensitivities, uncertainties, [18, 25.6, np.inf, np.inf, 50, 2])


def test_the_end_gauge_has_the_published_contributions() -> None:
    # The GUM prints 16.6 for the last; computed it is 16.675.
    np.testing.assert_allclose(end_gauge().contributions, [25, 9.7, 0, 0, 2.9, 16.675], atol=0.0005)


def test_the_end_gauge_has_the_published_combined_uncertainty() -> None:
    assert round(float(end_gauge().combined_u)) == 32
    assert float(end_gauge().combined_u) == pytest.approx(31.711, abs=0.0005)  # computed


def test_the_end_gauge_has_the_published_effective_degrees_of_freedom() -> None:
    assert math.floor(end_gauge().effective_dof) == 16  # the GUM truncates
    assert float(end_gauge().effective_dof) == pytest.approx(16.656, abs=0.005)  # computed


def test_the_end_gauge_has_the_published_expanded_uncertainty_and_not_the_one_that_circulates() -> None:
    t99 = stats.t.ppf(0.995, math.floor(end_gauge().effective_dof))
    assert t99 == pytest.approx(2.92, abs=0.005)
    expanded_nm = round(t99 * round(float(end_gauge().combined_u)))
    assert expanded_nm == 93
    assert expanded_nm != 68  # one suite's figure, at 95 %


def test_results_of_any_shape_are_worked_out_in_one_go() -> None:
    together = propagate([[3.0, 0.0], [4.0, 5.0]], [1.0, 2.0], [4.0, np.inf])
    np.testing.assert_allclose(together.combined_u, [math.hypot(3, 8), 10.0])
    np.testing.assert_allclose(together.contributions, [[3.0, 0.0], [8.0, 10.0]])
    np.testing.assert_allclose(together.effective_dof, [(9 + 64) ** 2 / (81 / 4), np.inf])


def test_nothing_uncertain_is_certain_with_any_degrees_of_freedom() -> None:
    nothing = propagate([1.0, 2.0], [0.0, 0.0], [3.0, 4.0])
    assert nothing.combined_u == 0.0
    assert nothing.effective_dof == np.inf


@given(
    st.lists(st.tuples(st.floats(-1e3, 1e3), st.floats(1e-3, 1e3), st.floats(1, 100)), min_size=1, max_size=6).filter(
        lambda inputs: any(abs(c) > 1e-3 for c, _, _ in inputs)
    )
)
def test_effective_degrees_of_freedom_lie_between_the_least_and_the_sum(
    inputs: list[tuple[float, float, float]],
) -> None:
    # A known property of the Welch-Satterthwaite formula; from memory, and by the Cauchy-Schwarz inequality.
    c, u, dof = zip(*inputs, strict=True)
    effective = float(propagate(c, u, dof).effective_dof)
    assert min(dof) * (1 - 1e-9) <= effective <= sum(dof) * (1 + 1e-9)


@pytest.mark.parametrize(
    ("sensitivities", "uncertainties", "dof", "sentence"),
    [
        ([1.0, 1.0], [0.1, -0.1], np.inf, "standard uncertainty was -0.1 (place 1); allowed: a finite number from 0"),
        ([1.0, math.nan], [0.1, 0.1], np.inf, "sensitivity was nan (place 1)"),
        ([1.0, 1.0], [0.1, math.inf], np.inf, "standard uncertainty was inf (place 1)"),
        ([1.0, 1.0], [0.1, 0.1], [5.0, 0.0], "degrees of freedom was 0.0 (place 1); allowed: a number above 0"),
    ],
)
def test_impossible_inputs_are_refused_by_their_place(
    sensitivities: list[float], uncertainties: list[float], dof: float | list[float], sentence: str
) -> None:
    with pytest.raises(ImpossibleValue) as refusal:
        propagate(sensitivities, uncertainties, dof)
    assert str(refusal.value).startswith(sentence)


def test_the_limits_themselves_are_allowed() -> None:
    assert checked([[0.0], [2.5]], "length_m", least=0.0, most=2.5).tolist() == [[0.0], [2.5]]
