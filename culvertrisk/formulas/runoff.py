"""Peak runoff by the rational method or a regional equation, and what feeds it."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


def flow_rational(
    catchment_m2: ArrayLike,
    intensity_m_s: ArrayLike,
    runoff_fraction: ArrayLike,
    frequency_factor: ArrayLike = 1.0,
) -> Floats:
    r"""Peak flow by the rational method.

    .. math:: Q = C_f C\, i\, A, \quad C_f C \le 1

    Parameters
    ----------
    catchment_m2 : array_like, shape (n,)
        Area that drains to the inlet [m2].
    intensity_m_s : array_like, shape (n,) or scalar
        Rain or melt over the time of concentration [m/s].
    runoff_fraction : array_like, shape (n,) or scalar
        Rational coefficient C, 0 to 1.
    frequency_factor : array_like, shape (n,) or scalar
        Cf, 1.0 up to 10 years to 1.25 at 100 years.

    Returns
    -------
    flow_m3s : ndarray, shape (n,)
        NaN where an input is NaN [m3/s].

    Notes
    -----
    For catchments up to 80 ha (200 acres), commonly 25 ha, and rain that lasts as
    long as the time of concentration.

    References
    ----------
    fhwa2009, rational method.

    Examples
    --------
    >>> flow_rational([60703.0], 1.6933e-5, 0.35).round(3)
    array([0.36])
    """
    share = np.asarray(frequency_factor) * np.asarray(runoff_fraction, float)
    return np.minimum(share, 1) * np.asarray(intensity_m_s) * np.asarray(catchment_m2)


def flow_regression(
    predictors: ArrayLike,
    coefficient: ArrayLike,
    exponents: ArrayLike,
    powers_of_ten: ArrayLike,
) -> Floats:
    r"""Peak flow by a regional regression equation.

    .. math:: Q = K \prod x_j^{a_j} \prod 10^{b_j x_j}

    Parameters
    ----------
    predictors : array_like, shape (n, j)
        Area and the like x, in the units of the equation.
    coefficient : array_like
        K, for the units of the equation.
    exponents : array_like, shape (j,)
        a; 0 where a predictor is no power.
    powers_of_ten : array_like, shape (j,)
        b; 0 where a predictor is no exponent of ten.

    Returns
    -------
    flow : ndarray, shape (n,)
        In the unit of the equation; NaN where an input is NaN.

    Notes
    -----
    Holds within the domain of the predictors its report gives, with its standard
    error.

    References
    ----------
    usgs2014, region HR4, 10 years.

    Examples
    --------
    >>> flow_regression([[10.0, 8.0]], 51.8, [0.6004, 0.0], [0.0, 0.0666]).round(1)
    array([703.9])
    """
    values = np.asarray(predictors, float)
    powers = np.power(values, exponents).prod(axis=-1)
    tens = 10 ** (values * np.asarray(powers_of_ten)).sum(axis=-1)
    return np.asarray(coefficient) * powers * tens


def burst_intensity(
    depth_m: ArrayLike, duration_s: ArrayLike, concentration_s: ArrayLike
) -> Floats:
    r"""Highest mean intensity over the time of concentration, of a triangular rain.

    .. math:: i = P\, (1 - (1 - r)^2) / t_c, \quad r = \min(t_c / d,\, 1)

    Parameters
    ----------
    depth_m : array_like, shape (n,) or scalar
        Rain P [m].
    duration_s : array_like, shape (n,) or scalar
        Length d of the rain, above 0 [s].
    concentration_s : array_like, shape (n,)
        Time of concentration tc, above 0 [s].

    Returns
    -------
    intensity_m_s : ndarray, shape (n,)
        Twice the mean of the rain where tc is short, P / tc where tc is longer than
        the rain; NaN where an input is NaN [m/s].

    Notes
    -----
    The rain rises and falls along a triangle: common practice, no source. No
    published value exists; its limits are exact.

    References
    ----------
    definition.

    Examples
    --------
    >>> burst_intensity(0.018, 36_000.0, [36_000.0, 72_000.0])
    array([5.0e-07, 2.5e-07])
    """
    window_s = np.asarray(concentration_s, float)
    share = np.minimum(window_s / np.asarray(duration_s, float), 1)
    return np.asarray(depth_m) * (1 - np.square(1 - share)) / window_s


def melt_intensity(
    depth_m: ArrayLike, duration_s: ArrayLike, concentration_s: ArrayLike
) -> Floats:
    r"""Highest mean intensity over the time of concentration, of a day's melt.

    .. math:: i = M \sin(\pi r / 2) / t_c, \quad r = \min(t_c / d,\, 1)

    Parameters
    ----------
    depth_m : array_like, shape (n,) or scalar
        Melt M [m].
    duration_s : array_like, shape (n,) or scalar
        Length d of the melt, above 0 [s].
    concentration_s : array_like, shape (n,)
        Time of concentration tc, above 0 [s].

    Returns
    -------
    intensity_m_s : ndarray, shape (n,)
        Pi/2 times the mean of the melt where tc is short, M / tc where tc is longer
        than the melt; NaN where an input is NaN [m/s].

    Notes
    -----
    Melt follows the sun along half a sine: common practice, no source. No published
    value exists; its limits are exact.

    References
    ----------
    definition.

    Examples
    --------
    >>> melt_intensity(0.018, 36_000.0, [36_000.0, 72_000.0])
    array([5.0e-07, 2.5e-07])
    """
    window_s = np.asarray(concentration_s, float)
    share = np.minimum(window_s / np.asarray(duration_s, float), 1)
    return np.asarray(depth_m) * np.sin(np.pi * share / 2) / window_s


def pond_storage(
    depth_m: ArrayLike, width_m: ArrayLike, valley_slope_m_per_m: ArrayLike
) -> Floats:
    r"""Water held behind a blocked crossing, up to a depth at its inlet.

    .. math:: V = H^2 B / 2 S

    Parameters
    ----------
    depth_m : array_like, shape (n,)
        Depth H at the inlet; below 0 counts as 0 [m].
    width_m : array_like, shape (n,) or scalar
        Width B of the ponded bottom [m].
    valley_slope_m_per_m : array_like, shape (n,) or scalar
        Slope S of the bottom above the crossing, above 0 [m/m].

    Returns
    -------
    storage_m3 : ndarray, shape (n,)
        NaN where an input is NaN [m3].

    Notes
    -----
    A wedge with upright sides over a plane bottom: an assumption until the pond is
    taken from the DEM. No published value exists.

    References
    ----------
    definition.

    Examples
    --------
    >>> pond_storage([1.0, 2.0], 10.0, 0.02)
    array([ 250., 1000.])
    """
    depth_m = np.maximum(np.asarray(depth_m, float), 0)
    return (
        np.square(depth_m)
        * np.asarray(width_m)
        / (2 * np.asarray(valley_slope_m_per_m))
    )
