"""What does the driver see, second by second, on the way to the driveway?

Turns one stream's kept rays into a table by distance (for a chart) and into sentences in
the order in which things appear. Assumes the stream's own speed, unslowed.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from capture.basis import InputError, Sheet
from capture.seeing.distances import compute_readable
from capture.seeing.seeing import RAY_COLUMNS, Seeing
from capture.seeing.targets import DRIVEWAY, FRONT, SIGN
from capture.seeing.values import VALUES

if TYPE_CHECKING:
    import pandas as pd

FloatArray = NDArray[np.float64]
_WORDS = {"sign": "the sign", "front": "the building", "driveway": "the driveway's mouth"}


def make_strip(
    seeing: Seeing, row: int, *, speed_mps: float, letter_m: float | None = None,
    values: Sheet = VALUES,
) -> pd.DataFrame:  # fmt: skip
    """Make the driver's strip of one stream.

    Parameters
    ----------
    seeing : Seeing
        With its rays kept.
    row : int
        Which stream.
    speed_mps : float
        Its speed.
    letter_m : float, optional
        Height of the sign's main letters; the usual one where left out.

    Returns
    -------
    DataFrame
        One row per eye point, farthest first: ``distance_m``, ``seconds``, whether ``sign``,
        ``front`` and ``driveway`` are clear, whether the sign's letters are ``readable``,
        ``off_axis_degrees`` of the sign, and ``needed`` (within the distance that a driver
        needs).

    Raises
    ------
    InputError
        When the rays were not kept, or the speed is not above 0.
    """
    import pandas as pd

    if seeing.rays is None:
        raise InputError("the driver's strip needs the rays: look again with keep=True")
    if not speed_mps > 0:
        raise InputError(f"speed must be above 0 m/s, got {speed_mps}; check the stream")
    table = seeing.rays[row]
    at = {name: i for i, name in enumerate(RAY_COLUMNS)}
    letter = values.value("letter_m") if letter_m is None else letter_m

    def pick(target: int) -> FloatArray:
        return np.asarray(table[table[:, at["target"]] == target])

    sign = pick(SIGN)
    away = np.hypot(
        sign[:, at["target_x"]] - sign[:, at["eye_x"]],
        sign[:, at["target_y"]] - sign[:, at["eye_y"]],
    )
    distance = sign[:, at["distance_m"]]
    clear = sign[:, at["clear"]] > 0
    strip = pd.DataFrame(
        {
            "distance_m": distance,
            "seconds": distance / speed_mps,
            "sign": clear,
            "front": pick(FRONT)[:, at["clear"]] > 0,
            "driveway": pick(DRIVEWAY)[:, at["clear"]] > 0,
            "readable": clear & (away <= float(compute_readable(letter, values=values))),
            "off_axis_degrees": sign[:, at["off_axis_degrees"]],
            "needed": distance <= seeing.needed_m[row],
        }
    )
    return strip.iloc[::-1].reset_index(drop=True)


def describe_strip(strip: pd.DataFrame, *, passed: Sequence[tuple[float, str]] = ()) -> list[str]:
    """Say in order what appears, is lost and can be read.

    Parameters
    ----------
    strip : DataFrame
        From :func:`make_strip`.
    passed : sequence of (float, str)
        Other things on the way, such as a rival: metres before the driveway and words.

    Returns
    -------
    list of str
        One sentence per event, as the driver meets them.
    """
    events = list(passed)
    for name, words in {**_WORDS, "readable": "the sign's name"}.items():
        seen = strip[name].to_numpy(dtype=bool)
        for i in np.flatnonzero(np.diff(np.concatenate([[False], seen])) != 0).tolist():
            happens = (
                ("can be read" if name == "readable" else "appears")
                if seen[i]
                else ("can no longer be read" if name == "readable" else "is lost")
            )
            events.append((float(strip["distance_m"][i]), f"{words} {happens}"))
    first_needed = strip.loc[strip["needed"], "distance_m"].max() if strip["needed"].any() else None
    if first_needed is not None:
        events.append((float(first_needed), "a driver needs to have seen the wash by here"))
    if not strip["sign"].any() and not strip["front"].any():
        events.append((0.0, "neither the sign nor the building is ever seen"))
    speed = float(strip["distance_m"].iloc[0] / strip["seconds"].iloc[0]) if len(strip) else 1.0
    events.sort(key=lambda event: -event[0])
    return [f"{metres:.0f} m ({metres / speed:.0f} s) before: {said}" for metres, said in events]
