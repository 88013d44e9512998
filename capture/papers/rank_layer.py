"""Which layers does a map of a screening show: parcels by rank over roads, counts and rivals?

Struck-out parcels stay on the map with their reason, as crosses.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np

from capture.papers.layers import (
    make_count_layer,
    make_people_layer,
    make_rival_layer,
    make_road_layer,
)
from capture.papers.marks import MapLayer, drop_empty, mark_area, mark_point
from capture.papers.words import say_amount


def make_rank_layer(many: Any) -> MapLayer:
    """Make the layer of parcels by rank, the struck-out ones with their reason."""
    ranking, sites = many.ranking, many.sites
    index = {name: at for at, name in enumerate(sites.ids)}
    projection, marks = many.place.network.projection, []
    for row in ranking.to_dict("records"):
        at = index[str(row["id"])]
        rank = row.get("rank")
        struck = bool(row.get("struck", False)) or rank is None or not np.isfinite(rank)
        look = "rank-struck" if struck else "rank-top" if rank <= TOP else "rank-middle"
        title = f"{sites.names[at]}: struck out" if struck else f"{rank:.0f}. {sites.names[at]}"
        lines = tuple(
            (words, said)
            for name, (words, unit) in _RANK_FIELDS.items()
            if name in row and (said := _rank_cell(row[name], unit))
        )
        more: dict[str, Any] = {"title": title, "lines": lines}
        if sites.polygons[at] is not None:
            marks.append(mark_area(sites.polygons[at], look, projection, **more))
        label = "" if struck else f"{rank:.0f}"
        lift = 0 if struck else 1000 - int(rank)
        marks.append(mark_point(sites.lat[at], sites.lon[at], look, label=label, lift=lift, **more))
    return MapLayer(name="Parcels by rank", marks=tuple(marks))


TOP: Final = 5
_RANK_FIELDS: Final = {
    "reason": ("why", ""),
    "reasons": ("why", ""),
    "vehicles_per_day": ("pass a day", "count"),
    "share": ("share washed", "share"),
    "cars_per_day": ("washed a day", "count"),
    "cars_per_year": ("washed a year", "count"),
    "npv_usd": ("value today", "USD"),
    "payback_years": ("pays back in", "years"),
    "land_ceiling_usd": ("land may cost", "USD"),
    "chance_top": ("chance to be among the first", "share"),
}


def _rank_cell(value: Any, unit: str) -> str:
    if isinstance(value, int | float | np.number):
        return say_amount(float(value), unit) if unit else str(value)
    return "" if value is None else str(value)


def make_many_layers(many: Any) -> tuple[MapLayer, ...]:
    """Make every layer of a screening that there is something to show for."""
    x, y = float(np.median(many.sites.x)), float(np.median(many.sites.y))
    projection = many.place.network.projection
    return drop_empty(
        (
            make_people_layer(many.area.read("people"), projection),
            make_road_layer(many.place, many.volumes, x=x, y=y),
            make_count_layer(many.volumes, projection),
            make_rival_layer(many.rivals),
            make_rank_layer(many),
        )
    )
