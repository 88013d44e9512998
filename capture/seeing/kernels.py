"""Compiled loops behind walls and approaches; nothing else calls them.

Plain loops over flat arrays, compiled by numba at first use and cached on disk.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np
from numba import njit

_compiled: Final[Any] = njit(cache=True, nogil=True)
#: walls are entered into cells that they come this near to, so that no touch is missed
PAD_M: Final = 1e-6


@_compiled
def fill_grid(ends: Any, west: float, south: float, cell: float, columns: int, rows: int) -> Any:
    """Enter each wall into the cells that it touches: count, then fill."""
    pointer = np.zeros(columns * rows + 1, np.int64)
    walls = np.empty(0, np.int64)
    for fill in range(2):
        if fill == 1:
            for c in range(columns * rows):
                pointer[c + 1] += pointer[c]
            walls = np.empty(pointer[columns * rows], np.int64)
            at = pointer[:-1].copy()
        for w in range(ends.shape[0]):
            x0, y0, x1, y1 = ends[w, 0], ends[w, 1], ends[w, 2], ends[w, 3]
            pieces = int(max(abs(x1 - x0), abs(y1 - y0)) / cell) + 1
            last_column, last_row = -1, -1
            for p in range(pieces):
                ax, bx = x0 + (x1 - x0) * p / pieces, x0 + (x1 - x0) * (p + 1) / pieces
                ay, by = y0 + (y1 - y0) * p / pieces, y0 + (y1 - y0) * (p + 1) / pieces
                left = int((min(ax, bx) - PAD_M - west) / cell)
                right = int((max(ax, bx) + PAD_M - west) / cell)
                below = int((min(ay, by) - PAD_M - south) / cell)
                above = int((max(ay, by) + PAD_M - south) / cell)
                for row in range(max(below, 0), min(above, rows - 1) + 1):
                    for column in range(max(left, 0), min(right, columns - 1) + 1):
                        if column == last_column and row == last_row:
                            continue
                        last_column, last_row = column, row
                        c = row * columns + column
                        if fill == 0:
                            pointer[c + 1] += 1
                        else:
                            walls[at[c]] = w
                            at[c] += 1
    return pointer, walls


@_compiled
def is_own(own: Any, first: int, last: int, owner: int) -> bool:
    """Whether an owner stands in a short list."""
    for i in range(first, last):  # noqa: SIM110
        if own[i] == owner:
            return True
    return False


@_compiled
def meets(lines: Any, i: int, x0: float, y0: float, z0: float, dx: float, dy: float,
          dz: float) -> bool:  # fmt: skip
    """Whether a ray meets a wall between its lower and upper height."""
    ax, ay, ex, ey = lines[i, 0] - x0, lines[i, 1] - y0, lines[i, 2], lines[i, 3]
    # the wall's ends must not both lie on one side of the ray
    side = ax * dy - ay * dx
    if side * (side + ex * dy - ey * dx) > 0.0:
        return False
    across = dx * ey - dy * ex
    if across == 0.0:
        return False
    along = (ax * ey - ay * ex) / across
    if along < 0.0 or along > 1.0:
        return False
    height = z0 + along * dz
    return bool(lines[i, 4] < height < lines[i, 5])


@_compiled
def is_clear(x0: float, y0: float, z0: float, x1: float, y1: float, z1: float, own: Any,
             first: int, last: int, lines: Any, owner: Any, west: float, south: float,
             cell: float, columns: int, rows: int, pointer: Any) -> bool:  # fmt: skip
    """Walk the grid along one ray until something hides the target."""
    dx, dy, dz = x1 - x0, y1 - y0, z1 - z0
    # cut the ray to the grid
    enter, leave = 0.0, 1.0
    for axis in range(2):
        start, step = (x0, dx) if axis == 0 else (y0, dy)
        low = west if axis == 0 else south
        high = low + cell * (columns if axis == 0 else rows)
        if step == 0.0:
            if start < low or start > high:
                return True
            continue
        near, far = (low - start) / step, (high - start) / step
        if near > far:
            near, far = far, near
        enter, leave = max(enter, near), min(leave, far)
    if enter > leave:
        return True
    px, py = (x0 + enter * dx - west) / cell, (y0 + enter * dy - south) / cell
    column = min(max(int(px), 0), columns - 1)
    row = min(max(int(py), 0), rows - 1)
    step_x = 1 if dx > 0 else -1
    step_y = 1 if dy > 0 else -1
    side_x = west + cell * (column + (1 if dx > 0 else 0))
    side_y = south + cell * (row + (1 if dy > 0 else 0))
    next_x = (side_x - x0) / dx if dx != 0.0 else np.inf
    next_y = (side_y - y0) / dy if dy != 0.0 else np.inf
    gap_x = cell / abs(dx) if dx != 0.0 else np.inf
    gap_y = cell / abs(dy) if dy != 0.0 else np.inf
    while True:
        c = row * columns + column
        for i in range(pointer[c], pointer[c + 1]):
            if meets(lines, i, x0, y0, z0, dx, dy, dz) and not is_own(own, first, last, owner[i]):
                return False
        if next_x < next_y:
            if next_x > leave:
                return True
            column += step_x
            next_x += gap_x
            if column < 0 or column >= columns:
                return True
        else:
            if next_y > leave:
                return True
            row += step_y
            next_y += gap_y
            if row < 0 or row >= rows:
                return True


@_compiled
def trace_rays(eyes: Any, targets: Any, own_indptr: Any, own: Any, lines: Any, owner: Any,
               west: float, south: float, cell: float, columns: int, rows: int,
               pointer: Any) -> Any:  # fmt: skip
    """Test rays one by one."""
    clear = np.ones(eyes.shape[0], np.bool_)
    for n in range(eyes.shape[0]):
        clear[n] = is_clear(
            eyes[n, 0], eyes[n, 1], eyes[n, 2], targets[n, 0], targets[n, 1], targets[n, 2],
            own, own_indptr[n], own_indptr[n + 1], lines, owner, west, south, cell, columns,
            rows, pointer,
        )  # fmt: skip
    return clear


@_compiled
def trace_approaches(eyes: Any, count: Any, targets: Any, own_indptr: Any, own: Any, lines: Any,
                     owner: Any, west: float, south: float, cell: float, columns: int,
                     rows: int, pointer: Any) -> Any:  # fmt: skip
    """Test every target of every stream from each eye point of its approach."""
    streams, most, each = eyes.shape[0], eyes.shape[1], targets.shape[1]
    clear = np.zeros((streams, each, most), np.bool_)
    for r in range(streams):
        for t in range(each):
            if np.isnan(targets[r, t, 0]):
                continue
            for k in range(count[r]):
                clear[r, t, k] = is_clear(
                    eyes[r, k, 0], eyes[r, k, 1], eyes[r, k, 2], targets[r, t, 0],
                    targets[r, t, 1], targets[r, t, 2], own, own_indptr[r], own_indptr[r + 1],
                    lines, owner, west, south, cell, columns, rows, pointer,
                )  # fmt: skip
    return clear


@_compiled
def find_before(at: int, base: Any, tail: Any, in_indptr: Any, in_edge: Any, reverse: Any,
                headings: Any, name: Any, banned: Any, straight: float) -> int:  # fmt: skip
    """Find the piece a stream comes from: the straightest, its own road's before others."""
    best, best_score = -1, -np.inf
    pieces = np.int64(base.size)
    for i in range(in_indptr[tail[at]], in_indptr[tail[at] + 1]):
        b = in_edge[i]
        if base[b] == reverse[at]:
            continue
        code = b * pieces + at
        spot = np.searchsorted(banned, code)
        if spot < banned.size and banned[spot] == code:
            continue
        cosine = headings[b, 2] * headings[at, 0] + headings[b, 3] * headings[at, 1]
        same = name[b] >= 0 and name[b] == name[at]
        if cosine <= (0.0 if same else straight):
            continue
        score = cosine + (2.0 if same else 0.0)
        if score > best_score:
            best, best_score = b, score
    return best


