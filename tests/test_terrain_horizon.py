"""Horizons and crowns against surfaces whose answer is known exactly."""

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.ndimage import gaussian_filter, map_coordinates

from culvertrisk.formulas.insolation import sky_view_fraction
from culvertrisk.terrain import horizon
from culvertrisk.terrain.canopy import ELEVATIONS_DEG, canopy_depth
from culvertrisk.terrain.horizon import horizon_tangent
from culvertrisk.terrain.sampling import fall_bearing, sample

AZIMUTH = np.radians(np.arange(72) * 5.0)


def _horizon(ground_m, row, col, *, cell_m=10.0, eye_m=0.0, north_deg=0.0):
    return horizon_tangent(
        ground_m.astype(np.float32), np.array([row]), np.array([col]),
        cell_m=cell_m, eye_m=eye_m, north_rad=np.radians([north_deg]),
    )[0]  # fmt: skip


@pytest.fixture
def wall_m():
    """A plain with a wall of 100 m and no end, 400 m north of row 140."""
    ground_m = np.zeros((200, 1201))
    ground_m[:101] = 100.0
    return ground_m


def test_endless_wall_sinks_with_the_cosine(wall_m):
    tangent = _horizon(wall_m, 140.0, 600.0)
    wanted = np.maximum(100.0 / 400.0 * np.cos(AZIMUTH), 0)
    facing = np.cos(AZIMUTH) > 0.2  # flatter rays leave the DEM before the wall
    # A ray meets the crest up to one step, 2 % of the distance, behind its edge.
    assert_allclose(tangent[facing], wanted[facing], rtol=0.021)
    assert_allclose(tangent[np.cos(AZIMUTH) < -0.01], 0.0, atol=1e-6)


def test_even_slope_hides_its_own_tangent():
    rows, _ = np.mgrid[0:301, 0:301]
    tangent = _horizon((300 - rows) * 10.0 * 0.3, 200.0, 150.0)
    # Curvature lowers the slope's far parts only; its near parts still stand.
    assert_allclose(tangent, np.maximum(0.3 * np.cos(AZIMUTH), 0), atol=2e-3)


def test_true_north_turns_the_rays(wall_m):
    tangent = _horizon(wall_m, 140.0, 600.0, north_deg=10.0)
    # True north lies two rays clockwise of the grid's up.
    assert_allclose(np.roll(tangent, 2), _horizon(wall_m, 140.0, 600.0), atol=1e-6)


def test_far_ridge_is_seen_through_the_coarse_ground():
    ground_m = np.zeros((1600, 41))
    ground_m[60:160] = 300.0  # 500 m deep, its crest 7200 m north of row 1599
    tangent = _horizon(ground_m, 1599.0, 20.0, cell_m=5.0)[0]
    away_m = (1599 - 159) * 5.0
    drop_m = (1 - 0.13) * away_m**2 / (2 * 6_371_000.0)  # curve less bent ray
    assert tangent == pytest.approx((300 - drop_m) / away_m, rel=0.03)


def test_bowl_of_thirty_degrees_shows_three_quarters_of_the_sky():
    rows, cols = np.mgrid[0:401, 0:401]
    away_m = np.hypot(rows - 200, cols - 200) * 10.0
    # A level floor: between four cells the tip of a cone has no one slope.
    bowl_m = np.where(away_m > 200, away_m, 0) * np.tan(np.radians(30.0))
    tangent = _horizon(bowl_m, 200.0, 200.0)
    assert_allclose(np.degrees(np.arctan(tangent)), 30.0, atol=0.05)
    assert sky_view_fraction(tangent[None])[0] == pytest.approx(0.75, abs=5e-4)


@pytest.fixture
def hills_m():
    """Rolling ground of 10 m cells, 6 km wide, by smoothed noise."""
    noise = np.random.default_rng(3).standard_normal((600, 600))
    coarse, fine = gaussian_filter(noise, 40), gaussian_filter(noise, 4)
    return (coarse / coarse.std() * 60 + fine / fine.std() * 4).astype(np.float32)


def test_horizon_is_near_that_of_fine_even_rays(hills_m):
    rows, cols = np.random.default_rng(4).uniform(5, 594, (2, 30))
    found = horizon_tangent(hills_m, rows, cols, cell_m=10.0, eye_m=0.5,
                            north_rad=np.zeros(30))  # fmt: skip
    away = np.arange(0.25, 800, 0.25)
    down, right = -np.cos(AZIMUTH)[:, None] * away, np.sin(AZIMUTH)[:, None] * away
    drop_m = (1 - 0.13) * (away * 10) ** 2 / (2 * 6_371_000.0)
    fine = []
    for row, col in zip(rows, cols, strict=True):
        eye_m = map_coordinates(hills_m, [[row], [col]], order=1)[0] + 0.5
        line_m = map_coordinates(hills_m, [row + down, col + right], order=1, cval=-9e3)
        rise = (line_m - eye_m - drop_m) / (away * 10.0)
        fine.append(np.maximum(rise, 0).max(axis=1))
    apart_deg = np.degrees(np.arctan(found) - np.arctan(np.array(fine)))
    assert np.sqrt((apart_deg**2).mean()) < 0.065  # the table of the choice


