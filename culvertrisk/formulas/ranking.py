"""How good a ranking or a forecast of chances was, against what happened."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


def brier_score(chance: ArrayLike, happened: ArrayLike) -> float:
    r"""Mean square miss of a forecast of chances.

    .. math:: B = \frac{1}{n} \sum_i (p_i - y_i)^2

    Parameters
    ----------
    chance : array_like, shape (n,)
        Forecast p, from 0 to 1.
    happened : array_like, shape (n,)
        y, 1 or 0.

    Returns
    -------
    brier_score : float
        From 0, all certain and right, to 1; NaN where an input is, or without any.

    Notes
    -----
    Says something beside another forecast of the same events only.

    References
    ----------
    brier1950, eq. 2, for two classes and counted once, from memory.

    Examples
    --------
    >>> round(brier_score([0.9, 0.2], [1, 0]), 3)
    0.025
    """
    miss = np.asarray(chance, dtype=float) - np.asarray(happened, dtype=float)
    return float((miss**2).mean()) if miss.size else float("nan")


def expected_hits(score: ArrayLike, is_hit: ArrayLike, count: int) -> float:
    r"""Hits among the first of a ranking, mean over all orders of equal scores.

    .. math:: H = \sum_{s_i > s_{(k)}} y_i + (k - a) \, \overline{y}_{s = s_{(k)}}

    Parameters
    ----------
    score : array_like, shape (n,)
        The higher, the earlier; no NaN.
    is_hit : array_like, shape (n,)
        y, 1 or 0.
    count : int
        Length of the list k; more than n counts as n.

    Returns
    -------
    hits : float
        From 0 to k.

    Notes
    -----
    a is the count of scores above the k-th. So no list gains from how ties happen
    to stand in a file.

    References
    ----------
    definition.

    Examples
    --------
    Two of three equal scores make the list, one of the three is a hit:

    >>> round(expected_hits([5, 1, 1, 1], [1, 1, 0, 0], 3), 3)
    1.667
    """
    s, y = np.asarray(score, dtype=float), np.asarray(is_hit, dtype=float)
    if count >= len(s):
        return float(y.sum())
    limit = np.partition(s, len(s) - count)[len(s) - count]
    above, tied = s > limit, s == limit
    return float(y[above].sum() + (count - above.sum()) * y[tied].mean())


def random_hits(
    draws: Sequence[tuple[int, int, int]], interval_fraction: float
) -> tuple[float, float, float]:
    r"""Hits of lists drawn at random, summed over several draws.

    .. math:: P(H = h) = \binom{K}{h} \binom{N - K}{k - h} \Big/ \binom{N}{k}

    Parameters
    ----------
    draws : sequence of (int, int, int)
        Places N, hits among them K and length of the list k of each draw.
    interval_fraction : float
        Share of the sums within the interval, below 1.

    Returns
    -------
    mean, low, high : float
        Of the sum of hits; low and high are its central quantiles.

    Notes
    -----
    The draws are independent: their distributions are folded, not sampled.

    References
    ----------
    definition, of the hypergeometric distribution; checked against scipy.

    Examples
    --------
    >>> random_hits([(4, 2, 1), (4, 2, 1)], 0.4)
    (1.0, 1.0, 1.0)
    """
    from scipy.stats import hypergeom  # slow to load; the proof alone needs it

    folded = np.ones(1)
    for places, hits, length in draws:
        chances = hypergeom.pmf(np.arange(length + 1), places, hits, length)
        folded = np.convolve(folded, chances)
    tail = (1 - interval_fraction) / 2
    # a hair below each limit: sums of chances are not exact
    below = np.cumsum(folded) + np.finfo(float).eps * len(folded)
    low, high = np.searchsorted(below, [tail, 1 - tail])
    mean = float(np.arange(len(folded)) @ folded)
    return round(mean, 9), float(low), float(high)


def sign_flip_chance(differences: ArrayLike) -> float:
    r"""Chance of paired differences whose sum is as far from 0, by luck alone.

    .. math:: P = 2^{-n} \, \#\left\{ s \in \{-1, 1\}^n :
              \left|\sum_i s_i d_i\right| \ge \left|\sum_i d_i\right| \right\}

    Parameters
    ----------
    differences : array_like, shape (n,)
        One of two against the other in each of n pairs d; up to some 40 pairs.

    Returns
    -------
    chance : float
        Above 0 to 1, of both sides; 1 without a difference. Never below
        :math:`2^{1-n}`: a few pairs tell nothing.

    Notes
    -----
    Exact, whatever the distribution: if both are alike, each difference might as well
    have the other sign. All signs are counted, half of the pairs against the rest.

    References
    ----------
    fisher1935, section 21, from memory; checked against scipy.

    Examples
    --------
    Four pairs of the sixteen ways to set the signs reach 4 or -4 here:

    >>> sign_flip_chance([1.0, 1.0, 2.0, 0.0])
    0.25
    """
    d = np.asarray(differences, dtype=float)
    if not len(d):
        return 1.0
    half = len(d) // 2
    ours, theirs = _signed_sums(d[:half]), np.sort(_signed_sums(d[half:]))
    # a hair below the sum: one and the same sum in another order is not less
    least = abs(d.sum()) - np.finfo(float).eps * len(d) * np.abs(d).sum()
    above = len(theirs) - np.searchsorted(theirs, least - ours)
    below = np.searchsorted(theirs, -least - ours, side="right")
    count = np.where(least > 0, above + below, len(theirs)).sum()
    return float(count / 2 ** len(d))


def _signed_sums(values: Floats) -> Floats:
    """Sums of the values with every choice of signs, shape (2**n,)."""
    sums = np.zeros(1)
    for value in values:
        sums = np.concatenate([sums - value, sums + value])
    return sums
