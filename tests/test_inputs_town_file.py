"""The town file written from data: every key, read back unchanged, never over one."""

import re
import tomllib
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import rasterio
from shapely.geometry import LineString, Point

from culvertrisk import settings
from culvertrisk.checks import InputError
from culvertrisk.inputs.file_kinds import find_files, guess_kind
from culvertrisk.inputs.town_file import write_town_file

UTM = "EPSG:32616"
INVENTORY = "pipe_id,lat,lon,diameter\n1,47.75,-87.5,18\n2,47.76,-87.5,24\n"
UNDERSTOOD = {
    "culverts": settings.Reading(
        crs="EPSG:4326",
        columns={"diameter_m": 'Ø "clear" (in)', "length_m": "Länge\\m"},
        units={"diameter_m": "in"},
    )
}


def _write(tmp_path: Path, **more: Path) -> Path:
    inventory = tmp_path / "data" / "c.csv"
    inventory.parent.mkdir(exist_ok=True)
    inventory.write_text(INVENTORY)
    path = tmp_path / "town.toml"
    write_town_file(path, {"culverts": inventory, **more}, UNDERSTOOD)
    return path


def _uncommented(text: str) -> str:
    """Remove the '# ' of every default and example that has a value."""
    return re.sub(r"^# (\[.*|\w+ = [^ ].*)$", r"\1", text, flags=re.MULTILINE)


def test_town_file_is_read_back_unchanged(tmp_path):
    town = settings.read_settings(_write(tmp_path))
    assert town.files == settings.Files(culverts="data/c.csv")
    assert town.culverts == UNDERSTOOD["culverts"]
    blank = settings.Settings(files=town.files, culverts=town.culverts)
    assert town.model_dump(exclude={"folder"}) == blank.model_dump(exclude={"folder"})
    assert town.path("culverts") == tmp_path / "data" / "c.csv"


def test_every_key_of_every_model_stands_in_the_town_file(tmp_path):
    text = _write(tmp_path).read_text(encoding="utf-8")
    models = [
        *(settings.Town, settings.Files, settings.RoadClass, settings.Crew),
        *(settings.FillPoint, settings.KeepClear, settings.Forecast),
        *(settings.Prices, settings.Storm),
    ]
    for model in models:
        for key, field in model.model_fields.items():
            line = rf"^(# )?{key} =.*{re.escape(field.description or '')}"
            assert re.search(line, text, re.MULTILINE), key
    for key in set(settings.Settings.model_fields) - {"folder"}:
        assert re.search(rf"^(# )?\[+{key}[\].]", text, re.MULTILINE), key


def test_defaults_in_the_town_file_are_those_of_the_program(tmp_path):
    path = _write(tmp_path)
    path.write_text(_uncommented(path.read_text(encoding="utf-8")), encoding="utf-8")
    town = settings.read_settings(path)
    for key in ("town", "default_road_class", "forecast", "prices", "storm"):
        default = settings.Settings.model_fields[key].default
        assert getattr(town, key) == default, key
    assert town.road_classes == {"A": settings.RoadClass()}


def test_the_example_crew_is_a_crew_once_it_is_uncommented(tmp_path):
    text = _uncommented(_write(tmp_path).read_text(encoding="utf-8"))
    words = tomllib.loads(text)
    crew = settings.Crew(**words["crews"][0])
    assert crew.hose_m > 0 and crew.flow_m3s > 0 and crew.tank_m3 > 0
    assert settings.FillPoint(**words["fill_points"][0]).rate_m3s > 0
    assert settings.KeepClear(**words["keep_clear"][0]).clear_until > 0


def test_a_town_file_is_never_written_over(tmp_path):
    path = tmp_path / "town.toml"
    path.write_text("mine")
    with pytest.raises(InputError) as error:
        write_town_file(path, {"culverts": tmp_path / "c.csv"}, {})
    assert str(error.value) == (
        "town.toml: file must not exist yet, got a town file. Remove or rename it, or "
        "give another name; nothing was changed."
    )
    assert path.read_text() == "mine"


def test_a_town_file_without_culverts_is_refused_and_leaves_nothing(tmp_path):
    with pytest.raises(InputError, match="must name an inventory of culverts"):
        write_town_file(tmp_path / "town.toml", {}, {})
    assert [*tmp_path.iterdir()] == []


def test_nothing_is_left_beside_the_town_file(tmp_path):
    _write(tmp_path)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["data", "town.toml"]


def _raster(path: Path, values: np.ndarray) -> Path:
    grid = {"crs": UTM, "transform": rasterio.Affine(10, 0, 462_500, 0, -10, 5_288_600)}
    height, width = values.shape
    with rasterio.open(
        path, "w", driver="GTiff", count=1, dtype=values.dtype, height=height,
        width=width, **grid,
    ) as raster:  # fmt: skip
        raster.write(values, 1)
    return path


