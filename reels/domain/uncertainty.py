"""The law of propagation of uncertainty, for independent inputs, as the GUM (JCGM 100:2008) gives it.

For a result y of inputs x_1 … x_n, to first order:

    u_c(y)² = Σ (c_i u_i)²,    c_i = ∂y/∂x_i          the sensitivities

and, when the u_i are themselves known with f_i degrees of freedom only (Welch-Satterthwaite):

    f_eff = u_c⁴ / Σ ( (c_i u_i)⁴ / f_i )
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from reels.errors import ImpossibleValue

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Propagated:
    """A combined standard uncertainty and what it is made of; n inputs, results of any shape (...)."""

    contributions: FloatArray  # (n, ...), |c_i| u_i
    combined_u: FloatArray  # (...), their root sum of squares
    effective_dof: FloatArray  # (...), infinite when every u_i is taken as known


def propagate(sensitivities: ArrayLike, uncertainties: ArrayLike, dof: ArrayLike = np.inf) -> Propagated:
    """Combine the standard uncertainties of independent inputs into that of a result.

    sensitivities: shape (n, ...), finite, unit of the result per unit of the input.
    uncertainties: shape (n,), each at least 0. dof: shape (n,) or one for all, each above 0; infinite where u is known.
    Returns Propagated, in the unit of the result.
    Raises ImpossibleValue naming the first uncertainty, sensitivity or degree of freedom that can't be.
    Source: GUM (JCGM 100:2008) 5.1.2 and G.4.1; clause numbers from memory.
    """
    c = checked(sensitivities, "sensitivity", least=-np.inf, most=np.inf)
    u = checked(uncertainties, "standard uncertainty", least=0.0, most=np.inf)
    nu = np.broadcast_to(_checked_dof(dof), u.shape)
    # (n, ...) * (n,) needs the inputs on the last axis, and the result's own axes before it
    contributions = np.abs(np.moveaxis(c, 0, -1)) * u
    variance = np.sum(contributions**2, axis=-1)
    spread = np.sum(contributions**4 / nu, axis=-1)
    effective = np.full(spread.shape, np.inf)
    np.divide(variance**2, spread, out=effective, where=spread > 0)
    return Propagated(
        contributions=np.moveaxis(contributions, -1, 0), combined_u=np.sqrt(variance), effective_dof=effective
    )


def checked(values: ArrayLike, what: str, *, least: float, most: float) -> FloatArray:
    """The values as an array, once each is known to be finite and from least to most.

    Raises ImpossibleValue with the first that is not, its place in the array (flattened), and what is allowed.
    """
    array = np.asarray(values, dtype=np.float64)
    wrong = ~(np.isfinite(array) & (array >= least) & (array <= most))
    if wrong.any():
        place = int(np.flatnonzero(wrong)[0])
        allowed = f"a finite number from {least:g} to {most:g}"
        raise ImpossibleValue(field=what, seen=float(array.flat[place]), place=place, allowed=allowed)
    return array


def _checked_dof(dof: ArrayLike) -> FloatArray:
    nu = np.asarray(dof, dtype=np.float64)
    wrong = ~(nu > 0)
    if wrong.any():
        place = int(np.flatnonzero(wrong)[0])
        raise ImpossibleValue(
            field="degrees of freedom", seen=float(nu.flat[place]), place=place, allowed="a number above 0, or infinity"
        )
    return nu
