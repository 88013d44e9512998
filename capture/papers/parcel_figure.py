"""How does the wash stand on its parcel on paper, with the worst Saturday's queue?

Drawn from the placement, the streets past it and the queue's simulation. Without a shape of
the parcel there is no picture.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final

import numpy as np
import shapely
from numpy.typing import NDArray

from capture.basis import UnitSystem, convert_out
from capture.papers.drawing import Drawing
from capture.papers.look import FAINT_INK, GROUND, INK, LOOKS, PLUM, RUST, SAND, WATER
from capture.papers.queue_layer import Standing, say_queue, stand_queue
from capture.papers.words import say_amount

FloatArray = NDArray[np.float64]
#: left, top, right, bottom
_Box = tuple[float, float, float, float]
PAPER: Final = "#ffffff"
STREET: Final = "#ddd5c2"
#: pieces of road looked at around a parcel
MOST_NEAR: Final = 300


def draw_parcel(study: Any, *, system: UnitSystem = "us", height: float = 200.0) -> str:
    """Draw the wash on its parcel with the queue of a bad day; "" without a shape.

    Parameters
    ----------
    study : Study
    system : {"us", "metric"}
        Unit of the scale.
    height : float
        Points.
    """
    parcel = study.sites.polygons[0]
    if parcel is None:
        return ""
    best = study.ground.placements[0] if study.ground.placements else None
    queue = stand_queue(study)
    shapes = [parcel, *(best.parts.values() if best else ()), *(queue.street if queue else ())]
    x0, y0, x1, y1 = shapely.total_bounds(np.array(shapes, dtype=object))
    wide = 252.0
    scale = min((wide - 16) / (x1 - x0), (height - 34) / (y1 - y0))
    drawing = Drawing(wide, height, "The wash on its parcel, seen from above")

    def put(points: FloatArray) -> list[tuple[float, float]]:
        right = wide / 2 + (points[:, 0] - (x0 + x1) / 2) * scale
        down = (height - 22) / 2 - (points[:, 1] - (y0 + y1) / 2) * scale
        return list(zip(right.tolist(), down.tolist(), strict=True))

    def place(shape: Any) -> list[tuple[float, float]]:
        return put(shapely.get_coordinates(shapely.get_exterior_ring(shape)))

    half = np.array([wide / 2 - 2, (height - 22) / 2 - 2]) / scale
    middle = np.array([(x0 + x1) / 2, (y0 + y1) / 2])
    streets = _draw_streets(drawing, study, put, shapely.box(*(middle - half), *(middle + half)))
    edge = np.array(place(parcel))
    box = (*edge.min(axis=0).tolist(), *edge.max(axis=0).tolist())
    drawing.area(place(parcel), GROUND, ink=RUST, width=1.6)
    if best:
        _draw_parts(drawing, best, place)
        _draw_queue(drawing, queue, place, box)
    else:
        x, y = wide / 2, (height - 22) / 2
        drawing.text(x, y, "no arrangement fits", anchor="middle", size=10, halo=GROUND)
    _name_streets(drawing, streets, box)
    long_m = 30.48 if system == "us" else 30.0
    drawing.line([(8, height - 8), (8 + long_m * scale, height - 8)], INK, 1.6)
    amount, unit = convert_out(long_m, "m", system)
    drawing.text(13 + long_m * scale, height - 5, f"{amount:.0f} {unit}", size=9)
    drawing.text(wide - 4, height - 5, "north is up", size=9, anchor="end", ink=FAINT_INK)
    return drawing.render()


def _draw_streets(
    drawing: Drawing, study: Any, put: Callable[[Any], list[tuple[float, float]]], frame: Any
) -> dict[str, list[tuple[float, float]]]:
    """Draw the streets past the parcel; return the longest piece of each of the streams' own."""
    network = study.place.network
    starts = np.asarray(network.geom_indptr[:-1])
    far = np.hypot(network.geom_x[starts] - frame.centroid.x,
                   network.geom_y[starts] - frame.centroid.y)  # fmt: skip
    own = {str(name) for name in study.streams.road if name}
    named: dict[str, Any] = {}
    for g in np.argsort(far, kind="stable")[:MOST_NEAR].tolist():
        piece = shapely.intersection(shapely.LineString(network.segment_line(g)), frame)
        for line in shapely.get_parts(piece):
            if line.geom_type != "LineString" or line.is_empty:
                continue
            drawing.line(put(shapely.get_coordinates(line)), STREET, 5.0)
            name = str(network.segment_name[g])
            if name in own and line.length > getattr(named.get(name), "length", 0.0):
                named[name] = line
    return {name: put(shapely.get_coordinates(line)) for name, line in sorted(named.items())}


