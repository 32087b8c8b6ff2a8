"""Which end of each barrel the water comes from, by the flow through its cut."""

import numpy as np
from numpy.typing import NDArray

from culvertrisk.stages.ends import CLEAR_FALL_M, Ends, turn_ends
from culvertrisk.terrain.flow import FlowField
from culvertrisk.terrain.inflow import comes_to, fall_along

WAY_ROUND_TIMES = 2.0  # flow through a cut is so much longer at most; our choice
LEVEL_REACH_M = 60.0  # ground level for so long tells no way of the water; our choice


def turn_by_flow(ends: Ends, flow: FlowField, keeps_names: NDArray[np.bool_]) -> Ends:
    """Let the upstream end be the one whose water runs through the cut to the other.

    Parameters
    ----------
    ends : Ends
        Ends of n barrels, by names and by the ground straight ahead.
    flow : FlowField
        Flow over the DEM with every culvert cut.
    keeps_names : ndarray of bool, shape (n,)
        Where the recorded beds confirm the mapped names.

    Returns
    -------
    ends : Ends
        Turned where the flow tells otherwise.

    Notes
    -----
    A valley that crosses the road at an angle has higher ground straight ahead of
    either end: only its water tells. Where the water of both ends or of neither comes
    to the other one, the flow tells nothing; where the stream is level for 60 m before
    and behind the road, its way is a guess. Mapped ends are turned only if the ground
    clearly falls that way too, and no recorded bed contradicts; where they are not,
    names and flow contradict each other, and neither tells.
    """
    up = np.column_stack([ends.upstream_row, ends.upstream_col])
    down = np.column_stack([ends.downstream_row, ends.downstream_col])
    apart = np.abs(up - down).max(axis=1)
    most_steps = np.ceil(WAY_ROUND_TIMES * apart).astype(np.int64)
    # Where both ends found one cell, or cells side by side, no way leads between them.
    is_cut = ends.is_carved & (apart > 1)
    leaves = is_cut & comes_to(flow.direction, up, down, most_steps)
    enters = is_cut & comes_to(flow.direction, down, up, most_steps)
    level, codes = round(LEVEL_REACH_M / flow.cell_m), (flow.direction, flow.cell_count)
    above = np.where(leaves[:, None], up, down)
    fall_m = fall_along(codes, flow.filled_m, above, level, most_steps + level)
    tells = (leaves != enters) & (fall_m > 0)
    is_against = enters & ~leaves & (tells | ends.is_mapped | ~ends.is_told)
    rise_m = ends.downstream_ground_m - ends.upstream_ground_m
    may_turn = ~ends.is_mapped | ((rise_m > CLEAR_FALL_M) & ~keeps_names)
    is_told = (ends.is_told | tells) & ~(is_against & ~may_turn)
    return turn_ends(ends, is_against & may_turn, is_told)
