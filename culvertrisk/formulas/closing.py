"""How much of a barrel ice closes, and the chance that this blocks it."""

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr

from culvertrisk.formulas.sections import circle_area

Floats = NDArray[np.float64]


def blocked_fraction(
    ice_m: ArrayLike, rise_m: ArrayLike, silt_fraction: ArrayLike
) -> Floats:
    r"""Share of the clear section that ice lying on the bed or the silt closes.

    .. math:: b = \frac{A(s + h/D) - A(s)}{1 - A(s)}

    Parameters
    ----------
    ice_m : array_like
        Ice thickness h, 0 or more [m].
    rise_m : array_like
        Inside height of the barrel D, above 0 [m].
    silt_fraction : array_like
        Share of the rise filled by silt s, below 1.

    Returns
    -------
    blocked_fraction : ndarray
        From 0 to 1, ice above the crown counts as full; NaN where an input is NaN.

    Notes
    -----
    An engineering assumption, not a standard. A is the part-full circle for any
    shape: a box would be linear, at most 0.06 of the area away.

    References
    ----------
    chow1959, table 2-2 (geometry of the segment).

    Examples
    --------
    >>> blocked_fraction([0.0, 0.25, 2.0], 1.0, 0.0).round(3)
    array([0.   , 0.196, 1.   ])
    """
    silt = np.asarray(silt_fraction, dtype=float)
    below = circle_area(silt, 1.0)
    top = circle_area(silt + np.asarray(ice_m) / np.asarray(rise_m), 1.0)
    return np.asarray((top - below) / (circle_area(1.0, 1.0) - below))


def ice_blocked_chance(
    closing_ratio: ArrayLike, *, median_ratio: ArrayLike, spread: ArrayLike
) -> Floats:
    r"""Chance that ice of a closing ratio blocks the barrel (lognormal fragility).

    .. math:: P = \Phi\left( \frac{\ln (x / m)}{\beta} \right)

    Parameters
    ----------
    closing_ratio : array_like
        Ice over clear rise x, 0 or more; above 1 the cold could freeze more.
    median_ratio : array_like
        Ratio m at which every second barrel is blocked, above 0.
    spread : array_like
        Standard deviation beta of its logarithm, above 0.

    Returns
    -------
    blocked_chance : ndarray
        From 0 to 1, 0 without ice; NaN where an input is NaN.

    Notes
    -----
    The two parameters carry all that the ice formulas leave out. No published
    values exist for small road culverts.

    References
    ----------
    definition, of the lognormal distribution.

    Examples
    --------
    >>> ice_blocked_chance([0.0, 0.85, 1.7], median_ratio=0.85, spread=0.4).round(3)
    array([0.   , 0.5  , 0.958])
    """
    with np.errstate(divide="ignore"):  # no ice: the logarithm of 0 gives chance 0
        score = np.log(np.asarray(closing_ratio, dtype=float) / median_ratio)
    return np.asarray(ndtr(score / np.asarray(spread)), dtype=float)
