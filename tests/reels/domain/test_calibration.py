"""The fit of the layer rise: another method agrees, the truth comes back, and useless data are refused."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from scipy import optimize, stats

from reels.domain import winding
from reels.domain.calibration import RiseFit, advice, fit_layer_rise
from reels.errors import ImpossibleDrum, ImpossibleValue, KnownLengthsTellNothing, OffTheDrum, TooFewKnownLengths
from tests.reels.domain.drums import drum

SEED = 20_240_518
LAYERS = np.array([4, 9, 13, 18, 24, 30])
WRAPS = np.array([3.0, 25.0, 0.0, 11.0, 8.0, 20.0])
TRUE_RISE_MM = 5.6
U_M = np.array([0.2, 0.2, 0.3, 0.3, 0.5, 0.5])


def known_lengths_m(rng: np.random.Generator | None = None, **changes: Any) -> np.ndarray:
    lengths = winding.length_m(LAYERS, WRAPS, drum(layer_rise_mm=TRUE_RISE_MM, **changes))
    return lengths if rng is None else lengths + U_M * rng.standard_normal(LAYERS.size)


def fit(lengths_m: np.ndarray, *, fit_core: bool = False, **changes: Any) -> RiseFit:
    return fit_layer_rise(LAYERS, WRAPS, lengths_m, U_M, drum(**changes), fit_core=fit_core, count_u_wraps=0.0)


# The truth comes back -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("fit_core", [False, True])
def test_exact_lengths_give_the_rise_back(fit_core: bool) -> None:
    offered = fit(known_lengths_m(), fit_core=fit_core)
    assert offered.layer_rise_mm == pytest.approx(TRUE_RISE_MM, abs=1e-8)
    assert offered.core_diameter_mm == pytest.approx(180.0, abs=1e-6)
    np.testing.assert_allclose(offered.residuals_m, 0.0, atol=1e-8)
    assert offered.chi_square == pytest.approx(0.0, abs=1e-12)


def test_a_core_that_is_not_as_stated_is_found_when_asked_for() -> None:
    offered = fit(known_lengths_m(core_diameter_mm=181.5), fit_core=True)
    assert offered.core_diameter_mm == pytest.approx(181.5, abs=1e-6)
    assert offered.layer_rise_mm == pytest.approx(TRUE_RISE_MM, abs=1e-8)


@pytest.mark.parametrize("rise_mm", [3.1, 5.0, 6.2, 7.4])
def test_the_rise_that_is_offered_does_not_depend_on_the_one_in_use(rise_mm: float) -> None:
    assert fit(known_lengths_m(), layer_rise_mm=rise_mm).layer_rise_mm == pytest.approx(TRUE_RISE_MM, abs=1e-9)


@pytest.mark.parametrize("fit_core", [False, True])
def test_a_general_least_squares_routine_finds_the_same(fit_core: bool) -> None:
    lengths_m = known_lengths_m(np.random.default_rng(SEED))

    def model(_: Any, rise_mm: float, core_mm: float = 180.0) -> np.ndarray:
        return winding.length_m(LAYERS, WRAPS, drum(layer_rise_mm=rise_mm, core_diameter_mm=core_mm))

    start = [5.2, 180.0] if fit_core else [5.2]
    theirs, covariance = optimize.curve_fit(model, LAYERS, lengths_m, p0=start, sigma=U_M, absolute_sigma=True)
    offered = fit(lengths_m, fit_core=fit_core)
    ours = [offered.layer_rise_mm, offered.core_diameter_mm][: len(start)]
    # the routine takes its slopes by finite differences and stops at a relative change of 1e-8
    np.testing.assert_allclose(ours, theirs, rtol=1e-6)
    np.testing.assert_allclose(offered.covariance_mm2, covariance, rtol=1e-4)


def test_two_standard_uncertainties_cover_the_rise_as_often_as_they_should() -> None:
    rng = np.random.default_rng(SEED)
    offers = [fit(known_lengths_m(rng)) for _ in range(400)]
    covered = np.mean([abs(each.layer_rise_mm - TRUE_RISE_MM) < 1.96 * each.layer_rise_u_mm for each in offers])
    # 95 % of 400 is uncertain by sqrt(0.95 * 0.05 / 400) = 1.1 %; three of those
    assert covered == pytest.approx(0.95, abs=0.033)
    # chi-square has 5 degrees of freedom; the mean of 400 is uncertain by sqrt(2 * 5 / 400) = 0.16; three of those
    assert np.mean([each.chi_square for each in offers]) == pytest.approx(5, abs=0.48)


def test_the_dimensions_taken_as_known_make_the_rise_less_certain() -> None:
    # By hand: each dimension, off by its uncertainty, moves the fitted rise; the moves are added in squares.
    off_mm = 0.1
    exact = fit(known_lengths_m())
    moved_mm = [
        fit(known_lengths_m(core_diameter_mm=180.0 + off_mm)).layer_rise_mm - TRUE_RISE_MM,
        fit(known_lengths_m(cable_diameter_mm=6.0 + off_mm)).layer_rise_mm - TRUE_RISE_MM,
    ]
    assert np.abs(moved_mm).min() > exact.layer_rise_u_mm / 2
    by_hand_mm = np.sqrt(exact.layer_rise_u_mm**2 + np.sum(np.square(moved_mm)))
    # a finite step beside a slope
    assert fit(known_lengths_m(), diameter_u_mm=off_mm).layer_rise_u_mm == pytest.approx(by_hand_mm, rel=1e-3)


def test_the_count_is_uncertain_too() -> None:
    with_count = fit_layer_rise(LAYERS, WRAPS, known_lengths_m(), U_M, drum(), count_u_wraps=0.3)
    assert with_count.layer_rise_u_mm > 1.1 * fit(known_lengths_m()).layer_rise_u_mm


def test_a_length_of_less_than_a_metre_can_be_known() -> None:
    short_m = winding.length_m([0, 4], [1, 3], drum(layer_rise_mm=TRUE_RISE_MM))
    assert short_m[0] < 1
    assert fit_layer_rise([0, 4], [1, 3], short_m, 0.1, drum()).layer_rise_mm == pytest.approx(TRUE_RISE_MM, abs=1e-8)


# Judging the offer --------------------------------------------------------------------------------------------------


def test_a_known_length_that_is_wrong_shows_in_its_residual_and_in_the_fit() -> None:
    lengths_m = known_lengths_m()
    lengths_m[2] += 3.0
    offered = fit(lengths_m)
    assert np.argmax(np.abs(offered.residuals_m / U_M)) == 2
    assert offered.chance_of_worse_fit < 1e-6


def test_the_chance_of_a_worse_fit_is_the_tail_of_chi_square() -> None:
    offered = fit(known_lengths_m(np.random.default_rng(SEED)))
    assert offered.chance_of_worse_fit == pytest.approx(stats.chi2.sf(offered.chi_square, 5), rel=1e-12)


def test_reels_of_different_fill_tell_rise_and_core_apart() -> None:
    offered = fit(known_lengths_m(), fit_core=True)
    assert offered.can_tell_rise_from_core
    rise_u, core_u = offered.layer_rise_u_mm, offered.core_diameter_u_mm
    assert offered.rise_u_core_open_mm == pytest.approx(rise_u, rel=1e-6)
    assert offered.correlation == pytest.approx(offered.covariance_mm2[0, 1] / (rise_u * core_u), rel=1e-6)


def test_reels_of_like_fill_cannot_tell_rise_and_core_apart() -> None:
    layers, wraps = [20, 20, 21], [3, 9, 2]
    lengths_m = winding.length_m(layers, wraps, drum(layer_rise_mm=TRUE_RISE_MM))
    offered = fit_layer_rise(layers, wraps, lengths_m, [0.3, 0.3, 0.3], drum())
    assert offered.layer_rise_mm == pytest.approx(TRUE_RISE_MM, abs=1e-8)
    assert not offered.can_tell_rise_from_core
    assert offered.correlation < -0.99


@pytest.mark.parametrize("wraps", [0, 3, 4])
def test_reels_filled_exactly_alike_say_nothing_of_the_rise_once_the_core_is_in_doubt(wraps: int) -> None:
    lengths_m = winding.length_m([20, 20], wraps, drum(layer_rise_mm=TRUE_RISE_MM))
    offered = fit_layer_rise([20, 20], wraps, lengths_m, 0.3, drum(), count_u_wraps=0.0)
    # infinite; rounding leaves some number of the size of 1 / 2e-16
    assert offered.rise_u_core_open_mm > 1e9
    assert not offered.can_tell_rise_from_core


def lengths_known_to(u_mm: float) -> RiseFit:
    """A fit to lengths whose uncertainties are so large that the rise, were the core open, would be known to u_mm."""
    scale = u_mm / fit(known_lengths_m()).rise_u_core_open_mm
    return fit_layer_rise(LAYERS, WRAPS, known_lengths_m(), U_M * scale, drum(), count_u_wraps=0.0)


def test_lengths_that_are_less_certain_leave_the_rise_less_certain_in_proportion() -> None:
    assert lengths_known_to(3.0).rise_u_core_open_mm == pytest.approx(3.0)


@pytest.mark.parametrize(("share", "can_tell"), [(0.99, True), (1.01, False)])
def test_rise_and_core_are_told_apart_if_two_uncertainties_each_way_lie_between_nested_and_stacked(
    share: float, can_tell: bool
) -> None:
    # cable of 6 mm: wraps in the grooves rise by √3/2 of it, those on top of each other by all of it (geometry)
    nested_to_stacked_mm = 6.0 - 6.0 * np.sqrt(3) / 2
    assert lengths_known_to(share * nested_to_stacked_mm / 4).can_tell_rise_from_core is can_tell


# Advice -------------------------------------------------------------------------------------------------------------

SCATTER = (
    "The lengths scatter more than their uncertainties allow. Look at the reels that are furthest off before anything "
    "is taken over: a length may be wrong, or a cut not logged."
)
ALIKE = "The reels are filled too much alike to tell a wrong rise from a wrong core diameter; measure the core."
IN_USE = drum(layer_rise_mm=5.6, layer_rise_u_mm=0.04)


def offer(**changes: Any) -> RiseFit:
    """A sound fit of the rise in use, of uncertainty 0.03 mm: of both, √(0.03² + 0.04²) = 0.05 mm."""
    return replace(fit(known_lengths_m()), layer_rise_u_mm=0.03, **changes)


def test_a_sound_fit_of_the_rise_in_use_is_advised_as_that_and_no_more() -> None:
    agrees = "It agrees with the rise in use, 5.600 mm, within twice the uncertainty of both (0.050)."
    assert advice(offer(), IN_USE) == (agrees,)


@pytest.mark.parametrize(
    ("rise_mm", "sentence"),
    [
        (5.699, "It agrees with the rise in use, 5.600 mm, within twice the uncertainty of both (0.050)."),
        (5.501, "It agrees with the rise in use, 5.600 mm, within twice the uncertainty of both (0.050)."),
        (5.707, "It is 0.107 mm above the rise in use, 5.600 mm: 2.1 times the uncertainty of both."),
        (5.4, "It is 0.200 mm below the rise in use, 5.600 mm: 4.0 times the uncertainty of both."),
    ],
)
def test_advice_says_how_far_an_offer_is_from_the_rise_in_use(rise_mm: float, sentence: str) -> None:
    assert advice(offer(layer_rise_mm=rise_mm), IN_USE) == (sentence,)


def test_an_offer_exactly_twice_the_uncertainty_away_agrees() -> None:
    in_use = drum(layer_rise_mm=5.5)  # fractions that binary numbers hold exactly
    assert advice(replace(offer(), layer_rise_mm=5.625, layer_rise_u_mm=0.0625), in_use) == (
        "It agrees with the rise in use, 5.500 mm, within twice the uncertainty of both (0.062).",
    )


@pytest.mark.parametrize(("chance", "is_doubtful"), [(0.0101, False), (0.0099, True)])
def test_a_fit_that_one_in_a_hundred_would_beat_is_doubted(chance: float, is_doubtful: bool) -> None:
    sentences = advice(offer(chi_square=float(stats.chi2.isf(chance, 5))), IN_USE)
    assert (sentences[0] == SCATTER, len(sentences)) == (is_doubtful, 1 + is_doubtful)


def test_reels_of_like_fill_are_advised_to_have_their_core_measured() -> None:
    assert advice(offer(can_tell_rise_from_core=False), IN_USE)[1:] == (ALIKE,)


# Bad input ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("n", "fit_core", "least"), [(1, False, 2), (2, True, 3)])
def test_too_few_reels_are_refused(n: int, fit_core: bool, least: int) -> None:
    with pytest.raises(TooFewKnownLengths, match=f"{n} reels .* at least {least} are needed"):
        fit_layer_rise(LAYERS[:n], WRAPS[:n], known_lengths_m()[:n], U_M[:n], drum(), fit_core=fit_core)


def test_reels_with_one_layer_say_nothing_about_the_rise() -> None:
    with pytest.raises(KnownLengthsTellNothing, match="layer rise open: none has wraps above layer 1"):
        fit_layer_rise([0, 0], [5, 9], [3.0, 5.0], [0.1, 0.1], drum())


def test_reels_with_one_layer_say_nothing_about_the_rise_even_with_the_core_open() -> None:
    with pytest.raises(KnownLengthsTellNothing, match="rise and the core diameter open: none has wraps above layer 1"):
        fit_layer_rise([0, 0, 0], [5, 9, 7], [3.0, 5.0, 4.0], 0.1, drum(), fit_core=True)


def test_reels_all_filled_alike_cannot_decide_two_dimensions() -> None:
    with pytest.raises(KnownLengthsTellNothing, match="rise and the core diameter open: all are filled alike"):
        fit_layer_rise([12, 12, 12], 4, [260.0, 261.0, 262.0], 0.2, drum(), fit_core=True)


@pytest.mark.parametrize(
    ("changes", "error", "sentence"),
    [
        ({"known_lengths_m": [np.nan, 100.0]}, ImpossibleValue, r"known_lengths_m was nan \(place 0\)"),
        ({"known_lengths_m": [100.0, 0.0]}, ImpossibleValue, r"known_lengths_m was 0\.0 \(place 1\)"),
        ({"known_lengths_m": [100.0, -5.0]}, ImpossibleValue, r"known_lengths_m was -5\.0 \(place 1\)"),
        ({"known_u_m": [0.1, 0.0]}, ImpossibleValue, r"known_u_m was 0\.0 \(place 1\)"),
        ({"layers": [5, 50]}, OffTheDrum, r"layers was 50\.0 \(place 1\)"),
        ({"known_lengths_m": [900.0, 1900.0]}, ImpossibleDrum, "layer_rise_mm was"),
    ],
)
def test_impossible_reels_are_refused(changes: dict[str, Any], error: type[Exception], sentence: str) -> None:
    facts: dict[str, Any] = {
        "layers": [5, 10],
        "wraps": [3, 3],
        "known_lengths_m": [95.0, 210.0],
        "known_u_m": [0.1, 0.1],
    }
    with pytest.raises(error, match=sentence):
        fit_layer_rise(**facts | changes, drum=drum())


@pytest.mark.parametrize("fit_core", [False, True])
def test_what_the_uncertain_diameters_add_is_what_refits_with_other_diameters_show(fit_core: bool) -> None:
    # GUM 5.1.2 by differences: u²(h) rises by (∂h/∂C u)² + (∂h/∂d u)², of which a core that is fitted has no part.
    u_mm, step_mm, lengths_m = 0.05, 1e-3, known_lengths_m()
    taken_as_known = ("cable_diameter_mm",) if fit_core else ("core_diameter_mm", "cable_diameter_mm")

    def rise_with(name: str, by_mm: float) -> float:
        stated = drum(layer_rise_mm=TRUE_RISE_MM)
        return fit(lengths_m, fit_core=fit_core, layer_rise_mm=TRUE_RISE_MM,
                   **{name: getattr(stated, name) + by_mm}).layer_rise_mm  # fmt: skip

    slopes = [(rise_with(name, step_mm) - rise_with(name, -step_mm)) / (2 * step_mm) for name in taken_as_known]
    without, with_u = (
        fit(lengths_m, fit_core=fit_core, diameter_u_mm=u, layer_rise_mm=TRUE_RISE_MM).layer_rise_u_mm
        for u in (0.0, u_mm)
    )
    added = np.sqrt(with_u**2 - without**2)
    assert added == pytest.approx(u_mm * np.linalg.norm(slopes), rel=1e-4)
