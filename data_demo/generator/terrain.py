"""The ground: a ridge, a brook and a slough, worn by running water, roads on top."""

import heapq
import itertools

import numba
import numpy as np
from layout import SIDE_M, Array, Raster
from numpy.typing import NDArray
from scipy import ndimage
from scipy.spatial import cKDTree

LOWEST_M, HIGHEST_M = 214.0, 391.0
COARSE_M = 30.0  # cell of the erosion model
MARGIN_M = 1_200.0  # ground beyond the town, so that its edge is ordinary ground
FINE_M = 10.0  # cell on which streams are cut
STEPS = 60
ERODE = 0.028  # stream power of one step, chosen by eye
AREA_POWER = 0.45
UPLIFT = 0.03  # of the first height, each step
DIFFUSE = 0.03
POND_KM = (3.62, 8.68)  # Skarrow Pond
POND_HALF_KM = (0.30, 0.22)
CREEK_M = 160.0  # how far the creek's valley sides reach
CREEK_BANK = 0.16  # their slope [m/m]
SLOUGH_KM = (8.45, 1.75)  # Bittern Slough
SLOUGH_M = 222.0
BROOK_KM = np.array(
    [
        (-1.2, 0.9),
        (0.8, 2.2),
        (2.0, 3.1),
        (3.3, 4.1),
        (5.0, 4.35),
        (5.9, 4.95),
        (6.65, 5.25),
        (7.45, 6.4),
        (7.85, 7.5),
        (9.1, 8.6),
        (10.9, 10.4),
    ]
)


@numba.njit(cache=False)
def _edge(
    filled: NDArray[np.float64], seen: NDArray[np.bool_]
) -> list[tuple[float, int]]:
    rows, columns = filled.shape
    heap = [(0.0, 0)]
    heap.pop()
    for cell in range(rows * columns):
        r, c = cell // columns, cell % columns
        if r == 0 or c == 0 or r == rows - 1 or c == columns - 1:
            seen[r, c] = True
            heapq.heappush(heap, (filled[r, c], cell))
    return heap


@numba.njit(cache=False)
def drainage(
    ground: NDArray[np.float64],
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.float64]]:
    """Flood the ground from its edge: order, receiver and filled height by cell."""
    rows, columns = ground.shape
    filled = ground.copy()
    seen = np.zeros((rows, columns), dtype=np.bool_)
    receiver = np.arange(rows * columns)
    order = np.empty(rows * columns, dtype=np.int64)
    heap = _edge(filled, seen)
    count = 0
    while len(heap) > 0:
        _, cell = heapq.heappop(heap)
        order[count] = cell
        count += 1
        r, c = cell // columns, cell % columns
        for dr in range(-1, 2):
            for dc in range(-1, 2):
                i, j = r + dr, c + dc
                inside = 0 <= i < rows and 0 <= j < columns
                if not inside or seen[i, j]:
                    continue
                seen[i, j] = True
                filled[i, j] = max(ground[i, j], filled[r, c] + 1e-4)
                receiver[i * columns + j] = cell
                heapq.heappush(heap, (filled[i, j], i * columns + j))
    return order, receiver, filled


@numba.njit(cache=False)
def steepest(
    filled: NDArray[np.float64], receiver: NDArray[np.int64]
) -> NDArray[np.int64]:
    """Let each cell drain to its steepest lower neighbour; edge cells keep theirs."""
    rows, columns = filled.shape
    result = receiver.copy()
    for r in range(1, rows - 1):
        for c in range(1, columns - 1):
            best = 0.0
            for dr in range(-1, 2):
                for dc in range(-1, 2):
                    length = np.sqrt(dr * dr + dc * dc)
                    if length == 0:
                        continue
                    fall = (filled[r, c] - filled[r + dr, c + dc]) / length
                    if fall > best:
                        best = fall
                        result[r * columns + c] = (r + dr) * columns + c + dc
    return result


@numba.njit(cache=False)
def upslope(
    order: NDArray[np.int64], receiver: NDArray[np.int64]
) -> NDArray[np.float64]:
    """Count the cells that drain through each cell, itself included."""
    area = np.ones(len(order))
    for k in range(len(order) - 1, -1, -1):
        cell = order[k]
        if receiver[cell] != cell:
            area[receiver[cell]] += area[cell]
    return area


