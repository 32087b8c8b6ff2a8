"""A binary heap of nodes in two arrays, for the searches of this folder."""

import numba


@numba.njit(cache=True)
def push(keys, nodes, count, key, node):  # type: ignore[no-untyped-def]
    """Put a node with its key on a binary heap.

    Parameters
    ----------
    keys : ndarray, shape (r,)
        Keys of the heap, least first; changed in place.
    nodes : ndarray of int, shape (r,)
        Nodes of the heap; changed in place.
    count : int
        Nodes on the heap, less than r.
    key : float
        Key of the new node, such as its travel time [s].
    node : int
        New node.

    Returns
    -------
    count : int
        Nodes on the heap now.
    """
    here = count
    while here > 0:
        parent = (here - 1) >> 1
        if keys[parent] <= key:
            break
        keys[here], nodes[here] = keys[parent], nodes[parent]
        here = parent
    keys[here], nodes[here] = key, node
    return count + 1


@numba.njit(cache=True)
def pop(keys, nodes, count):  # type: ignore[no-untyped-def]
    """Take the node with the least key off a binary heap.

    Parameters
    ----------
    keys : ndarray, shape (r,)
        Keys of the heap; ``keys[0]`` is the least; changed in place.
    nodes : ndarray of int, shape (r,)
        Nodes of the heap; changed in place.
    count : int
        Nodes on the heap, above 0.

    Returns
    -------
    count : int
        Nodes on the heap now.
    """
    count -= 1
    key, node, here = keys[count], nodes[count], 0
    while True:
        child = 2 * here + 1
        if child >= count:
            break
        if child + 1 < count and keys[child + 1] < keys[child]:
            child += 1
        if keys[child] >= key:
            break
        keys[here], nodes[here] = keys[child], nodes[child]
        here = child
    keys[here], nodes[here] = key, node
    return count
