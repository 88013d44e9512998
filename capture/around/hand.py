"""What may a user set of a rival by hand, and which values are refused?

Every value is checked here, whether it comes from a click on the map, a form or a file of
remembered changes. A row is one rival as a mapping of field to value.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any, Final

from capture.around.formats import RIVAL_FORMATS, read_format
from capture.basis import InputError, plain_text
from capture.place import Place, explain_outside

STATUSES: Final = ("open", "planned", "closed")
#: fields of a list of rivals that are arrays
ARRAYS: Final = (
    "lat", "lon", "x", "y", "bays", "opened", "closed", "price_usd", "open_hours_day",
)  # fmt: skip
#: number that a user may set -> (least, most, unit)
_BOUNDS: Final = {
    "lat": (-86.0, 86.0, "degrees"),
    "lon": (-180.0, 180.0, "degrees"),
    "bays": (1.0, 100.0, "bays"),
    "opened": (1900.0, 2100.0, "year"),
    "closed": (1900.0, 2100.0, "year"),
    "price_usd": (0.01, 1000.0, "USD"),
    "open_hours_day": (0.1, 24.0, "h"),
}


def blank_row(name: str) -> dict[str, Any]:
    """Make a row of which nothing is known but its id."""
    row: dict[str, Any] = dict.fromkeys(ARRAYS, math.nan)
    texts = {"ids": name, "names": "", "formats": "unknown", "status": "open"}
    return row | texts | {"bays": 1.0, "source": "added by hand", "merged": (name,)}


def put_by_hand(row: dict[str, Any], changes: dict[str, Any], place: Place) -> dict[str, Any]:
    """Put a user's values into a copy of a row, each checked.

    Raises
    ------
    InputError
        For a field that is not known, a value outside its bounds, or a spot off the map.
    """
    made = dict(row)
    for name, value in changes.items():
        if name in _BOUNDS:
            made[name] = _check_number(name, value)
        elif name == "format":
            made["formats"] = _check_word("format", value, RIVAL_FORMATS)
        elif name == "status":
            made["status"] = _check_word("status", value, STATUSES)
        elif name in ("name", "id"):
            made["names" if name == "name" else "ids"] = plain_text(value)
        else:
            known = ", ".join(["id", "name", "format", "status", *_BOUNDS])
            raise InputError(f"rival: there is no field {name!r}; known are {known}")
    for name in ("lat", "lon"):
        made[name] = _check_number(name, made[name])
    outside = explain_outside(place, made["lat"], made["lon"])
    if outside and {"lat", "lon"} & set(changes):
        raise InputError(f"rival: {outside}")
    x, y = place.network.projection.to_xy([made["lat"]], [made["lon"]])
    return made | {"x": float(x[0]), "y": float(y[0])}


def _check_number(name: str, value: Any) -> float:
    low, high, unit = _BOUNDS[name]
    good = isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)
    if not good or not low <= value <= high:
        raise InputError(
            f"rival: {name} must be {low:g} to {high:g} {unit}, got {value!r}; mend it"
        )
    return float(value)


def _check_word(name: str, value: Any, known: Sequence[str]) -> str:
    word = read_format(value) if name == "format" else str(value)
    if word not in known or (word == "unknown" and str(value).strip() not in ("unknown", "")):
        raise InputError(
            f"rival: {name} must be one of {', '.join(known)}, got {value!r}; pick one"
        )
    return word
