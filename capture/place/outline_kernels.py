"""The inner loops of drawing ground from marked cells: widening it, following its outlines."""

from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit


@njit(cache=True, nogil=True)
def widen(marked: Any, radius: float) -> Any:
    """Mark all cells within a radius, in cells, of marked ones; between middles."""
    rows, columns = marked.shape
    made = np.zeros((rows, columns), np.bool_)
    most = int(radius)
    for j in range(rows):
        for i in range(columns):
            if marked[j, i] == 0:
                continue
            for dj in range(-most, most + 1):
                if 0 <= j + dj < rows:
                    half = int(np.sqrt(radius * radius - dj * dj))
                    for k in range(max(0, i - half), min(columns - 1, i + half) + 1):
                        made[j + dj, k] = True
    return made


@njit(cache=True, nogil=True)
def follow_outlines(mask: Any) -> tuple[Any, Any, Any]:
    """Follow the outlines of marked cells, which may not touch the rim of the grid.

    Ground lies to the left, so that outer outlines run anticlockwise and holes clockwise; cells
    that meet at a corner only are one ground, and two holes that do are two. Returns the
    corners (K, 2) as column and row of the grid's lines, the first of each outline (R+1,), and
    a cell of its ground (R, 2) as row and column.
    """
    rows, columns = mask.shape
    seen = np.zeros((rows, columns), np.bool_)
    corners, used = np.empty((1024, 2), np.int64), 0
    starts, count = np.zeros(256, np.int64), 0
    cells = np.empty((256, 2), np.int64)
    for j in range(1, rows):
        for i in range(columns):
            if not mask[j, i] or mask[j - 1, i] or seen[j, i]:
                continue
            if count + 1 == len(starts):
                starts = np.concatenate((starts, np.zeros(count + 1, np.int64)))
                cells = np.concatenate((cells, np.zeros((count + 1, 2), np.int64)))
            cells[count, 0], cells[count, 1] = j, i
            # 0 east, 1 north, 2 west, 3 south
            x, y, way = i, j, 0
            while True:
                if way == 0:
                    if seen[y, x]:
                        break
                    seen[y, x] = True
                x += (way == 0) - (way == 2)
                y += (way == 1) - (way == 3)
                ahead_left, ahead_right = _ahead(mask, x, y, way)
                turned = way
                if ahead_right:
                    turned = (way + 3) % 4
                elif not ahead_left:
                    turned = (way + 1) % 4
                if turned != way:
                    if used == len(corners):
                        corners = np.concatenate((corners, np.empty((used, 2), np.int64)))
                    corners[used, 0], corners[used, 1] = x, y
                    used += 1
                    way = turned
            count += 1
            starts[count] = used
    return corners[:used], starts[: count + 1], cells[:count]


@njit(cache=True, nogil=True, inline="always")
def _ahead(mask: Any, x: int, y: int, way: int) -> tuple[bool, bool]:
    """Whether the cells ahead of a corner are marked, left and right of the way on."""
    if way == 0:
        return mask[y, x], mask[y - 1, x]
    if way == 1:
        return mask[y, x - 1], mask[y, x]
    if way == 2:
        return mask[y - 1, x - 1], mask[y, x - 1]
    return mask[y - 1, x], mask[y - 1, x - 1]
