"""Parts of the town file: every key with its unit, default and meaning."""

from datetime import date
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, field_validator

from culvertrisk.tables import table
from culvertrisk.units import HOUR_S, seconds_of_day, to_unit


def _quantity(unit: str) -> BeforeValidator:
    def convert(value: Any) -> Any:
        return to_unit(value, unit) if isinstance(value, str) else value

    return BeforeValidator(convert)


def _clock(value: Any) -> Any:
    return seconds_of_day(value) if isinstance(value, str) else value


Metres = Annotated[float, _quantity("m"), Field(ge=0)]
Seconds = Annotated[float, _quantity("s"), Field(ge=0)]
CubicMetres = Annotated[float, _quantity("m**3"), Field(ge=0)]
Flow = Annotated[float, _quantity("m**3/s"), Field(ge=0)]
Area = Annotated[float, _quantity("m**2"), Field(gt=0)]
Speed = Annotated[float, _quantity("m/s"), Field(gt=0)]
Power = Annotated[float, _quantity("W"), Field(ge=0)]
Pressure = Annotated[float, _quantity("Pa"), Field(ge=0)]
Celsius = Annotated[float, _quantity("degC")]
Rain = Annotated[float, _quantity("m"), Field(ge=0, le=1)]
Clock = Annotated[float, BeforeValidator(_clock), Field(ge=0, le=24 * HOUR_S)]
Fraction = Annotated[float, Field(ge=0, le=1)]
Count = Annotated[int, Field(ge=0)]


class Model(BaseModel):
    """Frozen, and no key that it does not know."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class Files(Model):
    """Where the town's data lies, relative to the town file."""

    culverts: str = Field(description="inventory of culverts")
    roads: str = Field("", description="road lines")
    dem: str = Field("", description="elevation raster in metres")
    canopy: str = Field("", description="canopy height raster in metres")
    canopy_cover: str = Field("", description="raster of ground under crowns, share")
    deciduous: str = Field("", description="raster of broadleaves among trees, share")
    land_cover: str = Field("", description="raster of land cover by class codes")
    weather: str = Field("", description="daily weather, forecast days included")
    rainfall: str = Field("", description="rain by duration and return period")
    thaw_log: str = Field("", description="the crews' log of thaws")
    places: str = Field("", description="dwellings and critical places as points")
    calls: str = Field("", description="the morning's complaints and reports")


class Reading(Model):
    """What a file's columns mean, where their names do not say."""

    crs: str = Field("", description="CRS of the file's coordinates if undeclared")
    columns: dict[str, str] = Field({}, description="our column = the file's column")
    units: dict[str, str] = Field({}, description="our column = unit in the file")


class RoadClass(Model):
    """Defaults for the roads of one class."""

    speed_m_s: Speed = Field(11.2, description="winter travel speed [m/s]")
    service: str = Field("local road", description="word for the sheet")
    daily_traffic_count: float = Field(50, ge=0, description="vehicles a day")
    design_return_years: float = Field(25, ge=1, description="design storm [years]")
    width_m: Metres = Field(9.0, description="road and shoulders at the top [m]")


class Crew(Model):
    """One truck and its people for a morning."""

    name: str = Field(description="name on the run sheet")
    method: Literal["hot water", "steam", "no heat"] = Field(description="how it opens")
    flow_m3s: Flow = Field(0.0, description="water put through the nozzle [m3/s]")
    pressure_pa: Pressure = Field(0.0, description="pump pressure [Pa]")
    water_c: Celsius = Field(80.0, description="temperature at the heater [°C]")
    burner_input_w: Power = Field(0.0, description="fuel heat into the burner [W]")
    burner_efficiency_fraction: Fraction = Field(0.82, description="heat into water")
    hose_m: Metres = Field(0.0, description="hose length [m]")
    tank_m3: CubicMetres = Field(0.0, description="water tank [m3]")
    fuel_tank_m3: CubicMetres = Field(0.0, description="burner fuel tank [m3]")
    shift_start: Clock = Field(20_400.0, description="clock time of leaving [HH:MM]")
    shift_s: Seconds = Field(34_200.0, description="hours left today [s]")
    start_lat: float = Field(description="latitude of the yard [deg]")
    start_lon: float = Field(description="longitude of the yard [deg]")
    speed_fraction: float = Field(1.0, gt=0, le=2, description="of the road's speed")
    people_count: int = Field(2, ge=1, description="people on the truck")


