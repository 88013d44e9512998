"""How much faster than trying every place with shapely is the search for a placement?

Prints medians and the ratio. Both look for one arrangement in one turn on the same grid of
places; the search itself looks at all arrangements and turns.
"""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable

import numpy as np
import shapely
from shapely import affinity

from capture.basis import Offer
from capture.ground import VALUES, fits_core, list_arrangements, place_site, read_needs
from capture.ground.layout import Arrangement
from capture.line import size_line

STEP_M = 0.5


def median_s(run: Callable[[], object], runs: int = 3) -> float:
    spent = []
    for _ in range(runs):
        start = time.perf_counter()
        run()
        spent.append(time.perf_counter() - start)
    return statistics.median(spent)


def try_every_place(parcel: shapely.Polygon, arrangement: Arrangement) -> int:
    """Count the places at which one arrangement, not turned, lies within the setbacks."""
    zones = {
        True: parcel.buffer(-VALUES.value("building_setback_m"), join_style="mitre"),
        False: parcel.buffer(-VALUES.value("paving_setback_m"), join_style="mitre"),
    }
    low_x, low_y, high_x, high_y = parcel.bounds
    x, y = np.meshgrid(np.arange(low_x, high_x, STEP_M), np.arange(low_y, high_y, STEP_M))
    fit = np.ones(x.size, dtype=bool)
    for box in arrangement.boxes:
        zone = zones[box.name == "building"]
        shapely.prepare(zone)
        rectangles = shapely.box(
            x.ravel() + box.x0, y.ravel() + box.y0, x.ravel() + box.x1, y.ravel() + box.y1
        )
        fit &= shapely.contains_properly(zone, rectangles)
    return int(fit.sum())


def main() -> None:
    """Print the ratios."""
    needs = read_needs(size_line(98.0, Offer()), Offer())
    parcel = shapely.Polygon([(0, 0), (90, 0), (90, 50), (60, 55), (55, 95), (0, 100)])
    arrangements = list_arrangements(needs)
    one = median_s(lambda: try_every_place(parcel, arrangements[0]))
    looked_at = len(arrangements) * 4 * 3
    whole = median_s(lambda: place_site(parcel, needs))
    quick = median_s(lambda: fits_core(affinity.rotate(parcel, 13), needs))
    print(
        f"best placements over {looked_at} arrangements and turns: {1e3 * whole:.0f} ms; "
        f"first fit: {1e3 * quick:.0f} ms; trying every place with shapely: {1e3 * one:.0f} ms for "
        f"one, {one * looked_at:.1f} s for all, {one * looked_at / whole:.0f} times slower"
    )


if __name__ == "__main__":
    main()
