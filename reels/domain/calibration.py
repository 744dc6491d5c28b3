"""The layer rise, and if wanted the core diameter, fitted to reels whose cable length is known.

Reel i of one type carries a known length m_i, of standard uncertainty u_i, and a count. With β the dimensions to be
fitted (h, or h and C) the winding model gives L_i(β), and the best β has the least

    χ² = Σ ( (m_i - L_i(β)) / s_i )²,        s_i² = u_i² + (u_w l_i)²

u_w being the standard uncertainty of the count and l_i a wrap of the part layer. L_i is as good as linear in β, so
Gauss-Newton steps reach it: with J the sensitivities ∂L_i/∂β and W = diag(1/s_i²),

    step = G (m - L),    G = (Jᵀ W J)⁻¹ Jᵀ W,    cov β = (Jᵀ W J)⁻¹ + G K diag(u_K²) Kᵀ Gᵀ

The last term is what the dimensions taken as known (K their sensitivities, u_K their uncertainties) put into β: they
are the same for all reels of the type, and do not average out.

A fit is an offer to whoever answers for the reel type. Nothing here changes a drum.
"""

from dataclasses import dataclass, replace

import numpy as np
import scipy
from numpy.typing import ArrayLike

from reels.domain import winding
from reels.domain.uncertainty import FloatArray, checked
from reels.domain.winding import COUNT_U_WRAPS, Drum
from reels.errors import KnownLengthsTellNothing, TooFewKnownLengths

CORE, CABLE, RISE = 0, 1, 2  # the order of winding.sensitivities_m_per_mm
# The length is nearly a straight line in the dimensions. Even on a core as thin as the cable, wound as wide as can be,
# a first step leaves a micrometre of the rise, the second 0.02 nm, and the third nothing but rounding.
STEPS = 4
DOUBTFUL_FIT = 0.01


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RiseFit:
    """An offered layer rise, and core diameter if that was asked for, with all that is needed to judge the offer."""

    layer_rise_mm: float
    layer_rise_u_mm: float
    core_diameter_mm: float  # as given, unless it was fitted too
    core_diameter_u_mm: float
    covariance_mm2: FloatArray  # (1, 1): rise; or (2, 2): rise, core
    residuals_m: FloatArray  # (n_reels,), known less fitted length
    chi_square: float
    degrees_of_freedom: int
    correlation: float  # of rise and core, were both fitted; near -1 when all reels are filled much alike
    rise_u_core_open_mm: float  # standard uncertainty of the rise, were the core fitted too
    can_tell_rise_from_core: bool  # even then, 95 % of it (2 u each way) is less than lies between nested and stacked

    @property
    def chance_of_worse_fit(self) -> float:
        """How often reels that follow the model would fit worse; when that is rare, doubt lengths or uncertainties."""
        return float(scipy.special.chdtrc(self.degrees_of_freedom, self.chi_square))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _KnownReels:
    """n reels of one type whose cable length is known."""

    layers: FloatArray
    wraps: FloatArray
    lengths_m: FloatArray
    s_m: FloatArray  # of known length less counted length

    def residuals_m(self, drum: Drum) -> FloatArray:
        return self.lengths_m - winding.length_m(self.layers, self.wraps, drum)

    def whitened_sensitivities(self, drum: Drum) -> FloatArray:
        """W^½ ∂L/∂(C, d, h), shape (n_reels, 3)."""
        return (winding.sensitivities_m_per_mm(self.layers, self.wraps, drum) / self.s_m).T


def fit_layer_rise(
    layers: ArrayLike,
    wraps: ArrayLike,
    known_lengths_m: ArrayLike,
    known_u_m: ArrayLike,
    drum: Drum,
    *,
    fit_core: bool = False,
    count_u_wraps: float = COUNT_U_WRAPS,
) -> RiseFit:
    """Fit the layer rise of a reel type, by weighted least squares, to reels whose cable length is known.

    layers, wraps: shape (n_reels,), as in winding.turns_of. known_lengths_m, known_u_m: shape (n_reels,), metres, each
    above 0. drum: the type as it stands; its rise and core are where the fit starts, its uncertainties count as
    described above. fit_core: fit the core diameter too. count_u_wraps: standard uncertainty of a count, wraps.
    Returns RiseFit. Raises TooFewKnownLengths unless there is at least one reel more than there are dimensions to fit;
    KnownLengthsTellNothing if no reel has wraps above layer 1 or, with fit_core, all are filled alike; OffTheDrum,
    ImpossibleValue; ImpossibleDrum if only an impossible dimension would fit.
    Source: the equations at the head of this module (least squares with the GUM's law of propagation).
    """
    fitted = [RISE, CORE] if fit_core else [RISE]
    reels = _known_reels(layers, wraps, known_lengths_m, known_u_m, drum, count_u_wraps)
    if reels.lengths_m.size <= len(fitted):
        raise TooFewKnownLengths(seen=reels.lengths_m.size, least=len(fitted) + 1, what=_names(fitted))
    best = _gauss_newton(reels, drum, fitted)
    sensitivities = reels.whitened_sensitivities(best)
    covariance = _covariance(sensitivities, fitted, winding.dimension_u_mm(drum))
    correlation, rise_u_core_open_mm = _with_core_open(sensitivities)
    residuals_m = reels.residuals_m(best)
    d = drum.cable_diameter_mm
    nested_to_stacked_mm = winding.stacked_rise_mm(d) - winding.nested_rise_mm(d)
    return RiseFit(
        layer_rise_mm=best.rise_mm,
        layer_rise_u_mm=float(np.sqrt(covariance[0, 0])),
        core_diameter_mm=best.core_diameter_mm,
        core_diameter_u_mm=float(np.sqrt(covariance[1, 1])) if fit_core else drum.diameter_u_mm,
        covariance_mm2=covariance,
        residuals_m=residuals_m,
        chi_square=float(np.sum((residuals_m / reels.s_m) ** 2)),
        degrees_of_freedom=reels.lengths_m.size - len(fitted),
        correlation=correlation,
        rise_u_core_open_mm=rise_u_core_open_mm,
        can_tell_rise_from_core=4 * rise_u_core_open_mm < nested_to_stacked_mm,
    )


