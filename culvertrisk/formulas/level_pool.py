"""Routing through the pond behind a road: what goes in, is held back, comes out."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from culvertrisk.formulas.barrel_kernels import kernel_jit

Floats = NDArray[np.float64]

_HALVINGS = 30  # of the bracket of a factor: to 1e-9 of it
_DROP_M3 = 1e-9  # less is rounding


def level_pool(
    inflow_m3s: ArrayLike, step_s: float, storage_m3: ArrayLike, outflow_m3s: ArrayLike
) -> tuple[Floats, Floats, Floats]:
    r"""Outflow of a pond with a level surface (storage indication, modified Puls).

    .. math:: S_2 + \theta \Delta t\, O_2 = S_1 - (1 - \theta) \Delta t\, O_1
              + \tfrac{1}{2} \Delta t\, (I_1 + I_2), \quad
              \theta = \max(1/2,\; 1 - \min(dS/dO) / \Delta t)

    Parameters
    ----------
    inflow_m3s : array_like, shape (n, k)
        Inflow I at each step [m3/s].
    step_s : float
        Length of the step, above 0 [s].
    storage_m3, outflow_m3s : array_like, shape (n, m)
        Storage S and outflow O at the same m levels from the bed, where both are 0,
        to the crest; neither falls with the level [m3, m3/s].

    Returns
    -------
    outflow_m3s, over_m3s, storage_m3 : ndarray, shape (n, k)
        Outflow of the opening, flow over the crest as the mean of the step before,
        and storage, from an empty pond; NaN where an input of the row is NaN
        [m3/s, m3/s, m3].

    Notes
    -----
    With the weight 1/2 it is the method as printed. The weight rises where the step
    is longer than twice dS/dO, which the method as printed does not bear: so the
    outflow never swings and never passes the highest inflow. Mass is kept exactly in
    each step. Nothing is stored above the crest: what does not fit goes over at once.
    Straight lines between levels.

    References
    ----------
    chow1988, ch. 8 (level pool routing); the bound of the weight: ours.

    Examples
    --------
    >>> out_m3s, over_m3s, held_m3 = level_pool(
    ...     [[0.0, 2.0, 2.0, 0.0]], 100.0, [[0.0, 200.0]], [[0.0, 1.0]])
    >>> out_m3s.round(3), over_m3s.round(3)
    (array([[0. , 0.4, 1. , 1. ]]), array([[0. , 0. , 0.1, 0. ]]))
    """
    inflow, storage, outflow = _tables(inflow_m3s, storage_m3, outflow_m3s)
    result = np.full((3, *inflow.shape), np.nan)
    _route_all(result, inflow, float(step_s), storage, outflow)
    return result[0], result[1], result[2]


def overtopping_factor(
    inflow_m3s: ArrayLike,
    step_s: float,
    storage_m3: ArrayLike,
    outflow_m3s: ArrayLike,
    highest_factor: float,
) -> Floats:
    """Factor on a whole inflow above which the pond goes over its crest.

    Parameters
    ----------
    inflow_m3s, step_s, storage_m3, outflow_m3s
        As for ``level_pool``.
    highest_factor : float
        Largest factor asked for, above 0.

    Returns
    -------
    factor : ndarray, shape (n,)
        At most the highest asked for, and that where the pond holds even then; NaN
        where an input of the row is NaN.

    Notes
    -----
    By halving: the more comes in, the higher the pond.

    References
    ----------
    chow1988, ch. 8 (level pool routing).

    Examples
    --------
    >>> overtopping_factor(
    ...     [[0.0, 2.0, 2.0, 0.0]], 100.0, [[0.0, 200.0]], [[0.0, 1.0]], 8.0).round(3)
    array([0.962])
    """
    inflow, storage, outflow = _tables(inflow_m3s, storage_m3, outflow_m3s)
    result = np.full(len(inflow), np.nan)
    _factors(result, inflow, float(step_s), storage, outflow, float(highest_factor))
    return result


def outflow_of_storage(
    held_m3: ArrayLike, storage_m3: ArrayLike, outflow_m3s: ArrayLike
) -> Floats:
    """Outflow of a pond that holds a volume.

    Parameters
    ----------
    held_m3 : array_like, shape (n,)
        Water in the pond, 0 or more; above the highest storage counts as that [m3].
    storage_m3, outflow_m3s : array_like, shape (n, m)
        As for ``level_pool``.

    Returns
    -------
    outflow_m3s : ndarray, shape (n,)
        The highest at that storage; NaN where an input is NaN [m3/s].

    References
    ----------
    definition.

    Examples
    --------
    >>> outflow_of_storage([0.0, 50.0, 999.0], [[0.0, 200.0]] * 3, [[0.0, 1.0]] * 3)
    array([0.  , 0.25, 1.  ])
    """
    held, storage = np.asarray(held_m3, float), np.asarray(storage_m3, float)
    outflow, rows = np.asarray(outflow_m3s, float), np.arange(len(held))
    after = (storage <= held[:, None]).sum(axis=1).clip(1, storage.shape[1] - 1)
    low, high = storage[rows, after - 1], storage[rows, after]
    is_rising = ~(high - low <= _DROP_M3)
    rise_m3 = np.where(is_rising, high - low, 1)
    share = np.where(is_rising, ((held - low) / rise_m3).clip(0, 1), 1)
    from_m3s, to_m3s = outflow[rows, after - 1], outflow[rows, after]
    return from_m3s + share * (to_m3s - from_m3s)


def _tables(*fields: ArrayLike) -> list[Floats]:
    return [np.ascontiguousarray(field, dtype=np.float64) for field in fields]


@kernel_jit
def _weight(step, storage, outflow):  # type: ignore[no-untyped-def]
    """Weight of the new outflow, so that no step overshoots."""
    least = np.inf
    for j in range(1, storage.size):
        rise = outflow[j] - outflow[j - 1]
        if rise > 0:
            least = min(least, (storage[j] - storage[j - 1]) / rise)
    return max(0.5, 1 - least / step)


@kernel_jit
def _at(indication, new, storage, outflow):  # type: ignore[no-untyped-def]
    """Storage, outflow and what goes over at a storage indication [m3, m3/s, m3]."""
    if indication <= 0:
        return 0.0, 0.0, 0.0
    top = storage.size - 1
    over = indication - (storage[top] + new * outflow[top])
    if over >= 0:
        return storage[top], outflow[top], over
    low, high = 0, top
    while high - low > 1:
        middle = (low + high) // 2
        if storage[middle] + new * outflow[middle] <= indication:
            low = middle
        else:
            high = middle
    below = storage[low] + new * outflow[low]
    share = (indication - below) / (storage[high] + new * outflow[high] - below)
    held = storage[low] + share * (storage[high] - storage[low])
    return held, outflow[low] + share * (outflow[high] - outflow[low]), 0.0


@kernel_jit
def _route_all(result, inflow, step, storage, outflow):  # type: ignore[no-untyped-def]
    for i in range(inflow.shape[0]):
        if np.isnan(inflow[i].sum() + storage[i].sum() + outflow[i].sum()):
            continue
        weight = _weight(step, storage[i], outflow[i])
        result[:, i, 0] = 0.0
        for t in range(1, inflow.shape[1]):
            gain = step * (inflow[i, t - 1] + inflow[i, t]) / 2
            rest = result[2, i, t - 1] - (1 - weight) * step * result[0, i, t - 1]
            held, out, over = _at(rest + gain, weight * step, storage[i], outflow[i])
            result[0, i, t], result[1, i, t], result[2, i, t] = out, over / step, held


@kernel_jit
def _goes_over(factor, inflow, step, storage, outflow):  # type: ignore[no-untyped-def]
    weight = _weight(step, storage, outflow)
    held, out = 0.0, 0.0
    for t in range(1, inflow.size):
        gain = factor * step * (inflow[t - 1] + inflow[t]) / 2
        rest = held - (1 - weight) * step * out
        held, out, over = _at(rest + gain, weight * step, storage, outflow)
        if over > _DROP_M3:
            return True
    return False


@kernel_jit
def _factors(result, inflow, step, storage, outflow, highest):  # type: ignore[no-untyped-def]
    for i in range(result.size):
        if np.isnan(inflow[i].sum() + storage[i].sum() + outflow[i].sum()):
            continue
        low, high = 0.0, highest
        if not _goes_over(high, inflow[i], step, storage[i], outflow[i]):
            low = high
        for _ in range(_HALVINGS):
            middle = (low + high) / 2
            if _goes_over(middle, inflow[i], step, storage[i], outflow[i]):
                high = middle
            else:
                low = middle
        result[i] = (low + high) / 2
