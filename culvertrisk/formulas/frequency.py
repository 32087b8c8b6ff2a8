"""Chance that an uncertain peak passes a limit."""

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr

Floats = NDArray[np.float64]


def exceedance_chance(
    median: ArrayLike, limit: ArrayLike, spread_fraction: ArrayLike
) -> Floats:
    r"""Chance that a lognormal quantity is above a limit.

    .. math:: P = \Phi\left( \ln(x_{50} / x_{lim}) / \sigma \right)

    Parameters
    ----------
    median : array_like, shape (n,)
        Median of the quantity, 0 or more, in any unit.
    limit : array_like, shape (n,) or scalar
        Limit, 0 or more, in the same unit.
    spread_fraction : array_like, shape (n,) or scalar
        Standard deviation of its logarithm, above 0.

    Returns
    -------
    exceedance_chance : ndarray, shape (n,)
        0 where the median is 0, even at a limit of 0; 1 where only the limit is 0;
        NaN where an input is NaN.

    Notes
    -----
    No published value exists beside the normal table it rests on.

    References
    ----------
    definition.

    Examples
    --------
    >>> exceedance_chance([0.0, 1.0, 2.0, 1.0], [1.0, 1.0, 1.0, 0.0], 0.5).round(3)
    array([0.   , 0.5  , 0.917, 1.   ])
    """
    median, limit = np.asarray(median, float), np.asarray(limit, float)
    both = (median > 0) & (limit > 0)
    excess = np.log(np.where(both, median, 1.0)) - np.log(np.where(both, limit, 1.0))
    chance = ndtr(excess / np.asarray(spread_fraction))
    chance = np.where(limit <= 0, 1.0, chance)
    chance = np.where(median <= 0, 0.0, chance)
    return np.where(np.isnan(median + limit), np.nan, chance)