def _name_streets(drawing: Drawing, named: dict[str, list[tuple[float, float]]], box: _Box) -> None:
    """Write each street's name along it if it lies level, else beside it, off the parcel."""
    for name, points in named.items():
        (x0, y0), (x1, y1) = points[0], points[-1]
        low = max((x0, y0), (x1, y1), key=lambda point: point[1])
        if abs(x1 - x0) >= abs(y1 - y0):
            drawing.text(min(x0, x1) + 4, (y0 + y1) / 2 + 3, name, size=8, halo=PAPER)
        else:
            _write_beside(drawing, low[0], min(low[1], drawing.height - 26), name, box, size=8)


def _write_beside(
    drawing: Drawing, x: float, y: float, said: str, box: _Box, *, size: float, bold: bool = False,
    ink: str = INK,
) -> None:  # fmt: skip
    """Write words on the side of a point that is away from the parcel."""
    right = x > (box[0] + box[2]) / 2
    if 0.5 * size * len(said) + 8 > (drawing.width - x if right else x):
        right = not right
    drawing.text(x + 8 if right else x - 8, y, said, size=size, bold=bold, ink=ink,
                 anchor="start" if right else "end", halo=PAPER)  # fmt: skip


def _draw_parts(drawing: Drawing, best: Any, place: Callable[[Any], Any]) -> None:
    looks = {"building": (INK, 0.75, ""), "lanes": (SAND, 1.0, ""), "pay lanes": (PLUM, 0.45, "")}
    for stall in best.stalls:
        drawing.area(place(stall), WATER, ink=WATER, width=0.5, share=0.2)
    for name, shape in sorted(best.parts.items()):
        fill, share, dash = looks.get(name.partition(",")[0], (PAPER, 0.6, "3 3"))
        drawing.area(place(shape), fill, ink=INK, width=0.8, share=share, dash=dash)


def _draw_queue(
    drawing: Drawing, queue: Standing | None, place: Callable[[Any], Any], box: _Box
) -> None:
    """Draw cars in their places, free places open, cars in the street barred."""
    if queue is None:
        return
    for spot in queue.free:
        drawing.area(place(spot), PAPER, ink=FAINT_INK, width=0.5, share=0.0, dash="1.5 1.5")
    for car in queue.waiting:
        drawing.area(place(car), PAPER, ink=INK, width=0.6)
    for car in queue.street:
        corners = place(car)
        drawing.area(corners, LOOKS["queue-street"].fill, ink=RUST, width=0.8)
        drawing.line([corners[0], corners[2]], RUST, 0.6)
        drawing.line([corners[1], corners[3]], RUST, 0.6)
    if queue.street:
        x, y = place(queue.street[len(queue.street) // 2])[0]
        said = f"{len(queue.street)} in the street"
        _write_beside(drawing, x, y, said, box, size=8.5, bold=True, ink=RUST)


def say_parcel(study: Any, system: UnitSystem) -> str:
    """Say what the picture of the parcel shows."""
    area = study.ground.area_m2
    size = say_amount(area, "m2", system) if area else "no shape given"
    if not study.ground.placements:
        return f"The parcel, {size}; nothing that was tried fits."
    best = study.ground.placements[0]
    return (
        f"The parcel, {size}: {best.arrangement}, {best.vacuum_bays} vacuum bays. Dark: building; "
        "tinted: pay lanes and lanes for the queue; pale: vacuum bays; dashed: room to turn; white "
        "boxes: cars in their places; barred boxes: cars with no place. "
        f"{say_queue(study, system)}"
    )
