"""The command line: what it says, where it puts it, and its exit codes."""

import re
import subprocess
import sys
from pathlib import Path

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
    assert "command line: --rain must be rain from 0 to 1000 mm" in problem


US_TOWN = '[town]\nunits = "us"\n[files]\nculverts = "c.csv"\n'
DAY = ("--on", "2025-02-25")


def _us_morning(tmp_path, *words, block=""):
    (tmp_path / "c.csv").write_text(INVENTORY, "utf-8")
    (tmp_path / "town.toml").write_text(US_TOWN + block, "utf-8")
    return _run("morning", *DAY, *words, folder=tmp_path)


@pytest.mark.slow
def test_bare_numbers_are_read_in_the_towns_units_and_told(tmp_path):
    run = _us_morning(tmp_path, "--low", "16", "--high", "43", "--rain", "0.5")
    assert run.returncode == 0, run.stderr
    assert (
        "Planned for: Tuesday 25 February 2025, low 16 °F, high 43 °F, rain 0.5 in "
        "(typed with the command)\n"
    ) in run.stdout
    pages = [tmp_path / "culvertrisk_out" / "run_sheets.html"]
    pages += [pages[0].with_name(f"{name}map.html") for name in ("", "council_")]
    for page in pages:
        told = page.read_text("utf-8")
        assert "low 16 °F, high 43 °F, rain 0.5 in (typed with the command)" in told
        assert "low -8.9 °C, high 6.1 °C, rain 12.7 mm" in told


@pytest.mark.slow
def test_a_low_above_the_high_is_refused_and_nothing_is_written(tmp_path):
    problem = _problem(_us_morning(tmp_path, "--low", "43", "--high", "16"))
    assert problem == (
        "error: command line: --low must not be above --high, which is 16, got '43'. "
        "A number without a unit is in °F, the town's units."
    )
    assert not (tmp_path / "culvertrisk_out").exists()


@pytest.mark.slow
def test_a_made_up_winter_and_a_forecast_not_used_are_told(tmp_path):
    block = '[forecast]\ndate = 2025-03-12\nair_min_c = "16 F"\n'
    run = _us_morning(tmp_path, block=block)
    made_up = (
        "No weather file: a winter of 1440 °F·days below freezing is assumed."
    ).replace("1440", "1,440")
    not_used = (
        "The [forecast] block of the town file is not used for 2025-02-25: it is for "
        "2025-03-12; type the day's own numbers."
    )
    assert f"(made up)\n{made_up}\n{not_used}\n" in run.stdout
    folder = tmp_path / "culvertrisk_out"
    assert not_used in (folder / "assumptions.csv").read_text("utf-8-sig")
    for name in ("run_sheets.html", "map.html", "council_map.html"):
        assert made_up in (folder / name).read_text("utf-8")


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
    assert "For each truck write a part [[crews]] into the town file" in run.stdout
    assert "arrive" not in run.stdout  # no table of stops where there are none
    assert "a person-hour or more at stake" in " ".join(run.stdout.split())
    uncalibrated = "Freeze scores are not yet calibrated to this town"
    assert uncalibrated in " ".join(run.stdout.split())
    for name in ("map.html", "council_map.html", "run_sheets.html"):
        assert uncalibrated in (tmp_path / "out" / name).read_text("utf-8")
    notes = (tmp_path / "out" / "assumptions.csv").read_text("utf-8-sig")
    assert "not yet calibrated" in notes
    checked = _run("check", "--out", "out", folder=tmp_path)
    assert checked.returncode == 0, checked.stderr
    assert "1 crossing can be used" in checked.stdout


@pytest.mark.slow
def test_an_out_folder_that_cannot_be_made_is_refused_before_the_work(tmp_path):
    (tmp_path / "c.csv").write_text(INVENTORY, "utf-8")
    (tmp_path / "town.toml").write_text('[files]\nculverts = "c.csv"\n', "utf-8")
    for command in ("assess", "morning", "check"):
        out = "c.csv/in" if command == "assess" else "c.csv"
        problem = _problem(_run(command, "--out", out, folder=tmp_path))
        assert problem.startswith(f"error: --out {out}: must be a folder")
        assert problem.count("error: ") == 1


@pytest.mark.slow
@pytest.mark.skipif(not Path("/proc/self").is_dir(), reason="needs a read-only folder")
def test_an_out_folder_that_takes_no_file_is_refused_before_the_work(tmp_path):
    (tmp_path / "c.csv").write_text(INVENTORY, "utf-8")
    (tmp_path / "town.toml").write_text('[files]\nculverts = "c.csv"\n', "utf-8")
    (tmp_path / "out" / "map.html").mkdir(parents=True)
    problem = _problem(_run("morning", "--out", "/proc/self", folder=tmp_path))
    assert problem.startswith(
        "error: --out /proc/self: must let files be written into it, got a folder "
        "that does not ("
    )
    problem = _problem(_run("assess", "--out", "out", folder=tmp_path))
    assert "got folders named map.html. Give another folder" in problem


@pytest.mark.slow
def test_check_stops_where_a_run_would_and_tells_all_of_it_at_once(tmp_path):
    (tmp_path / "c.csv").write_text(INVENTORY, "utf-8")
    days = "".join(f"2025-02-{day:02d},-9,-1\n" for day in (1, 2, 25))
    (tmp_path / "w.csv").write_text("date,tmin_c,tmax_c\n" + days, "utf-8")
    (tmp_path / "town.toml").write_text(
        '[files]\nculverts = "c.csv"\nweather = "w.csv"\n'
        "[history.defaults]\nmatch_leest = 0.5\n[freeze.defaults]\nwet_share = 70\n",
        "utf-8",
    )
    problem = _problem(_run("check", folder=tmp_path))
    assert problem.count("error: ") == 3
    assert "history.defaults.match_leest must be a name" in problem
    assert "freeze.defaults.wet_share must be from 0 to 1, got 70" in problem
    assert "2025-02-25" in problem
    assert (tmp_path / "culvertrisk_out" / "assumptions.csv").exists()


@pytest.mark.slow
def test_check_shows_the_first_of_each_kind_of_note_as_it_stands_in_the_file(tmp_path):
    rows = "".join(f"B{n},abc,-87.5,Norrick Lane,18\n" for n in range(3))
    (tmp_path / "c.csv").write_text(INVENTORY + rows, "utf-8")
    (tmp_path / "town.toml").write_text('[files]\nculverts = "c.csv"\n', "utf-8")
    run = _run("check", folder=tmp_path)
    assert run.returncode == 0, run.stderr
    told = " ".join(re.sub("[│┃]", " ", run.stdout).split())
    assert "c.csv lat refused 3 row 2: 'abc':" in told
    assert "1 crossing can be used" in told


@pytest.mark.slow
def test_proof_without_a_thaw_log_is_refused_before_any_file_is_read(tmp_path):
    (tmp_path / "town.toml").write_text('[files]\nculverts = "none.csv"\n', "utf-8")
    assert _problem(_run("prove", folder=tmp_path)) == (
        "error: town file: file must name the crews' log of thaws, which a ranking is "
        "proved on, got no thaw_log under [files]. Set it, such as thaw_log = "
        '"thaw_log.csv".'
    )
