"""How much light the crowns of trees let through, by kind, cover and season."""

import numpy as np
from numpy.typing import ArrayLike, NDArray


def transmitted_fraction(
    optical_depth: ArrayLike, cover_fraction: ArrayLike = 1.0
) -> NDArray[np.float64]:
    r"""Share of a beam that passes through crowns and the gaps between them.

    .. math:: \tau = 1 - f + f e^{-d}

    Parameters
    ----------
    optical_depth : array_like
        d, extinction times path, or K times leaf area index.
    cover_fraction : array_like, optional
        f, share of the ground under crowns.

    Returns
    -------
    transmitted_fraction : ndarray, shape as given
        1 without trees; NaN where an input is NaN.

    Notes
    -----
    Beer-Lambert inside the crowns; gaps let all pass. No printed table was found:
    the check values are exact exponentials.

    References
    ----------
    definition.

    Examples
    --------
    >>> transmitted_fraction([0.0, 0.5]).round(3)
    array([1.   , 0.607])
    >>> float(transmitted_fraction(2.0, 0.7).round(3))
    0.395
    """
    cover = np.asarray(cover_fraction, np.float64)
    depth = np.asarray(optical_depth, np.float64)
    return np.asarray(1 - cover + cover * np.exp(-depth))


def crown_extinction(
    leaf_extinction_per_m: ArrayLike,
    *,
    cover_fraction: ArrayLike = 1.0,
    crown_width_m: ArrayLike,
    deciduous_fraction: ArrayLike = 0.0,
    leaf_off_factor: ArrayLike,
) -> NDArray[np.float64]:
    r"""Light lost on a metre of path through a wood in winter.

    .. math:: k = k_0 (1 - b (1 - c)), \quad
              k_e = -\frac{1}{w} \ln(1 - f + f e^{-k w})

    Parameters
    ----------
    leaf_extinction_per_m : array_like
        k0, of crowns in leaf or needle [1/m].
    cover_fraction : array_like, optional
        f, share of the ground under crowns.
    crown_width_m : array_like
        w, of one crown, above 0 [m].
    deciduous_fraction : array_like, optional
        b, share of the trees that drop their leaves.
    leaf_off_factor : array_like
        c, share of the extinction that bare stems and twigs keep.

    Returns
    -------
    extinction_per_m : ndarray
        k0 for a closed wood of conifers, 0 without cover; NaN where an input is NaN
        [1/m].

    Notes
    -----
    A path meets crown or gap by chance, anew after each crown's width; so a long
    path through an open wood dims as Beer-Lambert says, but less than if the same
    needles were spread evenly. Broadleaves are bare from 1 October to 31 May.

    References
    ----------
    definition: :func:`transmitted_fraction` for each crown's width of path.

    Examples
    --------
    >>> crown_extinction(0.1, cover_fraction=[1.0, 0.5, 0.0], crown_width_m=5.0,
    ...                  leaf_off_factor=0.4).round(4) + 0
    array([0.1   , 0.0438, 0.    ])
    """
    bare = np.asarray(deciduous_fraction) * (1 - np.asarray(leaf_off_factor))
    extinction_per_m = np.asarray(leaf_extinction_per_m) * (1 - bare)
    width_m = np.asarray(crown_width_m)
    passed = transmitted_fraction(extinction_per_m * width_m, cover_fraction)
    return np.asarray(-np.log(passed) / width_m)
