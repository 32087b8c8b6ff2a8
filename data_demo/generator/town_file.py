"""The town file of the demo: crews, fill points, prices and the typed forecast."""

import numpy as np
from homes import GARAGE_XY
from layout import Array, latitude_longitude

TEXT = """\
# Quennaskeld Township, Torvessin County. All of it is invented; its coordinates lie
# on open lake water so that no real town is meant.
# Text such as "5 gpm" carries its unit; a bare number is in SI units.

[town]
name = "Quennaskeld Township"
crs = "EPSG:32616"
units = "us"
winter_start = "10-01"
centre_lat = {garage_lat}
centre_lon = {garage_lon}

[files]
culverts = "culverts.csv"
roads = "roads.geojson"
dem = "dem.tif"
canopy = "canopy.tif"
weather = "weather.csv"
rainfall = "rainfall.csv"
thaw_log = "thaw_log.csv"
places = "places.csv"
calls = "calls.csv"

# What a column is, where its name alone does not say: our column = the file's.
[culverts.columns]
install_year = "YEAR"
outlet_drop_m = "DROP_FT"
inlet_lat = "IN_LAT"
inlet_lon = "IN_LON"
outlet_lat = "OUT_LAT"
outlet_lon = "OUT_LON"

[culverts.units]
outlet_drop_m = "foot"

# ------------------------------------------------------------------ roads
# Winter travel speed, what the road is for, traffic where the road file has none,
# design storm in years, and width of road and shoulders at the top.

[road_classes.A]
speed_m_s = "45 mph"
service = "trunk: ambulance, school bus, freight"
daily_traffic_count = 1100
design_return_years = 50
width_m = 14.0

[road_classes.B]
speed_m_s = "35 mph"
service = "collector: school bus, milk"
daily_traffic_count = 300
design_return_years = 25
width_m = 12.0

[road_classes.C]
speed_m_s = "25 mph"
service = "town road"
daily_traffic_count = 60
design_return_years = 25
width_m = 10.0

[road_classes.D]
speed_m_s = "15 mph"
service = "dead end"
daily_traffic_count = 20
design_return_years = 10
width_m = 9.0

# ------------------------------------------------------------------ crews today
# One operator is sick; the second man of T2 is timed out until 08:00.

[[crews]]
name = "T1"
method = "hot water"
flow_m3s = "5 gpm"
pressure_pa = "2500 psi"
water_c = "175 degF"
burner_input_w = "120 kW"   # about 3 gallons of fuel an hour
burner_efficiency_fraction = 0.82
hose_m = "300 ft"
tank_m3 = "800 gallon"
fuel_tank_m3 = "40 gallon"
shift_start = "05:40"
shift_s = "9.5 h"
start_lat = {garage_lat}
start_lon = {garage_lon}
speed_fraction = 0.9
people_count = 2

[[crews]]
name = "T2"
method = "steam"
flow_m3s = "0.7 gpm"        # 350 lb of steam an hour
pressure_pa = "100 psi"
water_c = "100 degC"
burner_input_w = "145 kW"   # about 3.6 gallons of fuel an hour
burner_efficiency_fraction = 0.75
hose_m = "150 ft"
tank_m3 = "210 gallon"
fuel_tank_m3 = "30 gallon"
shift_start = "08:00"
shift_s = "7 h"
start_lat = {garage_lat}
start_lon = {garage_lon}
speed_fraction = 0.85
people_count = 2

[[crews]]
name = "T3"
method = "no heat"          # loader and pickup: digs, pumps, signs, scouts
shift_start = "05:40"
shift_s = "9.5 h"
start_lat = {garage_lat}
start_lon = {garage_lon}
speed_fraction = 0.8
people_count = 1

# ------------------------------------------------------------------ water
# The dry hydrant at Skarrow Pond is frozen and therefore not listed.

[[fill_points]]
name = "garage"
lat = {garage_lat}
lon = {garage_lon}
rate_m3s = "60 gpm"

[[fill_points]]
name = "hydrant H7, with the water operator"
lat = {hydrant_lat}
lon = {hydrant_lon}
rate_m3s = "150 gpm"
open_from = "07:30"

[[fill_points]]
name = "Fenn dairy"
lat = {dairy_lat}
lon = {dairy_lon}
rate_m3s = "12 gpm"

# ------------------------------------------------------------------ school bus

[[keep_clear]]
reason = "school bus, morning"
road_names = {bus_roads}
clear_from = "06:35"
clear_until = "08:10"

[[keep_clear]]
reason = "school bus, afternoon"
road_names = {bus_roads}
clear_from = "14:30"
clear_until = "15:50"

# ------------------------------------------------------------------ typed forecast
# For one morning, in place of its row in the weather file.

[forecast]
date = 2025-02-25
air_min_c = "-9 degC"
air_max_c = "6 degC"
rain_m = "18 mm"
rain_start = "09:30"
rain_end = "18:00"
snow_water_m = "140 mm"
wind_m_s = "25 km/h"

# ------------------------------------------------------------------ money, storms

[prices]
closure_s = "6 h"
people_per_vehicle = 1.5
people_per_dwelling = 2.4
crew_per_person_h = 48.0
fuel_per_m3 = 1050.0        # about 4 dollars a gallon

# The rain of the design storms stands in rainfall.csv. Curve number and rational C
# come from the covers below: their shares of the town, on soil of one group.

[storm]
frozen_runoff_fraction = 0.7

[design]
rain_type = "II"
soil_group = "C"

[design.covers]
woods = 0.28
meadow = 0.22
pasture = 0.18
cultivated = 0.12
wetland = 0.12
brush = 0.03
residential = 0.02
"gravel road" = 0.01
paved = 0.01
water = 0.01

# Regional equation: flow [ft3/s] = coefficient * area [mi2] ^ exponent, by return
# period in years. Invented like all of the demo; a town takes its state's report.
[design.regression]
coefficients = {{ 2 = 70, 10 = 150, 25 = 195, 50 = 232, 100 = 270 }}
units = {{ area = "mi**2" }}
flow_unit = "ft**3/s"
domain = {{ area = [0.1, 50] }}
standard_error_fraction = 0.42

[design.regression.exponents]
2 = {{ area = 0.69 }}
10 = {{ area = 0.68 }}
25 = {{ area = 0.67 }}
50 = {{ area = 0.67 }}
100 = {{ area = 0.66 }}
"""
HYDRANT_XY = (5_640.0, 5_460.0)


def town_text(dairy: Array, bus_roads: list[str]) -> str:
    """Return the town file; the dairy is given in latitude and longitude."""
    spots = np.array([GARAGE_XY, HYDRANT_XY])
    place = [*np.round(latitude_longitude(spots), 6).tolist(), dairy.tolist()]
    names = [f'    "{name}",' for name in bus_roads]
    words = {"bus_roads": "\n".join(["[", *names, "]"])}
    for name, (lat, lon) in zip(("garage", "hydrant", "dairy"), place, strict=True):
        words |= {f"{name}_lat": f"{lat}", f"{name}_lon": f"{lon}"}
    return TEXT.format(**words)
