"""How much of a score each group of inputs explains: exact Shapley values."""

from math import factorial

import numpy as np
from numpy.typing import ArrayLike, NDArray


def shapley_shares(coalition_values: ArrayLike) -> NDArray[np.float64]:
    r"""Exact Shapley value of each group of inputs, for many cases at once.

    .. math:: \phi_i = \sum_{S \not\ni i} \frac{|S|!\,(k-|S|-1)!}{k!}
              \left(v(S \cup i) - v(S)\right)

    Parameters
    ----------
    coalition_values : array_like, shape (2**k, n)
        Score of each case when only the groups of one coalition take the case's
        own inputs and the rest those of the reference. Row ``s`` is the coalition
        whose groups are the set bits of ``s``.

    Returns
    -------
    shares : ndarray, shape (k, n)
        Part of the score owed to each group; the columns add up to the difference
        between the full coalition (last row) and the empty one (first row).
        NaN where a value of the case is NaN.

    Notes
    -----
    Exact, not sampled: all 2**k coalitions must be given, so k stays small.

    References
    ----------
    shapley1953, eq. 12.

    Examples
    --------
    Two groups that matter only together share alike:

    >>> shapley_shares([[0.0], [0.0], [0.0], [1.0]])
    array([[0.5],
           [0.5]])
    """
    values = np.asarray(coalition_values, dtype=float)
    coalitions = np.arange(len(values))
    count = len(values).bit_length() - 1
    sizes = np.array([int(s).bit_count() for s in coalitions])
    shares = np.zeros((count, values.shape[1]))
    for group in range(count):
        without = coalitions[(coalitions >> group) & 1 == 0]
        weights = np.array(
            [
                factorial(s) * factorial(count - s - 1) / factorial(count)
                for s in sizes[without]
            ]
        )
        shares[group] = weights @ (values[without | (1 << group)] - values[without])
    return shares