def _layer(path: Path, shape, **columns) -> Path:
    gpd.GeoDataFrame(
        {name: [value] for name, value in columns.items()}, geometry=[shape], crs=UTM
    ).to_file(path)
    return path


LINE = LineString([(462_500, 5_288_600), (462_600, 5_288_700)])
POINT = Point(462_500, 5_288_600)


@pytest.mark.parametrize(
    ("shape", "columns", "kind"),
    [
        (LINE, {"ST_NAME": "Wyke", "SURFACE": "gravel"}, "roads"),
        (LINE, {"DIAM_IN": 18, "MATERIAL": "CMP"}, "culverts"),
        (LINE, {"RAILWAY": "main", "GAUGE": 1435}, "unknown"),
        (LINE, {"gnis_name": "Ossel Brook", "stream_order": 2}, "unknown"),
        (LINE, {"hue": 3}, "unknown"),
        (POINT, {"PIPE_SIZE": "18", "SHAPE_TYPE": "round"}, "culverts"),
        (POINT, {"address": "1 Wyke Rd", "people": 3}, "places"),
    ],
)
def test_guess_kind_of_layers(tmp_path, shape, columns, kind):
    assert guess_kind(_layer(tmp_path / "layer.gpkg", shape, **columns)) == kind


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        (INVENTORY, "culverts"),
        ("date,tmin_c,tmax_c,rain_mm\n2025-02-25,-9,2,0\n", "weather"),
        ("day,air_min_c,air_max_c,rain_m\n2025-02-25,-9,2,0\n", "weather"),
        ("date,place,crew,method,minutes,result\n2/25/19,Wyke,1,steam,40,open\n",
         "thaw_log"),
        ("time,caller,road,seen\n06:10,resident,Wyke Rd,water over road\n", "calls"),
        ("name,kind,people_count,needs,lat,lon\nHarn,home,2,,47.75,-87.5\n", "places"),
        ("duration,return years,rain mm\n60 min,2,21\n60 min,10,33\n", "rainfall"),
        ("Depth (inches)\nby duration for ARI (years):,1,2\n5-min:,0.3,0.4\n"
         "60-min:,1,1.2\n", "rainfall"),
        ("a,b\n1,2\n", "unknown"),
        ("", "unknown"),
    ],
    ids=["culverts", "weather", "our weather", "thaw log", "calls", "places", "rain",
         "rain in blocks", "other", "empty"],
)  # fmt: skip
def test_guess_kind_of_tables(tmp_path, text, kind):
    path = tmp_path / "table.csv"
    path.write_text(text)
    assert guess_kind(path) == kind


def test_guess_kind_of_rasters(tmp_path):
    x, y = np.meshgrid(np.linspace(0, 3, 80), np.linspace(0, 3, 80))
    ground = (20 + 15 * np.sin(x) * np.cos(y)).astype("float32")
    trees = np.random.default_rng(1).choice([0, 5, 18, 25], (80, 80)).astype("float32")
    assert guess_kind(_raster(tmp_path / "a.tif", ground)) == "dem"
    assert guess_kind(_raster(tmp_path / "b.tif", ground + 300)) == "dem"
    assert guess_kind(_raster(tmp_path / "c.tif", trees)) == "canopy"


def test_find_files_looks_one_level_into_a_folder_and_says_what_is_left(tmp_path):
    (tmp_path / "c.csv").write_text(INVENTORY)
    (tmp_path / "d.csv").write_text(INVENTORY)
    (tmp_path / "letter.docx").write_text("x")
    _layer(tmp_path / "r.gpkg", LINE, ST_NAME="Wyke", SURFACE="gravel")
    files, others = find_files([tmp_path])
    assert files == {"culverts": tmp_path / "c.csv", "roads": tmp_path / "r.gpkg"}
    assert others.to_dict("records") == [
        {"file": "d.csv", "kind": "culverts", "why": "c.csv is used"},
        {"file": "letter.docx", "kind": "unknown", "why": "content not recognised"},
    ]


def test_a_broken_inventory_is_told_as_broken_and_not_as_unknown(tmp_path):
    (tmp_path / "c.csv").write_text('id,lat,lon,size\nA1,47.75,-87.5,"18\n')
    with pytest.raises(InputError) as refused:
        find_files([tmp_path])
    assert len(refused.value.problems) == 1
    assert "file must close every quote that it opens" in refused.value.problems[0]
    (tmp_path / "d.csv").write_text(INVENTORY)
    files, others = find_files([tmp_path])
    assert files == {"culverts": tmp_path / "d.csv"}
    assert others["why"].tolist() == [*refused.value.problems]
