"""Line elements in the order a torch would follow them."""

from __future__ import annotations

from collections import defaultdict

import numpy as np

from weldsim.joints.own_parts.refusal import NotAllowed


def chain(name: str, edges: np.ndarray) -> np.ndarray:
    """Points of line elements in order.

    Parameters
    ----------
    name : str
        Of the curve, for a refusal.
    edges : ndarray, shape (K, 2)
        Point numbers of each line element, in any order.

    Returns
    -------
    ndarray, shape (K + 1,)
        It runs as the first element does; the first point again at the end of a closed chain.

    Raises
    ------
    NotAllowed
        If the elements are not one chain.
    """
    _, kept = np.unique(np.sort(edges, axis=1), axis=0, return_index=True)
    edges = edges[np.sort(kept)]  # a line that stands twice is one
    near = defaultdict(list)
    for a, b in edges.tolist():
        near[a].append(b)
        near[b].append(a)
    if any(len(v) > 2 for v in near.values()):
        raise NotAllowed("file", f"curve {name!r} branches, allowed: one chain of lines")
    first, second = edges[0].tolist()
    order = _walk(near, first, second)
    if order[-1] != first:
        order = _walk(near, second, first)[::-1][:-2] + order
    ends = [p for p, v in near.items() if len(v) == 1]
    if len(order) != len(edges) + 1 or len(ends) not in (0, 2):
        raise NotAllowed("file", f"curve {name!r} is open between its ends, allowed: one chain")
    return np.array(order)


def _walk(near: dict[int, list[int]], before: int, at: int) -> list[int]:
    """Points from `before` over `at` to the end of the chain, or once around."""
    out = [before, at]
    while len(near[at]) == 2:
        before, at = at, next((p for p in near[at] if p != before), before)
        out.append(at)
        if at == out[0]:
            break
    return out