class FillPoint(Model):
    """Where a truck can take water."""

    name: str = Field(description="name on the run sheet")
    lat: float = Field(description="latitude [deg]")
    lon: float = Field(description="longitude [deg]")
    rate_m3s: Flow = Field(description="filling rate [m3/s]")
    open_from: Clock = Field(0.0, description="opens [HH:MM]")
    open_until: Clock = Field(86_400.0, description="closes [HH:MM]")


class KeepClear(Model):
    """Hours in which no machine may stand on some roads."""

    reason: str = Field(description="why, such as the school bus")
    road_names: tuple[str, ...] = Field((), description="roads; none means all")
    clear_from: Clock = Field(description="from [HH:MM]")
    clear_until: Clock = Field(description="until [HH:MM]")


class Prices(Model):
    """What a loss or a job costs; the town's own figures."""

    closure_s: Seconds = Field(21_600.0, description="usual flooded road is shut [s]")
    people_per_vehicle: float = Field(1.5, gt=0, description="people in a vehicle")
    people_per_dwelling: float = Field(2.3, gt=0, description="people in a dwelling")
    crew_per_person_h: float = Field(48.0, ge=0, description="pay per person-hour")
    fuel_per_m3: float = Field(1050.0, ge=0, description="burner fuel per m3")


class Town(Model):
    """Who the town is and in which CRS the work is done."""

    name: str = Field("", description="name on map and sheets")
    crs: str = Field("", description="work CRS in metres; blank: UTM of the inventory")
    units: Literal["metric", "us"] = Field(
        "metric",
        description="metric or us: first shown on map and sheets, and meant by "
        "bare numbers typed with the command",
    )
    winter_start: str = Field(
        "10-01", pattern=r"^\d\d-\d\d$", description="winter begins [MM-DD]"
    )
    freezing_index_cday: float = Field(
        800.0, gt=0, description="of a usual winter; used when no weather is given"
    )
    centre_lat: float | None = Field(None, description="service centre [deg]")
    centre_lon: float | None = Field(None, description="service centre [deg]")


class Trees(Model):
    """What the trees of the canopy raster are like; common practice, no source."""

    leaf_extinction_per_m: float = Field(
        0.05, ge=0, description="of sun in a crown in leaf or needle [1/m]"
    )
    leaf_off_factor: Fraction = Field(
        0.4, description="share of it that bare broadleaves keep"
    )
    deciduous_fraction: Fraction = Field(
        0.0, description="broadleaves among the trees, where no raster tells"
    )
    crown_width_m: Metres = Field(5.0, description="width of a crown [m]")


class Freeze(Model):
    """The town's own values for the freeze model."""

    defaults: dict[str, Any] = Field(
        {}, description="freeze_defaults name = value in its unit, or text with another"
    )


class History(Model):
    """The town's own values for its thaw log, and pages known to be lost."""

    defaults: dict[str, Any] = Field({}, description="the same of history_defaults")
    lost_days: tuple[tuple[date, date], ...] = Field((), description="[[first, last]]")


class Plan(Model):
    """How the morning is planned."""

    least_blocked_chance: Fraction = Field(
        0.05, description="crossings less likely blocked get a look, not a truck"
    )


