"""Cells sorted so that threads never meet: those of one colour share no node."""

from __future__ import annotations

import numpy as np
from numba import njit

from weldsim.physics.arrays import Integers


@njit(cache=True)
def colour_cells(cells: Integers, nodes: int) -> Integers:
    """Greedy colouring: no two cells of a colour share a node.

    Parameters
    ----------
    cells : ndarray of int, shape (C, n)
        Nodes of each cell.
    nodes : int
        How many there are.

    Returns
    -------
    ndarray of int, shape (C,)
        Colours.

    Raises
    ------
    ValueError
        If more than 256 cells meet at a node.
    """
    count, n = cells.shape
    colour = np.full(count, -1, np.int32)
    used = np.zeros((nodes, 4), np.uint64)  # bit sets of colours already met at each node
    for c in range(count):
        taken = np.zeros(4, np.uint64)
        for a in range(n):
            for w in range(4):
                taken[w] |= used[cells[c, a], w]
        k = 0
        while k < 256 and (taken[k // 64] >> np.uint64(k % 64)) & np.uint64(1):
            k += 1
        if k == 256:
            raise ValueError("more than 256 cells meet at a node")
        colour[c] = k
        for a in range(n):
            used[cells[c, a], k // 64] |= np.uint64(1) << np.uint64(k % 64)
    return colour
