"""The command line: what it says, where it puts it, and its exit codes."""

import subprocess
import sys

import pytest

INVENTORY = "id,lat,lon,road,size\nA1,47.75,-87.5,Norrick Lane,18\n"


def _run(*words, folder):
    command = [sys.executable, "-c", "from culvertrisk.cli import run; run()", *words]
    return subprocess.run(
        command, cwd=folder, capture_output=True, text=True, check=False, timeout=300
    )


def _problem(run):
    assert run.returncode == 2, run.stderr
    assert "Traceback" not in run.stderr
    return " ".join(run.stderr.split())


@pytest.mark.slow
def test_help_of_every_command_shows_a_working_example(tmp_path):
    for command in ("demo", "start", "check", "assess", "morning"):
        run = _run(command, "--help", folder=tmp_path)
        assert run.returncode == 0
        assert f"Example: culvertrisk {command}" in " ".join(run.stdout.split())


@pytest.mark.slow
def test_missing_town_file_says_how_to_write_one(tmp_path):
    problem = _problem(_run("assess", "town.toml", folder=tmp_path))
    assert problem == (
        "error: town.toml: file must exist, got no such file. "
        "Write one with: culvertrisk start DATA..."
    )


@pytest.mark.slow
def test_typo_in_the_town_file_is_refused_with_its_place(tmp_path):
    (tmp_path / "town.toml").write_text('[files]\nculvrets = "a.csv"\n', "utf-8")
    problem = _problem(_run("assess", folder=tmp_path))
    assert "town.toml: files.culvrets must be a key of the town file" in problem
    assert "town.toml: files.culverts must be valid (field required)" in problem


@pytest.mark.slow
def test_every_missing_file_is_told_at_once(tmp_path):
    (tmp_path / "c.csv").write_text(INVENTORY, "utf-8")
    (tmp_path / "town.toml").write_text(
        '[files]\nculverts = "c.csv"\nroads = "r.geojson"\ndem = "d.tif"\n', "utf-8"
    )
    problem = _problem(_run("assess", folder=tmp_path))
    assert problem.count("error: ") == 2
    assert "r.geojson" in problem
    assert "d.tif" in problem


@pytest.mark.slow
def test_unreadable_dem_is_refused(tmp_path):
    (tmp_path / "c.csv").write_text(INVENTORY, "utf-8")
    (tmp_path / "d.tif").write_text("not a raster", "utf-8")
    (tmp_path / "town.toml").write_text(
        '[files]\nculverts = "c.csv"\ndem = "d.tif"\n', "utf-8"
    )
    assert "d.tif: file must be" in _problem(_run("assess", folder=tmp_path))


@pytest.mark.slow
def test_inventory_without_a_usable_row_is_refused(tmp_path):
    (tmp_path / "c.csv").write_text("id,lat,lon\nA1,0,0\nA2,,\n", "utf-8")
    (tmp_path / "town.toml").write_text('[files]\nculverts = "c.csv"\n', "utf-8")
    assert "c.csv: " in _problem(_run("assess", folder=tmp_path))


@pytest.mark.slow
def test_shapefile_without_a_crs_names_the_key_that_tells_it(tmp_path):
    import geopandas as gpd

    shapes = gpd.GeoDataFrame(
        {"id": ["A1"]},
        geometry=gpd.points_from_xy([462500.0], [5288600.0]),
        crs="EPSG:32616",
    )
    shapes.to_file(tmp_path / "c.shp")
    (tmp_path / "c.prj").unlink()
    (tmp_path / "town.toml").write_text('[files]\nculverts = "c.shp"\n', "utf-8")
    assert "culverts.crs" in _problem(_run("assess", folder=tmp_path))


@pytest.mark.slow
def test_typed_rain_without_a_number_is_refused(tmp_path):
    (tmp_path / "c.csv").write_text(INVENTORY, "utf-8")
    (tmp_path / "town.toml").write_text('[files]\nculverts = "c.csv"\n', "utf-8")
    problem = _problem(_run("morning", "--rain", "lots", folder=tmp_path))
    assert "command line: rain_m must be valid" in problem


@pytest.mark.slow
def test_start_writes_a_town_file_that_assess_and_morning_can_use(tmp_path):
    (tmp_path / "c.csv").write_text(INVENTORY, "utf-8")
    started = _run("start", "c.csv", folder=tmp_path)
    assert started.returncode == 0, started.stderr
    assert "culverts" in started.stdout
    again = _problem(_run("start", "c.csv", folder=tmp_path))
    assert "town.toml" in again
    run = _run("morning", "--on", "2025-02-25", "--out", "out", folder=tmp_path)
    assert run.returncode == 0, run.stderr
    assert "No plan: no crew is given in the town file" in run.stdout
    assert "person-hours" in " ".join(run.stdout.split())
    assert (tmp_path / "out" / "map.html").stat().st_size > 0
    checked = _run("check", "--out", "out", folder=tmp_path)
    assert checked.returncode == 0, checked.stderr
    assert "1 crossings can be used" in checked.stdout


@pytest.mark.slow
def test_an_out_folder_that_cannot_be_made_is_refused_before_the_work(tmp_path):
    (tmp_path / "c.csv").write_text(INVENTORY, "utf-8")
    (tmp_path / "town.toml").write_text('[files]\nculverts = "c.csv"\n', "utf-8")
    for command in ("assess", "morning"):
        problem = _problem(_run(command, "--out", "c.csv/in", folder=tmp_path))
        assert "error: --out c.csv/in: must be a folder" in problem
