"""How deep water may stand at each inlet, and what the barrel then passes."""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from geopandas import GeoDataFrame
from numpy.typing import ArrayLike, NDArray

from culvertrisk.formulas.barrel_flow import barrel_capacity
from culvertrisk.formulas.barrel_kernels import BOX, OPEN_ARCH, PIPE_ARCH, ROUND
from culvertrisk.formulas.ice_section import iced_barrel, iced_roughness
from culvertrisk.formulas.inlet_control import InletCoefficients, inlet_control_flow
from culvertrisk.formulas.sections import Barrel, Conduit
from culvertrisk.stages.flood_weather import flood_defaults
from culvertrisk.stages.usual_barrel import usual_barrel
from culvertrisk.tables import table

Floats = NDArray[np.float64]

SLOPE_TERM = -0.5  # HDS-5 appendix A: Ks
MITRED_SLOPE_TERM = 0.7  # HDS-5 appendix A: Ks of mitred inlets
_CONCRETE_WALLS = ("concrete", "stone", "timber")  # thick walls with square edges
_SHAPES = {
    "round": ROUND,
    "box": BOX,
    "arch": PIPE_ARCH,
    "open arch": OPEN_ARCH,
    "ellipse": ROUND,
}
_TABLE_SHAPES = {
    "round": ("circular",),
    "box": ("box",),
    "arch": ("arch", "pipe arch", "horizontal ellipse", "vertical ellipse"),
    "open arch": ("arch", "pipe arch", "horizontal ellipse", "vertical ellipse"),
    "ellipse": ("arch", "pipe arch", "horizontal ellipse", "vertical ellipse"),
}


@dataclass(frozen=True)
class Openings:
    """The barrels of n crossings and what feeds the hydraulic formulas."""

    barrel: Barrel
    conduit: Conduit
    inlet: InletCoefficients
    inlet_slope_m_per_m: Floats
    barrel_count: Floats
    shape: NDArray[np.object_]


def openings(crossings: GeoDataFrame, tailwater_m: Floats | float = 0.0) -> Openings:
    """Look up inlet, entrance loss and roughness of every crossing.

    Parameters
    ----------
    crossings : GeoDataFrame
        With the columns of culverts and site.
    tailwater_m : ndarray, shape (n,), or float
        Water below the road over the outlet bed: of ``channel_tailwater``, or of the
        next crossing's headwater; 0 is a free outlet [m].

    Returns
    -------
    openings : Openings
        Unknown words take the row of ``inlet_choices`` with the lesser flow; unknown
        silt, number of barrels, slope and length take the default; unknown sizes stay
        NaN.
    """
    defaults = flood_defaults()
    choice = _choices(crossings)
    length_m, slope = usual_barrel(crossings)
    count = crossings["barrel_count"].fillna(defaults["unknown_barrels"])
    return Openings(
        barrel=_barrel(crossings, choice["shape"].map(_SHAPES)),
        conduit=Conduit(
            length_m=length_m,
            slope_m_per_m=slope,
            **_losses(crossings, choice["entrance_loss_key"]),
            tailwater_m=np.broadcast_to(tailwater_m, len(crossings)),
        ),
        inlet=_coefficients(
            table("culvert_inlets").set_index("chart").loc[choice["chart"]]
        ),
        inlet_slope_m_per_m=np.maximum(slope, 0),
        barrel_count=count.to_numpy(float),
        shape=choice["shape"].to_numpy(object),
    )


def open_capacity(found: Openings, headwater_limit_m: Floats) -> Floats:
    """Flow of all barrels, silt but no ice, at the headwater limit [m3/s]."""
    capacity_m3s = barrel_capacity(
        headwater_limit_m,
        found.barrel,
        found.conduit,
        found.inlet,
        found.inlet_slope_m_per_m,
    )
    return found.barrel_count * capacity_m3s


def taken(found: Openings, rows: NDArray[np.intp]) -> Openings:
    """The openings of some rows; a row may be asked for more than once."""
    count = len(found.barrel_count)

    def part(fields: tuple[ArrayLike, ...]) -> list[Floats]:
        whole = (np.broadcast_to(np.asarray(f, dtype=float), count) for f in fields)
        return [field[rows] for field in whole]

    return Openings(
        Barrel(*part(found.barrel)),
        Conduit(*part(found.conduit)),
        InletCoefficients(*part(found.inlet)),
        found.inlet_slope_m_per_m[rows],
        found.barrel_count[rows],
        found.shape[rows],
    )