@_compiled
def walk_approaches(edge: Any, fraction: Any, points: Any, step: float, offset: Any, side: float,
                    base: Any, tail: Any, reverse: Any, segment: Any, forward: Any, length: Any,
                    headings: Any, name: Any, banned: Any, in_indptr: Any, in_edge: Any,
                    geom_indptr: Any, gx: Any, gy: Any, straight: float) -> Any:  # fmt: skip
    """Place eye points every step back along each stream's road, in its own lane.

    Returns x, y (R, K, 2), heading (R, K, 2), segment (R, K) and how many there are (R,).
    """
    rows = edge.size
    most = 0
    for r in range(rows):
        most = max(most, points[r])
    eyes = np.zeros((rows, most, 2))
    ahead = np.zeros((rows, most, 2))
    where = np.full((rows, most), -1, np.int64)
    count = np.zeros(rows, np.int64)
    for r in range(rows):
        at = edge[r]
        remaining = fraction[r] * length[at]  # metres of this piece before the position
        wanted, gone, k = step, 0.0, 0
        for _ in range(512):
            s = segment[at]
            first, last = geom_indptr[s], geom_indptr[s + 1] - 1
            # pieces of the geometry from the position back to the start of the piece
            run = length[at]
            i = last if forward[at] else first
            stop = first if forward[at] else last
            move = -1 if forward[at] else 1
            while i != stop and k < points[r]:
                j = i + move
                size = np.hypot(gx[i] - gx[j], gy[i] - gy[j])
                # this straight piece covers (run - size, run) metres from the start
                top = min(run, remaining)
                bottom = run - size
                while k < points[r] and size > 0.0:
                    place = remaining - (wanted - gone)
                    if place < bottom - 1e-9 or place > top + 1e-9:
                        break
                    u = (run - place) / size
                    hx, hy = (gx[i] - gx[j]) / size, (gy[i] - gy[j]) / size
                    eyes[r, k, 0] = gx[i] + u * (gx[j] - gx[i]) + side * hy * offset[at]
                    eyes[r, k, 1] = gy[i] + u * (gy[j] - gy[i]) - side * hx * offset[at]
                    ahead[r, k, 0], ahead[r, k, 1] = hx, hy
                    where[r, k] = s
                    k += 1
                    wanted += step
                run = bottom
                i = j
            gone += remaining
            if k >= points[r]:
                break
            before = find_before(at, base, tail, in_indptr, in_edge, reverse, headings, name,
                                 banned, straight)  # fmt: skip
            if before < 0 or base[before] == edge[r]:
                break
            at = before
            remaining = length[at]
        count[r] = k
    return eyes, ahead, where, count


