"""Where do the members of an operator's two sites live, and which of them would move?

Homes are gathered in squares of a quarter of a mile, each shaded by the first site's
members who live there and outlined by the site that they live nearer to. Assumes members
spread over homes as :func:`capture.share.spread_members` says.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from capture.papers.marks import MapLayer, Mark, mark_area, mark_point
from capture.papers.words import say_amount, say_number

FloatArray = NDArray[np.float64]

#: side of a square in which homes are gathered
SQUARE_M: Final = 402.336
#: parts of the members, those in the fullest squares first, at which a shade ends
SHADES: Final = (0.5, 0.85)
#: squares with fewer washes a year of both sites' members than this are left out
LEAST_WASHES: Final = 5.0
_TIMES: Final = ("first_minutes", "second_minutes")


def gather_homes(
    xy: FloatArray, minutes: FloatArray, *, first: FloatArray, moved: FloatArray, second: FloatArray
) -> pd.DataFrame:
    """Gather homes in squares.

    Parameters
    ----------
    xy : ndarray, shape (Z, 2)
        Where the homes are, metres.
    minutes : ndarray, shape (2, Z)
        Drive time to the first and to the second site; inf where out of reach.
    first, moved, second : ndarray, shape (Z,)
        Washes a year by the members who live there: the first site's, those of them that
        would move, and the second's.

    Returns
    -------
    DataFrame
        A row for each square with members: ``x, y`` of its middle, metres, the sums
        ``first, moved, second``, and ``first_minutes, second_minutes``, means over the washes
        of homes in reach, inf where none is.

    Examples
    --------
    >>> homes = np.array([[10.0, 10.0], [20.0, 30.0], [900.0, 10.0]])
    >>> minutes = np.array([[1.0, 3.0, 9.0], [9.0, 7.0, np.inf]])
    >>> first, none = np.array([30.0, 10.0, 5.0]), np.zeros(3)
    >>> made = gather_homes(homes, minutes, first=first, moved=none, second=none)
    >>> made["first"].tolist(), made["first_minutes"].tolist()
    ([40.0, 5.0], [1.5, 9.0])
    """
    weight = first + second
    table = pd.DataFrame(
        {
            "column": np.floor(xy[:, 0] / SQUARE_M).astype(np.int64),
            "row": np.floor(xy[:, 1] / SQUARE_M).astype(np.int64),
            "first": first, "moved": moved, "second": second,
        }
    )  # fmt: skip
    for k, name in enumerate(_TIMES):
        reached = np.isfinite(minutes[k])
        table[name] = np.where(reached, minutes[k], 0.0) * weight
        table[f"{name} of"] = np.where(reached, weight, 0.0)
    made = table.groupby(["column", "row"], as_index=False, sort=True).sum()
    made = made[made["first"] + made["second"] >= LEAST_WASHES].reset_index(drop=True)
    for name in _TIMES:
        reach = made.pop(f"{name} of")
        made[name] = np.where(reach > 0, made[name] / np.maximum(reach, 1e-12), np.inf)
    made.insert(0, "x", (made.pop("column") + 0.5) * SQUARE_M)
    made.insert(1, "y", (made.pop("row") + 0.5) * SQUARE_M)
    return made


def make_member_layers(
    homes: pd.DataFrame, projection: Any, *, first: tuple[float, float], site: tuple[float, float]
) -> tuple[MapLayer, ...]:
    """Make the layers of both sites and of where their members live.

    Parameters
    ----------
    homes : DataFrame
        ``x, y, first, moved, second, first_minutes, second_minutes`` by square.
    projection : LocalProjection
    first, site : tuple of float
        Latitude and longitude of the first site and of the studied one, degrees.
    """
    shades = _shade(homes["first"].to_numpy() + homes["second"].to_numpy())
    marks = [
        _mark_square(row, int(shade), projection)
        for row, shade in zip(homes.to_dict("records"), shades, strict=True)
    ]
    spots = (
        mark_point(*first, "first-site", title="The first site", lift=1, label="first"),
        mark_point(*site, "site", title="This site", lift=2, label="this site"),
    )
    return (
        MapLayer(
            name="Where members live",
            marks=tuple(marks),
            legend=("members-first-2", "members-second-2"),
        ),
        MapLayer(name="Both sites", marks=spots),
    )


def _shade(washes: FloatArray) -> NDArray[np.int64]:
    """Return 2 for the fullest squares that hold the first part of all, then 1, then 0."""
    order = np.argsort(-washes, kind="stable")
    before = np.zeros(len(washes))
    before[order] = np.cumsum(washes[order]) - washes[order]
    part = before / max(float(washes.sum()), 1e-9)
    return np.asarray(2 - np.searchsorted(SHADES, part, side="right"), dtype=np.int64)


def _mark_square(row: dict[Any, Any], shade: int, projection: Any) -> Mark:
    half = SQUARE_M / 2
    near = "second" if row["second_minutes"] < row["first_minutes"] else "first"
    lines = (
        ("washes a year by the first site's members", say_number(row["first"], digits=2)),
        ("of them would move here", say_number(row["moved"], digits=2)),
        ("washes a year by this site's members", say_number(row["second"], digits=2)),
        ("drive to the first", _say_minutes(row["first_minutes"])),
        ("drive to this site", _say_minutes(row["second_minutes"])),
    )
    return mark_area(
        shapely.box(row["x"] - half, row["y"] - half, row["x"] + half, row["y"] + half),
        f"members-{near}-{shade}",
        projection,
        title="Members who live here",
        lines=lines,
    )


def _say_minutes(minutes: float) -> str:
    return say_amount(minutes, "min", digits=2) if np.isfinite(minutes) else "out of reach"