def test_stretches_passed_over_change_no_answer(hills_m, monkeypatch):
    hills_m[100:140, 200:260] = np.nan
    rows, cols = np.random.default_rng(5).uniform(-5, 604, (2, 200))
    options = {"cell_m": 10.0, "eye_m": 0.5, "north_rad": np.full(200, 0.03)}
    quick = horizon_tangent(hills_m, rows, cols, **options)
    monkeypatch.setattr(horizon, "_widened", lambda top_m: np.full_like(top_m, 1e9))
    np.testing.assert_array_equal(
        horizon_tangent(hills_m, rows, cols, **options), quick
    )


def test_point_off_the_ground_is_unknown(wall_m):
    wall_m[150, 600] = np.nan
    assert np.isnan(_horizon(wall_m, 500.0, 600.0)).all()
    assert np.isnan(_horizon(wall_m, np.nan, 600.0)).all()
    assert np.isnan(_horizon(wall_m, 150.0, 600.0)).all()


def test_hole_in_the_ground_hides_nothing(wall_m):
    whole = _horizon(wall_m, 140.0, 600.0)
    wall_m[145:150, 590:610] = np.nan
    assert_allclose(_horizon(wall_m, 140.0, 600.0), whole)


def test_endless_forest_is_as_deep_as_its_path():
    ground_m = np.zeros((101, 101), np.float32)
    trees_m = np.full((101, 101), 12.0, np.float32)
    place = np.array([[50.0, 50.0, 0.0]])
    depth = canopy_depth(ground_m, trees_m, place, cell_m=10.0, extinction_per_m=0.05)
    # From 4 degrees up the path ends inside the reach of 250 m: height / sine.
    wanted = 0.05 * 12.0 / np.sin(np.radians(ELEVATIONS_DEG[1:]))
    assert_allclose(depth[0, :, 1:], np.tile(wanted, (72, 1)), rtol=1e-5)


def test_bare_winter_trees_let_more_light_through():
    trees_m = np.full((60, 60), 12.0, np.float32)
    where = (np.zeros((60, 60), np.float32), trees_m, np.array([[30.0, 30.0, 0.0]]))
    full = canopy_depth(*where, cell_m=10.0, extinction_per_m=0.05)
    bare = canopy_depth(*where, cell_m=10.0, extinction_per_m=0.02)
    assert_allclose(bare, 0.4 * full, rtol=1e-6)


@pytest.mark.parametrize("cell_m", [1.0, 3.0, 20.0])
def test_fine_and_coarse_cells_see_the_same_endless_forest(cell_m):
    trees_m = np.full((601, 601), 12.0, np.float32)
    place = np.array([[300.2, 300.4, 0.1]])
    depth = canopy_depth(0 * trees_m, trees_m, place, cell_m=cell_m,
                         extinction_per_m=0.05)  # fmt: skip
    wanted = 0.05 * 12.0 / np.sin(np.radians(ELEVATIONS_DEG[1:]))
    assert_allclose(depth[0, :, 1:], np.tile(wanted, (72, 1)), rtol=1e-4)


def test_each_cell_dims_by_its_own_extinction():
    trees_m = np.full((101, 101), 10.0, np.float32)
    per_m = np.full((101, 101), 0.05)
    per_m[:, :51] = 0.02  # broadleaves to the west
    place = np.array([[50.0, 50.0, 0.0]])
    depth = canopy_depth(0 * trees_m, trees_m, place, cell_m=10.0,
                         extinction_per_m=per_m)[0]  # fmt: skip
    assert_allclose(depth[54, 2], 0.02 * 10 / np.sin(np.radians(8)), rtol=1e-4)
    assert depth[18, 2] > 2 * depth[54, 2]


def test_forest_to_the_south_stands_only_there():
    trees_m = np.zeros((101, 101), np.float32)
    trees_m[56:] = 15.0
    place = np.array([[50.0, 50.0, 0.0]])
    depth = canopy_depth(
        np.zeros_like(trees_m), trees_m, place, cell_m=10.0, extinction_per_m=0.05
    )
    assert depth[0, 36, 2] > 0.5
    assert depth[0, 0].max() == 0


def test_samples_are_exact_on_a_plane():
    rows, cols = np.mgrid[0:9, 0:9]
    plane_m = (2 * rows + 3 * cols).astype(np.float32)
    assert_allclose(sample(plane_m, np.array([1.25, 9.5]), np.array([6.5, 2.0])),
                    [22.0, np.nan])  # fmt: skip


def test_ground_falls_the_way_it_was_tilted():
    rows, cols = np.mgrid[0:9, 0:9]
    for bearing_deg in (0.0, 45.0, 200.0, 300.0):
        bearing = np.radians(bearing_deg)
        tilted_m = -(cols * np.sin(bearing) - rows * np.cos(bearing))
        found = fall_bearing(
            tilted_m.astype(np.float32), np.array([4.0]), np.array([4.0]), 2.0
        )
        assert np.degrees(found[0]) % 360 == pytest.approx(bearing_deg, abs=1e-3)