def iced_openings(
    found: Openings, headwater_limit_m: Floats, blocked_fraction: Floats
) -> Openings:
    """The same barrels with their ice.

    Parameters
    ----------
    found : Openings
        Of n crossings.
    headwater_limit_m : ndarray, shape (n,)
        Depth over the inlet bed at which water reaches the road [m].
    blocked_fraction : ndarray, shape (n,)
        Share of the clear section closed by ice.

    Returns
    -------
    openings : Openings
        Ice as a level bed with its own roughness; a ragged mouth of ice as the inlet
        of table A.1 that lets the least in at the headwater limit, of those of the
        shape, and with the worst entrance loss.

    Notes
    -----
    An engineering assumption, not a standard.
    """
    ice_n = _roughness()["ice"]
    barrel = iced_barrel(found.barrel, blocked_fraction)
    conduit = found.conduit._replace(
        entrance_loss=flood_defaults()["iced_entrance_loss"],
        roughness=iced_roughness(barrel, found.conduit.roughness, ice_n),
    )
    fields = [np.full(len(headwater_limit_m), np.nan) for _ in found.inlet]
    for shape in _SHAPES:
        rows = found.shape == shape
        inlets = _coefficients(_inlets_of(shape), as_columns=True)
        flows = inlet_control_flow(
            headwater_limit_m[rows],
            Barrel(*(np.asarray(field)[rows] for field in barrel)),
            found.inlet_slope_m_per_m[rows],
            inlets,
        )
        worst = flows.argmin(axis=0)
        for field, column in zip(fields, inlets, strict=True):
            field[rows] = np.asarray(column)[worst, 0]
    inlet = InletCoefficients(*fields)
    return replace(found, barrel=barrel, conduit=conduit, inlet=inlet)


def _choices(crossings: GeoDataFrame) -> pd.DataFrame:
    """Row of ``inlet_choices`` for each crossing."""
    keys = pd.DataFrame(
        {
            "shape": _word(crossings["shape"], tuple(_SHAPES), "round"),
            "wall": np.where(
                crossings["material"].isin(_CONCRETE_WALLS), "concrete", "metal"
            ),
            "entrance": _word(
                crossings["entrance"], ("projecting", "mitred", "headwall", "flared")
            ),
        }
    )
    return keys.merge(table("inlet_choices"), how="left", validate="many_to_one")


def _barrel(crossings: GeoDataFrame, shape: pd.Series) -> Barrel:
    rise_m = crossings["rise_m"].to_numpy(float)
    span_m = crossings["span_m"].to_numpy(float)
    silt = crossings["silt_fraction"].fillna(flood_defaults()["unknown_silt"])
    return Barrel(
        rise_m=rise_m,
        span_m=np.where(np.isnan(span_m), rise_m, span_m),
        shape=shape.to_numpy(float),
        bed_fraction=silt.to_numpy(float),
    )


def _losses(crossings: GeoDataFrame, entrance_loss_key: pd.Series) -> dict[str, Floats]:
    """Entrance loss and roughness of each barrel."""
    losses = table("entrance_losses").set_index("key")["entrance_loss"]
    roughness = _roughness()
    material = _word(crossings["material"], tuple(roughness))
    return {
        "entrance_loss": losses.loc[entrance_loss_key].to_numpy(float),
        "roughness": np.array([roughness[word] for word in material], dtype=float),
    }


def _roughness() -> dict[str, float]:
    rows = table("roughness").dropna(subset="material")
    return dict(zip(rows["material"], rows["roughness"].astype(float), strict=True))


def _word(
    words: pd.Series, known: tuple[str, ...], other: str = "unknown"
) -> NDArray[np.object_]:
    return words.where(words.isin(known), other).to_numpy(object)


def _inlets_of(shape: str) -> pd.DataFrame:
    rows = table("culvert_inlets")
    kind = rows["shape"].str.partition(",")[0]
    return rows[kind.isin(_TABLE_SHAPES[shape]) & (rows["is_tapered"] == 0)]


def _coefficients(rows: pd.DataFrame, as_columns: bool = False) -> InletCoefficients:
    terms = np.where(rows["is_mitred"] == 1, MITRED_SLOPE_TERM, SLOPE_TERM)
    fields = [rows[name].to_numpy(float) for name in ("form", "k", "m", "c", "y")]
    shape = (-1, 1) if as_columns else (-1,)
    return InletCoefficients(*(field.reshape(shape) for field in (*fields, terms)))
