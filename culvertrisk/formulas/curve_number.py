"""Runoff by curve number and its peak by the graphical method of NRCS."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from culvertrisk.units import HOUR_S

Floats = NDArray[np.float64]

_INCH_M = 0.0254  # exact
_MILE_M = 1609.344  # exact
_CFS_M3S = 0.3048**3  # exact: 1 ft3/s in m3/s


def retention(curve_number: ArrayLike) -> Floats:
    r"""Most water the ground takes up after runoff begins.

    .. math:: S = 1000 / CN - 10

    S in inches; returned in metres.

    Parameters
    ----------
    curve_number : array_like, shape (n,)
        CN, above 0 to 100.

    Returns
    -------
    retention_m : ndarray, shape (n,)
        NaN where the input is NaN [m].

    References
    ----------
    tr55, eq. 2-4.

    Examples
    --------
    >>> retention([80.0, 100.0]).round(4)
    array([0.0635, 0.    ])
    """
    return (1000 / np.asarray(curve_number, float) - 10) * _INCH_M


def runoff_depth(rain_m: ArrayLike, curve_number: ArrayLike) -> Floats:
    r"""Depth of water that runs off in a storm.

    .. math:: Q = (P - 0.2 S)^2 / (P + 0.8 S), \quad P > 0.2 S

    Parameters
    ----------
    rain_m : array_like, shape (n,)
        Rain of the storm P, 24 hours for design, 0 or more [m].
    curve_number : array_like, shape (n,) or scalar
        CN, 40 to 100.

    Returns
    -------
    runoff_m : ndarray, shape (n,)
        0 up to the initial loss of 0.2 S; NaN where an input is NaN [m].

    Notes
    -----
    For CN above 40. Not for snowmelt or frozen ground unless CN is set for it.

    References
    ----------
    tr55, eq. 2-3 and table 2-1.

    Examples
    --------
    >>> runoff_depth([0.1524, 0.01], 75.0).round(4)
    array([0.0834, 0.    ])
    """
    rain, most = np.asarray(rain_m, float), retention(curve_number)
    above_m = np.maximum(rain - 0.2 * most, 0)
    whole_m = rain + 0.8 * most
    return np.square(above_m) / np.where(whole_m == 0, 1, whole_m)


def wet_curve_number(curve_number: ArrayLike) -> Floats:
    r"""Curve number of wet ground (antecedent condition III) from the usual one.

    .. math:: CN_3 = 23\, CN / (10 + 0.13\, CN)

    Parameters
    ----------
    curve_number : array_like, shape (n,)
        CN at antecedent condition II, 0 to 100.

    Returns
    -------
    wet_curve_number : ndarray, shape (n,)
        NaN where the input is NaN.

    Notes
    -----
    A fit to the handbook's table; up to 1.1 above or below its whole numbers. It
    stands for frozen ground too, where no local figure is known.

    References
    ----------
    nrcs2004, chapter 10.

    Examples
    --------
    >>> wet_curve_number([60.0, 75.0, 85.0]).round(1)
    array([77.5, 87.3, 92.9])
    """
    usual = np.asarray(curve_number, float)
    return 23 * usual / (10 + 0.13 * usual)


def composite_curve_number(
    pervious_curve_number: ArrayLike, impervious_fraction: ArrayLike
) -> Floats:
    r"""Curve number of ground that is partly sealed and drains straight away.

    .. math:: CN_c = CN_p + f\, (98 - CN_p)

    Parameters
    ----------
    pervious_curve_number : array_like, shape (n,)
        CN of the open ground CNp, 0 to 100.
    impervious_fraction : array_like, shape (n,) or scalar
        Share of the area that is sealed f, 0 to 1.

    Returns
    -------
    curve_number : ndarray, shape (n,)
        NaN where an input is NaN.

    Notes
    -----
    For sealed ground connected to the drainage. Sealed ground that drains over lawn
    gives less.

    References
    ----------
    tr55, figure 2-3 and table 2-2a.

    Examples
    --------
    >>> composite_curve_number([61.0, 74.0], [0.25, 0.65])
    array([70.25, 89.6 ])
    """
    open_ground = np.asarray(pervious_curve_number, float)
    return open_ground + np.asarray(impervious_fraction) * (98 - open_ground)


def unit_peak(
    concentration_s: ArrayLike, loss_ratio: ArrayLike, peak_coefficients: ArrayLike
) -> Floats:
    r"""Peak flow of one unit of area and runoff, for one type of rain.

    .. math:: \log_{10} q_u = C_0 + C_1 \log_{10} t_c + C_2 (\log_{10} t_c)^2

    qu in ft3/s a square mile and inch, tc in hours; returned in SI.

    Parameters
    ----------
    concentration_s : array_like, shape (n,)
        Time of concentration, 0.1 to 10 h [s].
    loss_ratio : array_like, shape (n,)
        Initial loss over rain Ia/P; held within the table's first and last row.
    peak_coefficients : array_like, shape (k, 4)
        Ia/P, growing, and C0, C1, C2 of the rain type, from ``tr55_peak``.

    Returns
    -------
    unit_peak_per_s : ndarray, shape (n,)
        Straight between the rows of Ia/P; NaN where an input is NaN [1/s].

    Notes
    -----
    The source asks for the nearest limit of Ia/P where it is outside.

    References
    ----------
    tr55, appendix F and table F-1.

    Examples
    --------
    >>> row = [0.1, 2.55323, -0.61512, -0.16403]
    >>> csm_in = unit_peak([5508.0], [0.1], [row]) / 4.304e-7
    >>> csm_in.round(0)
    array([272.])
    """
    rows = np.asarray(peak_coefficients, float)
    ratios, terms = rows[:, 0], rows[:, 1:]
    hours = np.log10(np.asarray(concentration_s, float) / HOUR_S)[..., None]
    by_row = 10 ** (terms[:, 0] + terms[:, 1] * hours + terms[:, 2] * hours**2)
    held = np.clip(np.asarray(loss_ratio, float), ratios[0], ratios[-1])
    held, by_row = np.broadcast_arrays(held[..., None], by_row)
    place = held[..., :1] * 0 + np.interp(held[..., :1], ratios, np.arange(len(ratios)))
    weight = np.clip(1 - np.abs(place - np.arange(len(ratios))), 0, 1)
    return (weight * by_row).sum(axis=-1) * _CFS_M3S / (_MILE_M**2 * _INCH_M)


def flow_graphical_peak(
    catchment_m2: ArrayLike,
    runoff_m: ArrayLike,
    unit_peak_per_s: ArrayLike,
    pond_factor: ArrayLike = 1.0,
) -> Floats:
    r"""Peak flow by the graphical method of NRCS.

    .. math:: q_p = q_u\, A\, Q\, F_p

    Parameters
    ----------
    catchment_m2 : array_like, shape (n,)
        Area that drains to the inlet A [m2].
    runoff_m : array_like, shape (n,)
        Runoff of the 24-hour storm Q [m].
    unit_peak_per_s : array_like, shape (n,)
        From ``unit_peak`` qu [1/s].
    pond_factor : array_like, shape (n,) or scalar
        Fp, 1 without ponds and swamps to 0.72 at 5 % of the area.

    Returns
    -------
    flow_m3s : ndarray, shape (n,)
        NaN where an input is NaN [m3/s].

    Notes
    -----
    One homogeneous catchment, CN above 40, time of concentration 0.1 to 10 h.

    References
    ----------
    tr55, eq. 4-1.

    Examples
    --------
    >>> flow_graphical_peak([1e6], 0.08, 1.2e-4)
    array([9.6])
    """
    area_m2, runoff = np.asarray(catchment_m2, float), np.asarray(runoff_m, float)
    return np.asarray(unit_peak_per_s) * area_m2 * runoff * np.asarray(pond_factor)
