"""Limits that a number passes, as sentences of the rows where they hold."""

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

Words = NDArray[np.object_]
Limits = tuple[tuple[str, NDArray[np.bool_]], ...]


def told_limits(
    limits: Iterable[tuple[str, NDArray[np.bool_]]], before: Iterable[object]
) -> Words:
    """Join to each row's own words the sentences that hold there.

    Parameters
    ----------
    limits : iterable of (sentence, ndarray of bool of shape (n,))
        In the order in which they are told.
    before : iterable of str, n of them
        What is told of each row already; blank if nothing.

    Returns
    -------
    words : ndarray of str, shape (n,)
        Joined by semicolons, each sentence once; blank if nothing limits.
    """
    told = [[str(words)] if words else [] for words in before]
    for sentence, holds in limits:
        for row in np.flatnonzero(holds):
            if sentence not in told[row]:
                told[row].append(sentence)
    return np.array(["; ".join(sentences) for sentences in told], dtype=object)
