"""What opening a crossing takes: minutes with a range, water and fuel, by crew."""

from collections.abc import Mapping
from functools import cache

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from culvertrisk.formulas import hose, jetting, thaw_heat
from culvertrisk.settings import Crew
from culvertrisk.tables import table
from culvertrisk.units import DIESEL_HEAT_J_M3, quantity

Floats = NDArray[np.float64]
Values = Mapping[str, float]

STEAM_C = 100.0  # at atmospheric pressure
MEGA = 1e6
NOT_THAWED = ("bridge", "ford")
NO_HEAT = "no heat: digs, scouts and signs only"
TOO_MUCH_WATER = "takes more water than one tank"
COLUMNS = (
    "culvert_id",
    "crew",
    "job_s",
    "job_low_s",
    "job_high_s",
    "water_m3",
    "fuel_m3",
    "ends",
    "is_possible",
    "why_not",
    "pilot_s",
    "dig_s",
    "set_up_s",
    "purge_s",
    "check_s",
    "jet_reaction_n",
)
_QUICKER_WHEN_HIGH = (
    "jet_efficiency_fraction",
    "advance_partial_m_s",
    "advance_solid_m_s",
    "tank_c",
)
_NEEDED = (
    "flow_m3s",
    "hose_m",
    "tank_m3",
    "fuel_tank_m3",
    "burner_efficiency_fraction",
)
_PARTS = ("pilot_s", "dig_s", "set_up_s", "purge_s", "check_s")


def thaw_jobs(
    crossings: pd.DataFrame, crews: tuple[Crew, ...], air_c: float
) -> pd.DataFrame:
    """Work out the thaw job of every crossing for every crew.

    Parameters
    ----------
    crossings : DataFrame
        Crossings table, indexed by ``culvert_id``. Unknown rise, length and
        blocked fraction take the values of the table ``thaw_defaults``; a crossing
        that is not known to be staked counts as not staked.
    crews : tuple of Crew
        The trucks of the town file.
    air_c : float
        Air temperature during the work [°C].

    Returns
    -------
    jobs : DataFrame
        One row per crossing and crew, columns ``COLUMNS``. ``job_s`` is the sum of
        its parts; low and high take every part at the end of its range. Water and
        fuel are those of the pilot hole: the widening is left to the flow.
        ``jet_reaction_n`` is the push back on the hand that holds the hose [N].

    Examples
    --------
    >>> crew = Crew(name="T1", method="no heat", start_lat=0, start_lon=0)
    >>> jobs = thaw_jobs(pd.DataFrame({"length_m": [12.0]}, index=["A1"]), (crew,), -5)
    >>> jobs[["culvert_id", "crew", "is_possible", "why_not"]].values.tolist()
    [['A1', 'T1', False, 'no heat: digs, scouts and signs only']]
    """
    sites = _sites(crossings)
    frames = [_crew_jobs(sites, crew, air_c) for crew in crews]
    if not frames:
        return pd.DataFrame(columns=list(COLUMNS))
    return pd.concat(frames, ignore_index=True)[list(COLUMNS)]


@cache
def thaw_defaults() -> tuple[dict[str, float], dict[str, float], dict[str, float]]:
    """Return the planned, the quick and the slow values of ``thaw_defaults``."""
    rows = table("thaw_defaults").set_index("name")
    value = rows["value"].astype(float)
    low, high = (rows[side].astype(float).fillna(value) for side in ("low", "high"))
    turned = rows.index.isin(_QUICKER_WHEN_HIGH)
    quick, slow = low.where(~turned, high), high.where(~turned, low)
    return tuple({str(k): float(v) for k, v in s.items()} for s in (value, quick, slow))  # type: ignore[return-value]


def _sites(crossings: pd.DataFrame) -> pd.DataFrame:
    planned, _, _ = thaw_defaults()
    sites = pd.DataFrame(index=crossings.index)
    for name in ("rise_m", "length_m", "blocked_fraction"):
        column = crossings.get(name, pd.Series(np.nan, crossings.index))
        sites[name] = pd.to_numeric(column).fillna(planned[name])
    staked = crossings.get("is_staked", pd.Series(np.nan, crossings.index))
    sites["is_staked"] = pd.to_numeric(staked).fillna(0) > 0
    sites["kind"] = crossings.get("crossing_kind", pd.Series("", crossings.index))
    return sites


