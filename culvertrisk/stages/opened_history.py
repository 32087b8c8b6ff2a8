"""The history of a pipe that a crew opened this winter: one thaw speaks once."""

from datetime import date

import numpy as np
import pandas as pd
from geopandas import GeoDataFrame
from numpy.typing import NDArray

from culvertrisk.formulas.bayes import corrected_chance
from culvertrisk.formulas.fragility_trials import LEAST_CHANCE
from culvertrisk.settings import Settings
from culvertrisk.stages.freeze import freeze_state, rows_of
from culvertrisk.stages.freeze_inputs import Sunlight
from culvertrisk.stages.history import HistoryFit
from culvertrisk.stages.openings import opening_inputs
from culvertrisk.stages.winter import freeze_coefficients

Floats = NDArray[np.float64]


def factor_of_day(
    crossings: GeoDataFrame,
    weather: pd.DataFrame,
    sun: Sunlight | None,
    on: date,
    settings: Settings,
    fit: HistoryFit,
) -> Floats:
    r"""Factor on the odds of the day's chance that counts this winter's thaw once.

    .. math:: P = \lambda \, \frac{p_0}{p_{then}} + (1 - \lambda) \, p_1

    Parameters
    ----------
    crossings : GeoDataFrame
        As for ``add_freeze``, with ``opened_days``.
    weather, sun, on, settings
        As for ``add_freeze``.
    fit : HistoryFit
        Of the same log, with the factor of the winters before and of all of them.

    Returns
    -------
    history_factor : ndarray, shape (n,)
        That of ``fit`` where no crew opened the pipe. Elsewhere the odds of P over
        those of the modelled chance, which ``opened_state`` has conditioned already.

    Notes
    -----
    The chance without an opening, p, and that of the crew's day are corrected by the
    log before they are compared. Where what blocked the pipe goes on (the share
    lambda, ``lasting_fraction``), that the crew found it blocked is told by the ratio:
    both chances, p_0 and p_then, bear the factor of the winters before only, and most
    of it cancels. Where it does not go on, the ratio tells nothing, but the thaw still
    tells what pipe it is: p_1 bears the factor of all winters. A factor of all winters
    on the conditioned chance would count the thaw twice; one of the winters before
    would forget what it tells of the pipe.

    References
    ----------
    definition, of Bayes' rule; the ice of the day blocks only where that of the crew's
    day did.
    """
    factor = fit.history_factor.copy()
    opened = (crossings["opened_days"] != "").to_numpy(bool) & np.isfinite(factor)
    if not opened.any():
        return factor
    c, first_day = freeze_coefficients(settings.freeze.defaults), settings.winter_of(on)
    inputs = rows_of(opening_inputs(crossings, sun, (first_day, on), c), opened)
    share = c["lasting_fraction"]

    def physics(lasting: Floats) -> Floats:
        given = {**c, "lasting_fraction": lasting}
        state = freeze_state(inputs, weather, first_day, on, given)
        return np.clip(state.modelled_chance, LEAST_CHANCE, 1 - LEAST_CHANCE)

    never, lasts, told = map(physics, (np.zeros(1), np.ones(1), share))
    then = corrected_chance(never / lasts, factor[opened])
    ratio = corrected_chance(never, factor[opened]) / then
    rest = corrected_chance(never, fit.usual_factor[opened])
    after = np.clip(share * ratio + (1 - share) * rest, LEAST_CHANCE, 1 - LEAST_CHANCE)
    factor[opened] = after / (1 - after) / (told / (1 - told))
    return factor
