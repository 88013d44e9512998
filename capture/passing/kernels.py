"""How are trips laid on a shortest-path tree quickly?

One compiled loop: nodes from the farthest to the nearest hand what they carry to the node
before them.
"""

from __future__ import annotations

from typing import Any

from numba import njit


@njit(cache=True)
def load_trees(
    order: Any, before: Any, ends: Any, indptr: Any, indices: Any, data: Any, loads: Any
) -> None:
    """Add the trips of each origin's tree to the loads of the edges.

    Parameters
    ----------
    order : ndarray of int, shape (k, N)
        Nodes from the farthest to the nearest.
    before : ndarray of int, shape (k, N)
        Node before each on its path, negative for none.
    ends : ndarray of float, shape (k, N)
        Trips that end at each node.
    indptr, indices, data : ndarray
        CSR matrix of edge number + 1 by (from, to).
    loads : ndarray of float, shape (E,)
        Added to in place; owned by the caller.
    """
    trees, nodes = order.shape
    for tree in range(trees):
        carried = ends[tree].copy()
        for k in range(nodes):
            node = order[tree, k]
            parent = before[tree, node]
            if parent < 0 or carried[node] <= 0.0:
                continue
            carried[parent] += carried[node]
            for at in range(indptr[parent], indptr[parent + 1]):
                if indices[at] == node:
                    loads[int(data[at]) - 1] += carried[node]
                    break
