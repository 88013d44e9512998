"""The inner loops over the grid of road pieces: filling it, nearest piece, painting a band."""

from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit


@njit(cache=True, nogil=True)
def fill_grid(
    ax: Any, ay: Any, bx: Any, by: Any, x0: float, y0: float, cell: float, nx: int, ny: int
) -> tuple[Any, Any]:
    """List for each cell the pieces that cross it: indptr (nx*ny+1,), pieces."""
    half = 0.5 * cell * 1.4142135623730951 + 1e-6
    start = np.zeros(nx * ny + 1, np.int64)
    pieces = np.empty(0, np.int32)
    for turn in range(2):
        for p in range(len(ax)):
            i0 = max(0, int((min(ax[p], bx[p]) - x0) / cell))
            i1 = min(nx - 1, int((max(ax[p], bx[p]) - x0) / cell))
            j0 = max(0, int((min(ay[p], by[p]) - y0) / cell))
            j1 = min(ny - 1, int((max(ay[p], by[p]) - y0) / cell))
            dx, dy = bx[p] - ax[p], by[p] - ay[p]
            length = max(np.hypot(dx, dy), 1e-12)
            for j in range(j0, j1 + 1):
                for i in range(i0, i1 + 1):
                    if i0 != i1 and j0 != j1:
                        cx, cy = x0 + (i + 0.5) * cell - ax[p], y0 + (j + 0.5) * cell - ay[p]
                        if abs(cx * dy - cy * dx) > half * length:
                            continue
                    at = j * nx + i
                    if turn == 0:
                        start[at + 1] += 1
                    else:
                        pieces[start[at]] = p
                        start[at] += 1
        if turn == 0:
            for c in range(nx * ny):
                start[c + 1] += start[c]
            pieces = np.empty(start[nx * ny], np.int32)
    for c in range(nx * ny, 0, -1):
        start[c] = start[c - 1]
    start[0] = 0
    return start, pieces


@njit(cache=True, nogil=True)
def nearest_pieces(
    px: Any, py: Any, most: float, ax: Any, ay: Any, bx: Any, by: Any, allowed: Any, start: Any,
    pieces: Any, x0: float, y0: float, cell: float, nx: int, ny: int,
) -> tuple[Any, Any, Any]:  # fmt: skip
    """Return per point the nearest allowed piece or -1, the share along it, the distance."""
    count = len(px)
    found = np.full(count, -1, np.int64)
    share = np.zeros(count)
    distance = np.full(count, np.inf)
    for m in range(count):
        fi, fj = (px[m] - x0) / cell, (py[m] - y0) / cell
        if not (np.isfinite(fi) and np.isfinite(fj)):
            continue
        ci, cj = int(np.floor(fi)), int(np.floor(fj))
        best = most * most if most < 1e150 else np.inf
        best_t = 0.0
        best_p = -1
        ring = max(0, -ci, ci - nx + 1, -cj, cj - ny + 1)
        last = max(abs(ci), abs(ci - nx + 1), abs(cj), abs(cj - ny + 1))
        edge = min(fi - ci, ci + 1 - fi, fj - cj, cj + 1 - fj) * cell
        while ring <= last:
            if ring > 0:
                gap = (ring - 1) * cell + edge
                if gap * gap > best:
                    break
            for j in range(max(0, cj - ring), min(ny - 1, cj + ring) + 1):
                whole_row = j == cj - ring or j == cj + ring
                step = 1 if whole_row else max(1, 2 * ring)
                i = ci - ring
                if whole_row and i < 0:
                    i = 0
                while i <= ci + ring:
                    if 0 <= i < nx:
                        at = j * nx + i
                        for k in range(start[at], start[at + 1]):
                            p = pieces[k]
                            if not allowed[p]:
                                continue
                            dx, dy = bx[p] - ax[p], by[p] - ay[p]
                            ex, ey = px[m] - ax[p], py[m] - ay[p]
                            square = dx * dx + dy * dy
                            t = (ex * dx + ey * dy) / square if square > 0 else 0.0
                            t = min(1.0, max(0.0, t))
                            gx, gy = ex - t * dx, ey - t * dy
                            d = gx * gx + gy * gy
                            if d < best or (d == best and (best_p < 0 or p < best_p)):
                                best, best_t, best_p = d, t, p
                    elif i >= nx:
                        break
                    i += step
            ring += 1
        if best_p >= 0:
            found[m] = best_p
            share[m] = best_t
            distance[m] = np.sqrt(best)
    return found, share, distance


@njit(cache=True, nogil=True)
def paint_edges(
    segment: Any, low: Any, high: Any, start: Any, gx: Any, gy: Any, x0: float, y0: float,
    cell: float, grid: Any,
) -> None:  # fmt: skip
    """Mark the cells under the stretch from ``low`` to ``high`` metres of each segment."""
    ny, nx = grid.shape
    step = 0.5 * cell
    for s in range(len(segment)):
        along = 0.0
        for k in range(start[segment[s]], start[segment[s] + 1] - 1):
            dx, dy = gx[k + 1] - gx[k], gy[k + 1] - gy[k]
            length = np.hypot(dx, dy)
            begin, end = max(along, low[s]), min(along + length, high[s])
            if end >= begin:
                pieces = int((end - begin) / step) + 1
                for q in range(pieces + 1):
                    t = (begin - along + (end - begin) * q / pieces) / max(length, 1e-9)
                    i, j = int((gx[k] + t * dx - x0) / cell), int((gy[k] + t * dy - y0) / cell)
                    if 0 <= i < nx and 0 <= j < ny:
                        grid[j, i] = 1
            along += length


@njit(cache=True, nogil=True)
def segments_in_boxes(
    boxes: Any, start: Any, pieces: Any, owner: Any, allowed: Any, x0: float, y0: float,
    cell: float, nx: int, ny: int,
) -> tuple[Any, Any]:  # fmt: skip
    """List per box the allowed segments with a piece in a cell that it touches, once each."""
    seen = np.full(len(allowed), -1, np.int64)
    rows = np.empty(1024, np.int64)
    found = np.empty(1024, np.int32)
    used = 0
    for b in range(len(boxes)):
        i0 = max(0, int(np.floor((boxes[b, 0] - x0) / cell)))
        j0 = max(0, int(np.floor((boxes[b, 1] - y0) / cell)))
        i1 = min(nx - 1, int(np.floor((boxes[b, 2] - x0) / cell)))
        j1 = min(ny - 1, int(np.floor((boxes[b, 3] - y0) / cell)))
        for j in range(j0, j1 + 1):
            for i in range(i0, i1 + 1):
                for k in range(start[j * nx + i], start[j * nx + i + 1]):
                    segment = owner[pieces[k]]
                    if seen[segment] == b or not allowed[segment]:
                        continue
                    seen[segment] = b
                    if used == len(rows):
                        more_rows = np.empty(2 * used, np.int64)
                        more_found = np.empty(2 * used, np.int32)
                        more_rows[:used] = rows
                        more_found[:used] = found
                        rows, found = more_rows, more_found
                    rows[used] = b
                    found[used] = segment
                    used += 1
    return rows[:used].copy(), found[:used].copy()
