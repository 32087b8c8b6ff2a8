"""Ponds of a made elevation raster, for stages that take their stages."""

import numpy as np

from culvertrisk.stages.ponding import PondGround
from culvertrisk.stages.road_profile import RoadProfile
from culvertrisk.terrain.ponding import Ponds
from culvertrisk.terrain.rising import AT_ROAD, PondMarks, PondStarts


def upright_ponds(*rooms_m3: float, depth_m: float, end: int = AT_ROAD) -> PondGround:
    """Ponds with upright sides: as much room in each of their eight stages."""
    count, share = len(rooms_m3), np.linspace(0, 1, 8)
    nowhere, rooms = np.full((count, 4), -1), np.array(rooms_m3)[:, None]
    stage_m = np.tile(98.8 + depth_m * share, (count, 1))
    ponds = Ponds(
        np.full(count, end, np.uint8),
        stage_m[:, -1],
        stage_m,
        np.tile(rooms / depth_m, 8),
        rooms * share,
        nowhere,
        nowhere[:, :2],
    )
    none = np.zeros(0, np.int64)
    starts = PondStarts(nowhere[:, 0], nowhere[:, 0], stage_m[:, -1])
    marks = PondMarks(none, none, none, none.astype(np.uint8), none.astype(np.float32))
    flat = np.zeros((count, 1))
    profile = RoadProfile(
        nowhere[:, 0], flat[:, 0], 1.0, flat, flat, flat, nowhere[:, 0], nowhere[:, :2]
    )
    return PondGround(starts, marks, ponds, profile, np.full(count, "", object))