def _crew_jobs(sites: pd.DataFrame, crew: Crew, air_c: float) -> pd.DataFrame:
    planned, quick, slow = thaw_defaults()
    parts = _parts(sites, crew, air_c, planned)
    jobs = pd.DataFrame({name: parts[name] for name in _PARTS}, index=sites.index)
    jobs["job_s"] = jobs[list(_PARTS)].sum(axis=1, skipna=False)
    for side, values in (("job_low_s", quick), ("job_high_s", slow)):
        ranged = _parts(sites, crew, air_c, values)
        jobs[side] = sum(ranged[name] for name in _PARTS)
    jobs["ends"] = _ends(sites["length_m"].to_numpy(), crew, planned)
    jobs["water_m3"] = jobs["pilot_s"] * crew.flow_m3s
    jobs["fuel_m3"] = jobs["pilot_s"] * _fuel_m3s(crew, planned)
    jobs["jet_reaction_n"] = _jet_reaction_n(crew)
    jobs["why_not"] = _why_not(sites, jobs, crew, planned)
    jobs["is_possible"] = jobs["why_not"] == ""
    jobs.insert(0, "crew", crew.name)
    jobs.insert(0, "culvert_id", sites.index)
    return jobs


def _parts(
    sites: pd.DataFrame, crew: Crew, air_c: float, values: Values
) -> dict[str, Floats]:
    planned, _, _ = thaw_defaults()
    length_m = sites["length_m"].to_numpy(float)
    # which ends are worked at is decided once, with the planned reach
    ends = np.where(_ends(length_m, crew, planned) == "both ends", 2.0, 1.0)
    staked = np.where(sites["is_staked"], values["staked_dig_fraction"], 1.0)
    parts = {
        "dig_s": values["dig_s"] * staked * ends,
        "set_up_s": values["set_up_s"] * ends,
    }
    if crew.method == "no heat":
        return parts | dict.fromkeys(("pilot_s", "purge_s", "check_s"), 0 * ends)
    purge_s = values["purge_s"] * float(air_c < values["purge_below_c"])
    return parts | {
        "pilot_s": _pilot_s(sites, crew, air_c, values),
        "purge_s": np.full(len(sites), purge_s),
        "check_s": np.full(len(sites), values["check_s"]),
    }


def _pilot_s(sites: pd.DataFrame, crew: Crew, air_c: float, values: Values) -> Floats:
    length_m = sites["length_m"].to_numpy(float)
    blocked = sites["blocked_fraction"].to_numpy(float)
    bore_m = np.minimum(values["pilot_bore_m"], sites["rise_m"].to_numpy(float))
    ice_kg = thaw_heat.pilot_ice(bore_m, length_m, blocked)
    heat_j = thaw_heat.ice_heat(ice_kg, min(air_c, 0.0))
    is_solid = blocked >= values["solid_fraction"]
    advance_m_s = np.where(
        is_solid, values["advance_solid_m_s"], values["advance_partial_m_s"]
    )
    nozzle_w = _nozzle_w(crew, air_c, values)
    return thaw_heat.pilot_time(
        heat_j,
        nozzle_w if nozzle_w > 0 else np.nan,
        values["jet_efficiency_fraction"],
        length_m,
        advance_m_s,
    )


def _burner_w(crew: Crew) -> float:
    given = crew.burner_input_w * crew.burner_efficiency_fraction
    return given if given > 0 else np.inf  # no input given: the heater's word holds


def _heater_w(crew: Crew, from_c: float, values: Values) -> float:
    """Heat put into the water above a temperature, as far as the burner goes."""
    if crew.method == "steam":
        steam = thaw_heat.steam_heat(
            crew.flow_m3s, from_c, values["condensing_heat_j_kg"]
        )
        return min(float(steam), _burner_w(crew))
    water = thaw_heat.water_heat(crew.flow_m3s, crew.water_c - from_c)
    return min(float(water), _burner_w(crew))