@_compiled
def ground_at(height: Any, west: float, south: float, cell: float, x: float, y: float) -> float:
    """Height of the ground between four heights of the grid; beyond the edge, the edge's."""
    rows, columns = height.shape
    u = min(max((x - west) / cell, 0.0), columns - 1.0)
    v = min(max((y - south) / cell, 0.0), rows - 1.0)
    i, j = min(int(u), columns - 2), min(int(v), rows - 2)
    fu, fv = u - i, v - j
    low = height[j, i] * (1.0 - fu) + height[j, i + 1] * fu
    high = height[j + 1, i] * (1.0 - fu) + height[j + 1, i + 1] * fu
    return float(low * (1.0 - fv) + high * fv)


@_compiled
def trace_ground(eyes: Any, count: Any, targets: Any, height: Any, west: float, south: float,
                 cell: float) -> Any:  # fmt: skip
    """Test whether the ground rises above any ray, sampled twice per cell."""
    streams, most, each = eyes.shape[0], eyes.shape[1], targets.shape[1]
    clear = np.ones((streams, each, most), np.bool_)
    for r in range(streams):
        for t in range(each):
            for k in range(count[r]):
                dx, dy = targets[r, t, 0] - eyes[r, k, 0], targets[r, t, 1] - eyes[r, k, 1]
                dz = targets[r, t, 2] - eyes[r, k, 2]
                steps = int(2.0 * np.hypot(dx, dy) / cell) + 1
                for i in range(1, steps):
                    u = i / steps
                    ground = ground_at(height, west, south, cell, eyes[r, k, 0] + u * dx,
                                       eyes[r, k, 1] + u * dy)  # fmt: skip
                    if ground > eyes[r, k, 2] + u * dz:
                        clear[r, t, k] = False
                        break
    return clear