@numba.njit(cache=False)
def wear(
    flat: NDArray[np.float64],
    order: NDArray[np.int64],
    receiver: NDArray[np.int64],
    strength: NDArray[np.float64],
) -> None:
    """Wear every cell toward its receiver, from the outlets upward, in place."""
    for cell in order:
        target = receiver[cell]
        if target != cell and flat[cell] > flat[target]:
            flat[cell] = (flat[cell] + strength[cell] * flat[target]) / (
                1 + strength[cell]
            )


def flow(ground: Array) -> tuple[NDArray[np.int64], Array, Array]:
    """Return receivers, upslope cell counts and the filled ground."""
    order, receiver, filled = drainage(ground)
    receiver = steepest(filled, receiver)
    order = np.argsort(filled, axis=None, kind="stable")
    area = upslope(order, receiver).reshape(ground.shape)
    return receiver, area, filled


def fractal(size: int, power: float, rng: np.random.Generator) -> Array:
    """Return spectral noise of mean 0 and standard deviation 1."""
    frequency = np.hypot(np.fft.fftfreq(size)[:, None], np.fft.fftfreq(size)[None, :])
    frequency[0, 0] = 1.0
    spectrum = np.fft.fft2(rng.normal(size=(size, size))) / frequency**power
    spectrum[0, 0] = 0.0
    field = np.real(np.fft.ifft2(spectrum))
    return field / field.std()


def grid_km(cell_m: float, margin_m: float) -> tuple[Array, Array]:
    """Return easting and northing of cell centres in km from the corner."""
    count = round((SIDE_M + 2 * margin_m) / cell_m)
    line = (np.arange(count) + 0.5) * cell_m / 1000 - margin_m / 1000
    return np.meshgrid(line, line[::-1])


def brook_distance(x: Array, y: Array) -> Array:
    """Return the distance to the brook's intended line in km."""
    best = np.full(x.shape, np.inf)
    for (x0, y0), (x1, y1) in itertools.pairwise(BROOK_KM):
        length2 = (x1 - x0) ** 2 + (y1 - y0) ** 2
        t = np.clip(((x - x0) * (x1 - x0) + (y - y0) * (y1 - y0)) / length2, 0, 1)
        best = np.minimum(
            best, np.hypot(x - x0 - t * (x1 - x0), y - y0 - t * (y1 - y0))
        )
    return best


def slough_weight(x: Array, y: Array) -> Array:
    """Return 1 in the middle of the slough, 0 on the hills."""
    away = np.hypot((x - SLOUGH_KM[0]) / 1.7, (y - SLOUGH_KM[1]) / 2.0)
    return 1 / (1 + np.exp((away - 1.0) / 0.09))


def first_shape(x: Array, y: Array, rng: np.random.Generator) -> Array:
    """Return the land before water has worn it: ridge, valley, upland, slough."""
    along = (x + y) / np.sqrt(2)
    across = (x - 3.4 - y) / np.sqrt(2)  # positive to the south-east of the Keld
    taper = 1 / (1 + np.exp(-(along - 3.0) / 0.5)) / (1 + np.exp((along - 10.6) / 0.6))
    bend = 0.22 * np.sin(1.1 * along) + 0.10 * np.sin(2.7 * along + 1.0)
    crest = 1 + 0.16 * np.sin(1.9 * along + 0.7) + 0.09 * np.sin(4.3 * along)
    ridge = 150 * crest * taper / (1 + ((across + bend) / 0.72) ** 2) ** 1.3
    valley = 262 - 4.0 * (along - 3.0)
    upland = 52 * (1 - np.exp(-brook_distance(x, y) / 1.3))
    east = 1 / (1 + np.exp(-(across - 1.3) / 0.25))
    land = (valley + upland) * (1 - east) + 236 * east + ridge
    land -= 14 * np.exp(-np.hypot(x - POND_KM[0], y - POND_KM[1]) / 0.7)
    rough = (11 + 0.10 * ridge) * (1 - 0.8 * slough_weight(x, y))
    return land + rough * fractal(x.shape[0], 1.65, rng)


