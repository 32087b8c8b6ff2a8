"""What opening each crossing now would save, its rank, and why."""

import numpy as np
from geopandas import GeoDataFrame
from numpy.typing import NDArray

from culvertrisk.formulas.shares import shapley_shares
from culvertrisk.settings import Settings
from culvertrisk.stages.coalitions import GROUPS
from culvertrisk.stages.freeze_inputs import denying_remarks, said_chances
from culvertrisk.stages.reasons import reasons_of
from culvertrisk.stages.unknown_notes import unknowns_of
from culvertrisk.stages.winter import freeze_coefficients

UNKNOWN_GAIN_CHANCE = 0.5  # no flow known anywhere in the town: even odds, our choice


def add_priority(
    crossings: GeoDataFrame,
    chances: NDArray[np.float64],
    settings: Settings | None = None,
) -> GeoDataFrame:
    """Add the loss avoided by opening each crossing now, its rank and its reasons.

    Parameters
    ----------
    crossings : GeoDataFrame
        With the columns of site, shade, access, freeze, history, flood, consequence.
    chances : ndarray, shape (2**6, n)
        Chance of a block by coalition of ``GROUPS``: see ``coalition_chances``.
    settings : Settings, optional
        The town's own freeze defaults, if it has any.

    Returns
    -------
    crossings : GeoDataFrame
        With the columns made by ``priority``; same rows, same order.

    Notes
    -----
    ``loss_avoided_person_h`` is P(blocked) x [P(flooded | blocked) -
    P(flooded | open)] x ``flooded_loss_person_h``. Where today's flow is unknown, the
    mean gain of the town's known crossings stands in; where nobody is known to be
    hit, the median loss: ``unknowns`` says so. Bridges and fords stay unscored.
    """
    shares = 100.0 * shapley_shares(chances)
    named = {f"share_{name}_index": shares[i] for i, name in enumerate(GROUPS)}
    scored = crossings.assign(
        loss_person_h=crossings["flooded_chance"] * crossings["flooded_loss_person_h"],
        loss_avoided_person_h=_loss_avoided(crossings),
        **named,
    )
    scored = scored.assign(priority_rank=_rank(scored))
    c = freeze_coefficients(settings.freeze.defaults if settings else None)
    said = {f"says_{k}": v for k, v in said_chances(crossings, c).items()}
    said |= {f"denies_{k}": v for k, v in denying_remarks(crossings).items()}
    rows = [*scored.assign(**said).itertuples()]
    return scored.assign(
        reasons=[reasons_of(row, c) for row in rows],
        unknowns=[unknowns_of(row) for row in rows],
    )


def _loss_avoided(crossings: GeoDataFrame) -> NDArray[np.float64]:
    gain = (
        crossings["flooded_blocked_chance"] - crossings["flooded_open_chance"]
    ).clip(lower=0.0)
    usual_gain = gain.mean() if gain.notna().any() else UNKNOWN_GAIN_CHANCE
    most = crossings["flooded_blocked_chance"].clip(upper=usual_gain)
    loss = crossings["flooded_loss_person_h"]
    avoided = (
        crossings["blocked_chance"]
        * gain.fillna(most).fillna(usual_gain)
        * loss.fillna(loss.median())
    )
    return avoided.to_numpy(float)


def _rank(crossings: GeoDataFrame) -> NDArray[np.float64]:
    """Place by loss avoided, then freeze score, then id: the same on every run."""
    order = np.lexsort(
        (
            crossings.index.to_numpy(str),
            -crossings["freeze_index"].fillna(-1.0).to_numpy(float),
            -crossings["loss_avoided_person_h"].fillna(-1.0).to_numpy(float),
        )
    )
    rank = np.empty(len(crossings))
    rank[order] = np.arange(1, len(crossings) + 1)
    return rank
