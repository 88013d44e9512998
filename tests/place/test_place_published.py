"""Printed figures: lengths of a degree, speeds in both units."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from published import assert_printed, load_rows, name_row

from capture.basis import LocalProjection
from capture.place.tags import parse_speed_mps


def _length_km(lat: float, *, east: bool) -> float:
    """A degree, centred at the latitude, from 40 short steps each in its own local metres."""
    step = 1.0 / 40
    starts = np.arange(40) * step - 0.5
    total = 0.0
    for start in starts:
        a = (lat, start) if east else (lat + start, 0.0)
        b = (lat, start + step) if east else (lat + start + step, 0.0)
        plane = LocalProjection(centre_lat=(a[0] + b[0]) / 2, centre_lon=(a[1] + b[1]) / 2)
        x, y = plane.to_xy([a[0], b[0]], [a[1], b[1]])
        total += float(np.hypot(np.diff(x), np.diff(y))[0])
    return total / 1000


def _second_m(lat: float, axis: str) -> float:
    plane = LocalProjection(centre_lat=lat, centre_lon=0.0)
    step = 1 / 3600
    x, y = plane.to_xy([lat, lat + step * (axis == "lat")], [0.0, step * (axis == "lon")])
    return float(np.hypot(np.diff(x), np.diff(y))[0])


CHECKS = {
    "arc_second_m": lambda inputs: _second_m(inputs["lat"], inputs["axis"]),
    "degree_of_latitude_km": lambda inputs: _length_km(inputs["lat"], east=False),
    "degree_of_longitude_km": lambda inputs: _length_km(inputs["lat"], east=True),
    "maxspeed_mps": lambda inputs: parse_speed_mps(inputs["text"], 1.4) or 0.0,
}


@pytest.mark.published
@pytest.mark.parametrize("row", load_rows("place"), ids=name_row)
def test_printed(row: dict[str, Any]) -> None:
    assert_printed(row, CHECKS[row["check"]](row["inputs"]))