def advice(fit: RiseFit, drum: Drum) -> tuple[str, ...]:
    """What to make of an offer, in sentences: do the reels agree among themselves, and with what is in use?

    drum: the type as it stands.
    """
    sentences = []
    if fit.chance_of_worse_fit < DOUBTFUL_FIT:
        sentences.append(
            "The lengths scatter more than their uncertainties allow. Look at the reels that are furthest off before "
            "anything is taken over: a length may be wrong, or a cut not logged."
        )
    off_mm = fit.layer_rise_mm - drum.rise_mm
    u_mm = float(np.hypot(fit.layer_rise_u_mm, drum.layer_rise_u_mm))
    if abs(off_mm) <= 2 * u_mm:
        sentences.append(
            f"It agrees with the rise in use, {drum.rise_mm:.3f} mm, within twice the uncertainty of both ({u_mm:.3f})."
        )
    else:
        sentences.append(
            f"It is {abs(off_mm):.3f} mm {'above' if off_mm > 0 else 'below'} the rise in use, {drum.rise_mm:.3f} mm: "
            f"{abs(off_mm) / u_mm:.1f} times the uncertainty of both."
        )
    if not fit.can_tell_rise_from_core:
        sentences.append(
            "The reels are filled too much alike to tell a wrong rise from a wrong core diameter; measure the core."
        )
    return tuple(sentences)


def _known_reels(
    layers: ArrayLike, wraps: ArrayLike, lengths_m: ArrayLike, u_m: ArrayLike, drum: Drum, count_u_wraps: float
) -> _KnownReels:
    known = checked(lengths_m, "known_lengths_m", least=np.nextafter(0, 1), most=np.inf)
    known_u = checked(u_m, "known_u_m", least=np.nextafter(0, 1), most=np.inf)
    counted = winding.length_with_uncertainty(layers, wraps, drum, count_u_wraps)
    full, part, known, s = np.broadcast_arrays(
        np.asarray(layers, dtype=np.float64),
        np.asarray(wraps, dtype=np.float64),
        np.atleast_1d(known),
        np.hypot(known_u, counted.random_u_m),
    )
    return _KnownReels(layers=full, wraps=part, lengths_m=known, s_m=s)


def _gauss_newton(reels: _KnownReels, drum: Drum, fitted: list[int]) -> Drum:
    """The drum with the fitted dimensions that bring χ² to its least."""
    # The rise is stated from the start, so that it does not follow the cable diameter any more.
    best = replace(drum, layer_rise_mm=drum.rise_mm)
    for _ in range(STEPS):
        towards = _gain(reels.whitened_sensitivities(best), fitted)
        step_mm = np.zeros(3)
        step_mm[fitted] = towards @ (reels.residuals_m(best) / reels.s_m)
        best = replace(
            best,
            layer_rise_mm=float(best.rise_mm + step_mm[RISE]),
            core_diameter_mm=float(best.core_diameter_mm + step_mm[CORE]),
        )
    return best


def _gain(sensitivities: FloatArray, fitted: list[int]) -> FloatArray:
    """G, for whitened residuals: shape (n_fitted, n_reels)."""
    of_fitted = sensitivities[:, fitted]
    if np.linalg.matrix_rank(of_fitted, rtol=1e-9) < len(fitted):
        why = "all are filled alike" if sensitivities[:, RISE].any() else "none has wraps above layer 1"
        raise KnownLengthsTellNothing(what=_names(fitted), why=why)
    return np.asarray(np.linalg.pinv(of_fitted), dtype=np.float64)


def _covariance(sensitivities: FloatArray, fitted: list[int], dimension_u_mm: FloatArray) -> FloatArray:
    """(Jᵀ W J)⁻¹, and what the dimensions that are not fitted add."""
    gain = _gain(sensitivities, fitted)
    known = [dimension for dimension in (CORE, CABLE) if dimension not in fitted]
    shared = gain @ (sensitivities[:, known] * dimension_u_mm[known])
    return np.asarray(gain @ gain.T + shared @ shared.T)


def _with_core_open(sensitivities: FloatArray) -> tuple[float, float]:
    """Correlation of rise and core, and standard uncertainty of the rise, were both fitted.

    What the rise does to the lengths is of use only where it is across what the core does to them.
    """
    rise, core = sensitivities[:, RISE], sensitivities[:, CORE]
    across = float(np.linalg.norm(rise - core * (rise @ core) / (core @ core)))
    correlation = -float(rise @ core) / float(np.linalg.norm(rise) * np.linalg.norm(core))
    return correlation, 1 / across if across > 0 else float("inf")


def _names(fitted: list[int]) -> str:
    return "the layer rise and the core diameter" if len(fitted) > 1 else "the layer rise"
