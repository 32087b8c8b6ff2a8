"""Catchment areas of an inventory, in whatever unit its column name tells."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from culvertrisk.inputs.culverts import read_culverts
from culvertrisk.settings import Reading

# exact, but for the acre, of which two differ by 4e-6
ACRE_M2, MILE2_M2 = 4046.856, 1609.344**2


def _read(tmp_path, header, areas, **told):
    rows = [f"A{i},45.0,{-90 + i / 100},18,{area}" for i, area in enumerate(areas)]
    path = tmp_path / "culverts.csv"
    path.write_text("\n".join([f"culvert_id,lat,lon,diam_in,{header}", *rows]))
    return read_culverts(path, Reading(**told))


@pytest.mark.parametrize(
    ("header", "unit_m2"),
    [
        ("Drainage Area (ac)", ACRE_M2),
        ("DRAIN_AREA_ACRES", ACRE_M2),
        ("Drainage Area (sq mi)", MILE2_M2),
        ("watershed_area_sqmi", MILE2_M2),
        ("catchment_ha", 10_000),
        ("Basin Area km2", 1e6),
        ("recorded_catchment_m2", 1),
    ],
)
def test_the_unit_stands_in_the_name(tmp_path, header, unit_m2):
    areas = [12.5, 40.0]
    read = _read(tmp_path, header, areas)
    found_m2 = read.table["recorded_catchment_m2"].to_numpy()
    assert_allclose(found_m2, np.array(areas) * unit_m2, rtol=1e-5)


def test_blank_and_zero_are_unknown(tmp_path):
    read = _read(tmp_path, "drainage_area_ac", ["", 0, -99, 5])
    assert [*read.table["recorded_catchment_m2"].isna()] == [True, True, True, False]


def test_an_area_without_a_unit_is_not_guessed(tmp_path):
    read = _read(tmp_path, "drainage_area", [5, 7])
    assert read.table["recorded_catchment_m2"].isna().all()
    assert (
        "not used: tell culverts.units.recorded_catchment_m2, such as acre, ha or mi2"
    ) in [*read.notes["understood"]]
    told = _read(
        tmp_path, "drainage_area", [5, 7], units={"recorded_catchment_m2": "acre"}
    )
    assert_allclose(
        told.table["recorded_catchment_m2"], [5 * ACRE_M2, 7 * ACRE_M2], rtol=1e-5
    )


def test_a_length_is_no_area_and_an_area_no_length(tmp_path):
    read = _read(tmp_path, "drainage_area_ft", [5, 7])
    assert read.table["recorded_catchment_m2"].isna().all()
    other = _read(tmp_path, "length_ac", [5, 7])
    assert not np.allclose(other.table["length_m"], np.array([5, 7]) * ACRE_M2)
