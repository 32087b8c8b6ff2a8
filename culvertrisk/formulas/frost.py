"""Frost in the ground: how deep it goes (modified Berggren), how cold it is there."""

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import elementwise
from scipy.special import erf, erfcx

from culvertrisk.units import DAY_S, FUSION_HEAT_J_KG, WATER_HEAT_CAPACITY_J_KGK

Floats = NDArray[np.float64]

_MEAN_WATER_HEAT = 0.75  # of water's own: mean of frozen, 0.5, and unfrozen, 1.0
_SMALLEST = 1e-9  # of the largest root: where the search begins


def soil_fusion_heat(dry_density_kg_m3: ArrayLike, water_fraction: ArrayLike) -> Floats:
    r"""Heat that freezes the water in a volume of soil.

    .. math:: L = \rho_d \, w \, L_f

    Parameters
    ----------
    dry_density_kg_m3 : array_like
        Dry density of the soil, above 0 [kg/m3].
    water_fraction : array_like
        Mass of water over mass of dry soil w, above 0 [1].

    Returns
    -------
    fusion_heat_j_m3 : ndarray
        NaN where an input is NaN [J/m3].

    Notes
    -----
    The source takes 144 Btu/lb for the heat of fusion, 0.4 % above that used here.

    References
    ----------
    ufc2004, ch. 2 and 3: L = 144 gd w/100.

    Examples
    --------
    >>> float(soil_fusion_heat(1600.0, 0.15))
    80040000.0
    """
    water_kg_m3 = np.asarray(dry_density_kg_m3, float) * np.asarray(water_fraction)
    return np.asarray(water_kg_m3 * FUSION_HEAT_J_KG)


def soil_heat_capacity(
    dry_density_kg_m3: ArrayLike,
    water_fraction: ArrayLike,
    grain_heat_j_kgk: ArrayLike,
) -> Floats:
    r"""Heat capacity of a volume of soil, mean of frozen and unfrozen.

    .. math:: C = \rho_d (c_s + 0.75\, c_w w)

    Parameters
    ----------
    dry_density_kg_m3 : array_like
        Dry density of the soil, above 0 [kg/m3].
    water_fraction : array_like
        Mass of water over mass of dry soil w, 0 or more [1].
    grain_heat_j_kgk : array_like
        Heat capacity of the dry grains c_s [J/(kg·K)].

    Returns
    -------
    heat_capacity_j_m3k : ndarray
        NaN where an input is NaN [J/(m3·K)].

    References
    ----------
    ufc2004, ch. 2: C = gd (0.17 + 0.75 w/100).

    Examples
    --------
    >>> float(soil_heat_capacity(1600.0, 0.15, 712.0))
    1893400.0
    """
    water = _MEAN_WATER_HEAT * WATER_HEAT_CAPACITY_J_KGK * np.asarray(water_fraction)
    heat_j_kgk = np.asarray(grain_heat_j_kgk, float) + water
    return np.asarray(np.asarray(dry_density_kg_m3) * heat_j_kgk)


def berggren_lambda(fusion_parameter: ArrayLike, thermal_ratio: ArrayLike) -> Floats:
    r"""Correction of Stefan's frost depth for the heat stored in the soil, exact.

    .. math:: \frac{e^{-y^2}}{\mathrm{erf}\,y}
              - \alpha \frac{e^{-y^2}}{\mathrm{erfc}\,y} = \frac{y \sqrt\pi}{\mu},
              \qquad \lambda = y / \sqrt{\mu / 2}

    Parameters
    ----------
    fusion_parameter : array_like
        Mu: heat capacity times mean frost at the surface over the heat of fusion,
        above 0 [1].
    thermal_ratio : array_like
        Alpha: mean annual temperature over mean frost at the surface, 0 or more [1].

    Returns
    -------
    berggren_lambda : ndarray
        Above 0, at most 1; NaN where an input is NaN [1].

    Notes
    -----
    Neumann's two-phase solution with equal properties frozen and unfrozen, which is
    what the source's chart plots. The closed form 1/sqrt(1 + mu (alpha + 1/2)) is up
    to a third too deep.

    References
    ----------
    ufc2004, ch. 3, fig. 3-1 (chart); the equation, derived.

    Examples
    --------
    >>> berggren_lambda([0.2, 0.5, 1.0], [0.0, 2.0, 1.0]).round(3)
    array([0.969, 0.492, 0.534])
    """
    mu, alpha = np.broadcast_arrays(
        np.asarray(fusion_parameter, dtype=float),
        np.asarray(thermal_ratio, dtype=float),
    )
    known = np.isfinite(mu) & np.isfinite(alpha)
    mu, alpha = np.where(known, mu, 1.0), np.where(known, alpha, 0.0)

    def gap(y: Floats, mu: Floats, alpha: Floats) -> Floats:
        cold = np.exp(-(y**2)) / erf(y)
        return cold - alpha / erfcx(y) - y * np.sqrt(np.pi) / mu

    most = np.sqrt(mu / 2)  # Stefan, which stores nothing, is never less deep
    found = elementwise.find_root(gap, (_SMALLEST * most, most), args=(mu, alpha)).x
    return np.where(known, found / most, np.nan)


