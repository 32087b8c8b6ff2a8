"""Water under pressure: the push back of a jet."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from culvertrisk.units import WATER_DENSITY_KG_M3


def jet_reaction(flow_m3s: ArrayLike, pressure_pa: ArrayLike) -> NDArray[np.float64]:
    r"""Push back of a straight jet on the hand or hose that holds it.

    .. math:: F = Q \sqrt{2 \rho p}

    Parameters
    ----------
    flow_m3s : array_like, shape (n,)
        Flow [m3/s].
    pressure_pa : array_like, shape (n,)
        Pressure at the nozzle [Pa].

    Returns
    -------
    jet_reaction_n : ndarray, shape (n,)
        Force; NaN where an input is NaN [N].

    Notes
    -----
    All pressure becomes speed. US form: lbf = 0.0526 gpm sqrt(psi); that constant
    is from memory. No ``published`` row exists.

    References
    ----------
    definition, momentum of the jet.

    Examples
    --------
    >>> jet_reaction(3e-4, 20e6).round(1)
    np.float64(60.0)
    """
    momentum = np.sqrt(2 * WATER_DENSITY_KG_M3 * np.asarray(pressure_pa, float))
    return np.asarray(flow_m3s, float) * momentum
