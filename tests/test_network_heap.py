"""The heap gives nodes back in the order of their keys."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from culvertrisk.network.heap import pop, push


@settings(deadline=None)  # the first call compiles
@given(st.lists(st.floats(0, 1e6), max_size=40))
def test_heap_gives_keys_back_in_order(given_keys):
    keys, nodes = np.empty(40), np.empty(40, np.int64)
    count = 0
    for node, key in enumerate(given_keys):
        count = push(keys, nodes, count, key, node)
    taken = []
    while count > 0:
        assert keys[0] == given_keys[nodes[0]]
        taken.append(keys[0])
        count = pop(keys, nodes, count)
    assert taken == sorted(given_keys)