def worn_land(rng: np.random.Generator) -> Array:
    """Return the town's ground on the fine grid before streams are cut [m]."""
    x, y = grid_km(COARSE_M, MARGIN_M)
    land = first_shape(x, y, rng)
    lift = UPLIFT * (land - land.min())
    for _ in range(STEPS):
        order, receiver, filled = drainage(land)
        receiver = steepest(filled, receiver)
        order = np.argsort(filled, axis=None, kind="stable")
        area = upslope(order, receiver)
        flat = filled.ravel().copy()
        wear(flat, order, receiver, ERODE * area**AREA_POWER)
        land = flat.reshape(land.shape) + lift
        land += DIFFUSE * ndimage.laplace(land)
    weight = slough_weight(x, y)
    land = weight * (SLOUGH_M + 0.10 * (land - SLOUGH_M)) + (1 - weight) * land
    land += weight * 0.9 * fractal(land.shape[0], 1.5, rng)
    edge = round(MARGIN_M / COARSE_M) - 1
    part = land[edge:-edge, edge:-edge]
    count = round(SIDE_M / FINE_M)
    line = (np.arange(count) + 0.5) * FINE_M / COARSE_M + 0.5
    rows, columns = np.meshgrid(line, line, indexing="ij")
    fine = ndimage.map_coordinates(part, [rows, columns], order=3, mode="nearest")
    return fine + 0.25 * fractal(count, 1.3, rng)


def add_pond(land: Array) -> Array:
    """Lay Skarrow Pond: level water, with an outlet where the ground is lowest."""
    x, y = grid_km(FINE_M, 0.0)
    wobble = 1 + 0.18 * np.sin(3 * np.arctan2(y - POND_KM[1], x - POND_KM[0]))
    inside = (
        np.hypot((x - POND_KM[0]) / POND_HALF_KM[0], (y - POND_KM[1]) / POND_HALF_KM[1])
        < wobble
    )
    shore = ndimage.binary_dilation(inside) & ~inside
    level = land[shore].min()
    return np.where(inside, level, land)


def cut_creek(land: Array, creek: Array) -> Array:
    """Cut a creek's bed along a line, top first, so that it falls all the way."""
    bed = Raster(land, FINE_M).at(creek)
    step = np.hypot(*np.diff(creek, axis=0, prepend=creek[:1]).T)
    bed = np.minimum.accumulate(bed - 0.4) - 0.002 * np.cumsum(step)
    x, y = grid_km(FINE_M, 0.0)
    distance, nearest = cKDTree(creek).query(
        np.column_stack([x.ravel(), y.ravel()]) * 1000, distance_upper_bound=CREEK_M
    )
    level = np.append(bed, np.inf)[nearest] + CREEK_BANK * np.where(
        np.isfinite(distance), distance, 0.0
    )
    return np.minimum(land, level.reshape(land.shape))


def cut_streams(land: Array) -> tuple[Array, Array, NDArray[np.int64]]:
    """Fill hollows, cut channels by upslope area; ground, area in m2, receivers."""
    _, area, filled = flow(land)
    hectares = area * FINE_M**2 / 1e4
    depth = 0.55 * np.log1p(np.maximum(hectares - 0.6, 0.0))
    ground = filled - np.minimum(depth, 3.5)
    receiver, area, ground = flow(ground)
    return ground, area * FINE_M**2, receiver


def make_ground(seed: int, creek: Array) -> tuple[Raster, Raster, NDArray[np.int64]]:
    """Return ground, upslope area [m2] and receivers, all on the fine grid."""
    rng = np.random.default_rng([seed, 1])
    land = worn_land(rng)
    low, high = np.percentile(land, 0.001), land.max()
    land = LOWEST_M + 4 + (land - low) * (HIGHEST_M - LOWEST_M - 4) / (high - low)
    ground, area, receiver = cut_streams(add_pond(cut_creek(land, creek)))
    ground = np.clip(ground, LOWEST_M, HIGHEST_M)
    return Raster(ground, FINE_M), Raster(area, FINE_M), receiver
