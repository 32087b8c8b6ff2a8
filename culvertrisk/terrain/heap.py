"""A heap of cells sorted by elevation, for the flood."""

import numpy as np
from numba import njit
from numpy.typing import NDArray

FIRST_ROOM = 1024  # first size of a heap, queue or stack [entries]
_ARMS = 4  # children of a node; four suit a cache line


@njit(cache=True, inline="always")
def key(bits: int, cell: int) -> np.uint64:
    """Sort key of a cell: its elevation first, then its number.

    Parameters
    ----------
    bits : uint32
        The bits of its elevation as float32.
    cell : int
        Its number, below 2**32.

    Returns
    -------
    key : uint64
        Sorts like the elevation.
    """
    # The bits of a float sort like the float once negative ones are turned round.
    sign = np.uint32(0x80000000)
    turned = ~np.uint32(bits) if np.uint32(bits) & sign else np.uint32(bits) | sign
    low = np.uint64(turned) & np.uint64(0xFFFFFFFF)
    return (low << np.uint64(32)) | np.uint64(cell)


@njit(cache=True)
def with_room(array: NDArray, used: int) -> NDArray:
    """The array, or a copy twice as long when it is full.

    Parameters
    ----------
    array : ndarray, shape (room,)
        Heap, queue or stack.
    used : int
        Entries in use.

    Returns
    -------
    array : ndarray
        With room for at least one more.
    """
    if used < array.size:
        return array
    larger = np.empty(2 * array.size, array.dtype)
    larger[:used] = array[:used]
    return larger


@njit(cache=True, inline="always")
def push(heap: NDArray, count: int, new: np.uint64) -> None:
    """Put a key into a heap that has room.

    Parameters
    ----------
    heap : ndarray of uint64, shape (room,)
        Changed in place.
    count : int
        Keys in it before.
    new : uint64
        The key.
    """
    place = count
    while place > 0:
        above = (place - 1) // _ARMS
        if heap[above] <= new:
            break
        heap[place] = heap[above]
        place = above
    heap[place] = new


@njit(cache=True, inline="always")
def pop(heap: NDArray, count: int) -> int:
    """Take the least key out of a heap.

    Parameters
    ----------
    heap : ndarray of uint64, shape (room,)
        Changed in place.
    count : int
        Keys in it before, one or more.

    Returns
    -------
    least : uint64
        The key taken out.
    """
    top = heap[0]
    count -= 1
    last = heap[count]
    place = 0
    while True:
        first = _ARMS * place + 1
        if first >= count:
            break
        least = first
        for arm in range(first + 1, min(first + _ARMS, count)):
            if heap[arm] < heap[least]:
                least = arm
        if heap[least] >= last:
            break
        heap[place] = heap[least]
        place = least
    heap[place] = last
    return top