def frost_depth(
    surface_cday: ArrayLike,
    *,
    conductivity_w_mk: ArrayLike,
    fusion_heat_j_m3: ArrayLike,
    berggren_lambda: ArrayLike = 1.0,
) -> Floats:
    r"""Depth to which frost goes into soil (modified Berggren; Stefan at lambda 1).

    .. math:: X = \lambda \sqrt{2 k \, n F / L}

    Parameters
    ----------
    surface_cday : array_like
        Freezing index of the surface: air index F times n-factor, 0 or more (taken
        in K·s) [°C·day].
    conductivity_w_mk : array_like
        Conductivity of the soil k, mean of frozen and unfrozen [W/(m·K)].
    fusion_heat_j_m3 : array_like
        Heat of fusion of the soil L, above 0 [J/m3].
    berggren_lambda : array_like
        Of the function of that name [1].

    Returns
    -------
    frost_depth_m : ndarray
        NaN where an input is NaN [m].

    Notes
    -----
    One soil, step of surface temperature, a whole season's index. Frost from the bore
    of a culvert comes on top.

    References
    ----------
    ufc2004, ch. 3, from memory (worked example: 5.8 ft).

    Examples
    --------
    >>> float(frost_depth(1388.9, conductivity_w_mk=1.315, fusion_heat_j_m3=80.5e6)
    ...       .round(2))
    1.98
    """
    fusion = np.asarray(fusion_heat_j_m3, dtype=float)
    heat = 2 * np.asarray(conductivity_w_mk) * DAY_S / fusion
    stefan_m = np.sqrt(heat * np.asarray(surface_cday))
    return np.asarray(np.asarray(berggren_lambda) * stefan_m)


def ground_temperature(
    depth_m: ArrayLike, surface_c: ArrayLike, frost_depth_m: ArrayLike
) -> Floats:
    r"""Temperature of frozen ground at a depth: a straight line to 0 °C at the frost.

    .. math:: T = T_s (1 - z / X), \quad z < X

    Parameters
    ----------
    depth_m : array_like
        Depth z below the surface, 0 or more [m].
    surface_c : array_like
        Temperature of the surface T_s, 0 or less [°C].
    frost_depth_m : array_like
        Depth of the frost X, 0 or more [m].

    Returns
    -------
    ground_c : ndarray
        0 at and below the frost; NaN where an input is NaN [°C].

    Notes
    -----
    Quasi-steady, as Stefan's formula assumes.

    References
    ----------
    definition, of steady conduction.

    Examples
    --------
    >>> ground_temperature([0.5, 2.0], -8.0, 1.0) + 0
    array([-4.,  0.])
    """
    depth, frost = np.asarray(depth_m, float), np.asarray(frost_depth_m, float)
    share = np.where(frost > 0, depth / np.where(frost > 0, frost, 1.0), 1.0)
    unknown = np.isnan(depth) | np.isnan(frost)
    left = np.where(unknown, np.nan, np.maximum(1 - share, 0))
    return np.asarray(np.asarray(surface_c) * left)
