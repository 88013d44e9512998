"""What can each passing driver do and see? Tables on turning in and out and on being seen.

Distances in sentences of other rooms are turned into the reader's units here. Assumes a
study whose sight rays were kept.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Any, Final

import numpy as np
import pandas as pd

from capture.basis import UnitSystem, convert_out
from capture.papers.approach import make_approach
from capture.papers.passing_tables import name_streams
from capture.papers.words import say_amount, say_lengths

#: column of a driver's strip -> what it is called, in the order in which it is drawn
LOOKED_AT: Final = {
    "sign": "the sign",
    "readable": "letters on it",
    "front": "the building",
    "driveway": "the driveway",
}
_WHO: Final = ("a driver leaving", "a driver turning in across")
_FROM_START: Final = " is in view from where the walk starts"
_M_PER_INCH: Final = 0.0254


def say_letter(height_m: float, system: UnitSystem = "us") -> str:
    """Say the height of letters.

    Examples
    --------
    >>> say_letter(0.7), say_letter(0.7, "metric")
    ('28 in', '70 cm')
    """
    if system == "metric":
        return f"{height_m * 100:.0f} cm"
    return f"{height_m / _M_PER_INCH:.0f} in"


def make_way_table(study: Any) -> pd.DataFrame:
    """Make the table of ways in and out, one row per stream, seconds and metres."""
    turning = study.turning
    return pd.DataFrame(
        {
            "stream": name_streams(study.streams),
            "way_in": turning.way_in,
            "way_out": turning.way_out,
            "wait_in_s": turning.wait_in_s,
            "wait_out_s": turning.wait_out_s,
            "detour_s": turning.detour_s,
            "delay_s": turning.delay_s,
            "service_letter": turning.service_letter,
            "queue95_veh": np.ceil(np.round(turning.queue95_veh, 6)),
            "corner_m": _near(turning.corner_m),
            "signal_m": _near(turning.signal_m),
        }
    )


def _near(distance_m: Any) -> Any:
    found = np.asarray(distance_m, dtype=np.float64)
    return np.where(np.isfinite(found), found, np.nan)


def make_hour_delays(study: Any) -> pd.DataFrame:
    """Make seconds that turning in and back out costs, one row per stream and hour."""
    names = name_streams(study.streams)
    delay = np.asarray(study.turning.delay_by_hour_s, dtype=np.float64)
    return pd.DataFrame(
        {
            "stream": np.repeat(names, 24),
            "hour": np.tile(np.arange(24), len(names)),
            "delay_s": delay.ravel(),
        }
    )


def make_seen_table(study: Any, system: UnitSystem = "us") -> pd.DataFrame:
    """Make the table of what is seen, one row per stream, with the letters that can be read."""
    seeing = study.seeing
    by = np.asarray(seeing.seen_by_target_m)
    return pd.DataFrame(
        {
            "stream": name_streams(study.streams),
            "seen_m": seeing.seen_m,
            "seen_s": seeing.seen_s,
            "needed_m": seeing.needed_m,
            "sight_share": seeing.sight,
            "sign_m": by[:, 0],
            "front_m": by[:, 1],
            "driveway_m": by[:, 2],
            "letters": [
                say_letter(each, system) if each > 0 else "never seen" for each in seeing.letter_m
            ],
        }
    )


def make_triangle_table(study: Any, system: UnitSystem = "us") -> pd.DataFrame:
    """Make the table of sight triangles: who must be seen, how far it is clear, what is short.

    Returns
    -------
    DataFrame
        Columns ``stream, who, seen_m, asked_m, short_m, verdict``; a row for every turn that
        is made in front of a stream.
    """
    seeing, names = study.seeing, name_streams(study.streams)
    step = study.numbers["seeing"].value("step_m")
    rows = []
    for r, name in enumerate(names):
        for i, who in enumerate(_WHO):
            seen, asked = float(seeing.triangle_seen_m[r, i]), float(seeing.triangle_needed_m[r, i])
            if not np.isfinite(asked):
                continue
            short = max(0.0, min(asked, float(seeing.walked_m[r])) - seen)
            clear = short <= step
            said = f"fails, short by {say_amount(short, 'm', system)}"
            rows.append(
                {"stream": name, "who": who, "seen_m": seen, "asked_m": asked,
                 "short_m": 0.0 if clear else short, "verdict": "clear" if clear else said}
            )  # fmt: skip
    columns = ["stream", "who", "seen_m", "asked_m", "short_m", "verdict"]
    return pd.DataFrame(rows, columns=columns)


def make_sun_table(study: Any) -> pd.DataFrame:
    """Make the table of low sun ahead of drivers, one row per stream that has any."""
    names = name_streams(study.streams)
    told = [(name, said) for name, said in zip(names, study.seeing.sun, strict=True) if said]
    return pd.DataFrame(told, columns=["stream", "said"])


def make_caution_table(study: Any, system: UnitSystem = "us") -> pd.DataFrame:
    """Make the cautions on turning and seeing, one row each, by stream."""
    names = name_streams(study.streams)
    rows = [
        (name, say_lengths(said, system))
        for r, name in enumerate(names)
        for said in (*study.turning.cautions[r], *study.seeing.cautions[r])
    ]
    return pd.DataFrame(rows, columns=["stream", "said"])


def make_drive_table(study: Any, stream: int, system: UnitSystem = "us") -> pd.DataFrame:
    """Make the stretches of one stream's way in which each thing is in view or hidden.

    Parameters
    ----------
    study : Study
        With rays kept.
    stream : int
        Row of its streams.
    system : {"us", "metric"}

    Returns
    -------
    DataFrame
        Columns ``what, start, end, view, view_m``; start and end in the reader's unit before
        the driveway, the farther first; ``view_m`` is the stretch's length.
    """
    from capture.seeing import make_strip

    speed = float(study.streams.speed_mps[stream])
    strip = make_strip(study.seeing, stream, speed_mps=speed, values=study.numbers["seeing"])
    distance = strip["distance_m"].to_numpy(dtype=np.float64)
    rows = []
    for column, what in LOOKED_AT.items():
        seen = strip[column].to_numpy(dtype=bool)
        bounds = [0, *(np.flatnonzero(np.diff(seen.astype(np.int8)) != 0) + 1), len(seen)]
        for start, end in pairwise(bounds):
            until = float(distance[end]) if end < len(distance) else 0.0
            rows.append((what, float(distance[start]), until, _say_view(column, seen[start])))
    table = pd.DataFrame(rows, columns=["what", "from_m", "to_m", "view"])
    return table.assign(
        start=[convert_out(value, "m", system)[0] for value in table["from_m"]],
        end=[convert_out(value, "m", system)[0] for value in table["to_m"]],
        view_m=table["from_m"] - table["to_m"],
    )


def _say_view(column: str, seen: bool) -> str:
    if column == "readable":
        return "can be read" if seen else "too small or hidden"
    return "in view" if seen else "hidden"


def make_drive_events(study: Any, stream: int, system: UnitSystem = "us") -> pd.DataFrame:
    """Make what a driver meets on the way, in order, numbered.

    Returns
    -------
    DataFrame
        Columns ``number, seconds, distance_m, at, what, drawn``; ``at`` in the reader's unit,
        ``drawn`` whether it is a place and not a thing coming into view.
    """
    events = _join_starts(make_approach(study, stream).events)
    drawn = ~events["what"].str.contains("view|not seen", regex=True)
    table = events.assign(
        number=range(1, len(events) + 1),
        at=[convert_out(value, "m", system)[0] for value in events["distance_m"]],
        drawn=drawn,
    )
    return table[["number", "seconds", "distance_m", "at", "what", "drawn"]]


def _join_starts(events: pd.DataFrame) -> pd.DataFrame:
    """Say in one row what is in view from the start on."""
    at_start = events["what"].str.endswith(_FROM_START)
    if at_start.sum() < 2:
        return events
    names = [what.removesuffix(_FROM_START) for what in events.loc[at_start, "what"]]
    first = (
        events[at_start]
        .iloc[[0]]
        .assign(
            what=f"{', '.join(names[:-1])} and {names[-1]} are in view from where the walk starts"
        )
    )
    joined = pd.concat([first, events[~at_start]])
    return joined.sort_values("distance_m", ascending=False, kind="stable", ignore_index=True)


def make_change_table(trial: Any, system: UnitSystem = "us") -> pd.DataFrame:
    """Make the table of what one change on the ground does, before and after, in words.

    Parameters
    ----------
    trial : WhatIf
        One change.
    system : {"us", "metric"}

    Returns
    -------
    DataFrame
        Columns ``what, before, after``, ranges in brackets.
    """
    from capture.papers.rival_tables import make_trial_table

    told = make_trial_table(trial, system=system)
    told = told[~told["what"].isin(["pull of rivals", "rival passed first"])]
    old, new = trial.before, trial.after
    rows = [
        (words, *(say_amount(each.factors[name], unit, system, digits=2) for each in (old, new)))
        for name, words, unit in (
            ("delay", "lost turning in and going back, average driver", "s"),
            ("sight", "seen in time, average driver", "share"),
        )
        if name in old.factors
    ]
    more = pd.DataFrame(rows, columns=["what", "before", "after"])
    return pd.concat([told, more], ignore_index=True)