class Storm(Model):
    """Rain of one hour by return period, for the rational method."""

    return_years: tuple[float, ...] = Field((2, 10, 25, 50, 100), description="years")
    hour_rain_m: tuple[Rain, ...] = Field(
        (0.025, 0.041, 0.051, 0.058, 0.066), description="rain of one hour [m]"
    )
    runoff_fraction: Fraction = Field(0.3, description="rational C on bare ground")
    frozen_runoff_fraction: Fraction = Field(0.7, description="rational C when frozen")


class Regression(Model):
    """Regional regression equations, as their report prints them."""

    coefficients: dict[float, float] = Field(description="return period [years] = K")
    exponents: dict[float, dict[str, float]] = Field(
        {}, description="return period [years] = {area = 0.6}"
    )
    powers_of_ten: dict[float, dict[str, float]] = Field(
        {}, description="return period [years] = {rain = 0.07}"
    )
    units: dict[str, str] = Field(
        {"area": "mi**2"}, description="unit of area and slope"
    )
    flow_unit: str = Field("ft**3/s", description="unit of the equation's flow")
    domain: dict[str, tuple[float, float]] = Field({}, description="lowest, highest")
    constants: dict[str, float] = Field({}, description="same all over the town")
    standard_error_fraction: float | None = Field(
        None, ge=0, description="standard error"
    )


class Gauge(Model):
    """Yearly highest flows of a gauged stream nearby."""

    peaks_m3s: tuple[Annotated[float, _quantity("m**3/s"), Field(gt=0)], ...] = Field(
        min_length=10, description="highest flow of each year, ten years or more"
    )
    catchment_m2: Area = Field(description="catchment of the gauge")
    distribution: Literal["log-Pearson", "Gumbel"] = "log-Pearson"
    area_exponent: float = Field(0.7, gt=0, le=1.5, description="practice, no source")


class Design(Model):
    """What the design storms stand on."""

    rain_type: Literal["I", "IA", "II", "III"] = Field(
        "II", description="NRCS rainfall type"
    )
    soil_group: Literal["A", "B", "C", "D"] = Field(
        "C", description="hydrologic soil group"
    )
    covers: dict[str, float] = Field(
        {}, description="cover = share of the town, where no raster tells"
    )
    curve_number: float | None = Field(
        None, gt=0, le=100, description="runoff curve number where no raster tells"
    )
    land_cover_legend: str = Field(
        "", description="legend of the land cover raster; blank: told by its codes"
    )
    catchment_m2: Area | None = Field(
        None, description="catchment assumed where none is known [m2]"
    )
    pond_fraction: Fraction = Field(0.0, description="swamps, where no raster tells")
    climate_factor: float = Field(1.0, gt=0, le=3, description="on design rain")
    ground: Literal["thawed", "frozen", "concrete frost"] = Field(
        "thawed", description="ground in the design storm"
    )
    concentration: Literal["kirpich", "faa", "nrcs lag", "velocity"] = Field(
        "kirpich", description="method for the time of concentration"
    )
    regression: Regression | None = Field(None, description="regional equations")
    gauge: Gauge | None = Field(None, description="gauged stream: its yearly peaks")
    iced_season_fraction: Fraction = Field(
        0.5, description="share of floods that come while pipes hold ice"
    )
    thaw_floods_per_year: float = Field(
        1.0, ge=0, description="floods of a winter that a blocked pipe meets"
    )
    life_years: float = Field(25.0, gt=0, le=200, description="years a pipe is to last")

    @field_validator("land_cover_legend")
    @classmethod
    def _known_legend(cls, legend: str) -> str:
        known = [*table("land_cover_legends")["legend"].unique()]
        if legend and legend not in known:
            raise ValueError(f"be one of {', '.join(known)}")
        return legend

    @field_validator("covers")
    @classmethod
    def _known_covers(cls, covers: dict[str, float]) -> dict[str, float]:
        known = [*table("land_covers")["cover"]]
        unknown = sorted(set(covers) - set(known))
        if unknown:
            told = ", ".join(unknown)
            raise ValueError(f"name land covers {', '.join(known)}; {told} is none")
        return covers