def _nozzle_w(crew: Crew, air_c: float, values: Values) -> float:
    """Heat at the nozzle above the return temperature, after the hose."""
    conductance = hose.hose_conductance(
        values["hose_bore_m"],
        values["hose_outside_m"],
        values["hose_conductivity_w_mk"],
        values["surface_w_m2k"],
    )
    if crew.method == "steam":
        lost_w = float(conductance) * crew.hose_m * (STEAM_C - air_c)
        return _heater_w(crew, values["return_c"], values) - lost_w
    if crew.flow_m3s <= 0:
        return np.nan
    per_degree_w = float(thaw_heat.water_heat(crew.flow_m3s, 1))
    heater_c = values["tank_c"] + _heater_w(crew, values["tank_c"], values) / (
        per_degree_w
    )
    nozzle_c = hose.hose_outlet(
        heater_c, air_c, crew.flow_m3s, crew.hose_m, conductance
    )
    return per_degree_w * (float(nozzle_c) - values["return_c"])


def _fuel_m3s(crew: Crew, values: Values) -> float:
    if crew.method == "no heat":
        return 0.0
    if crew.burner_efficiency_fraction <= 0:
        return np.nan
    heat_w = _heater_w(crew, values["tank_c"], values)
    efficiency = crew.burner_efficiency_fraction
    return float(thaw_heat.burner_fuel(heat_w, efficiency, DIESEL_HEAT_J_M3))


def _ends(length_m: Floats, crew: Crew, values: Values) -> NDArray[np.object_]:
    if crew.method == "no heat":
        return np.full(length_m.shape, "dig only", dtype=object)
    reach_m = hose.push_reach(
        crew.hose_m, values["hose_lead_m"], values["push_limit_m"]
    )
    ends = np.where(length_m <= 2 * reach_m, "both ends", "dig only")
    return np.where(length_m <= reach_m, "outlet", ends).astype(object)


def _why_not(
    sites: pd.DataFrame, jobs: pd.DataFrame, crew: Crew, values: Values
) -> NDArray[np.object_]:
    """Say why a crew cannot do a job; the first reason that holds."""
    missing = _missing(crew)
    if missing:
        return np.full(len(sites), missing, dtype=object)
    reach_m = float(
        hose.push_reach(crew.hose_m, values["hose_lead_m"], values["push_limit_m"])
    )
    length_m, reach = sites["length_m"], quantity(2 * reach_m, "m")
    too_long = [
        f"hose too short: {reach} from both ends, barrel {quantity(m, 'm')}"
        for m in length_m
    ]
    reasons = (
        (sites["kind"].isin(NOT_THAWED), "a bridge or ford is not thawed by hose"),
        (jobs["ends"] == "dig only", too_long),
        (jobs["job_s"].isna(), "no heat reaches the nozzle, or air not known"),
        (jobs["fuel_m3"] > crew.fuel_tank_m3, "takes more fuel than the tank holds"),
        (jobs["water_m3"] > crew.tank_m3, TOO_MUCH_WATER),
    )
    why: NDArray[np.object_] = np.full(len(sites), "", dtype=object)
    for holds, words in reversed(reasons):
        why = np.where(holds, words, why)
    return why.astype(object)


def _missing(crew: Crew) -> str:
    if crew.method == "no heat":
        return NO_HEAT
    missing = ", ".join(name for name in _NEEDED if getattr(crew, name) <= 0)
    return f"the town file gives no {missing}" if missing else _pressure_short(crew)


def _is_jet(crew: Crew) -> bool:
    return crew.method == "hot water" and crew.flow_m3s > 0 and crew.pressure_pa > 0


def _jet_reaction_n(crew: Crew) -> float:
    """Push back of the jet at the whole pump pressure, as with a short hose."""
    if not _is_jet(crew):
        return np.nan
    return float(jetting.jet_reaction(crew.flow_m3s, crew.pressure_pa))


def _pressure_short(crew: Crew) -> str:
    """Say so where flow, hose and pump pressure do not fit; no pressure, no word."""
    values, _, _ = thaw_defaults()
    lost_pa = hose.hose_pressure_loss(
        crew.flow_m3s,
        values["hose_bore_m"],
        crew.hose_m,
        roughness_m=values["hose_roughness_m"],
        viscosity_m2s=values["water_viscosity_m2s"],
    )
    if not _is_jet(crew) or lost_pa < crew.pressure_pa:
        return ""
    both_pa = float(lost_pa), crew.pressure_pa
    lost, given = (quantity(value_pa / MEGA, "MPa", 1) for value_pa in both_pa)
    return f"the hose takes {lost}, the pump gives {given}"
