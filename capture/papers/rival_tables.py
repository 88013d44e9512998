"""Which tables lie behind the screen on rivals and people?

Pull rival by rival, who has just passed one of them on the way here, people by driving
time, and where washing from home goes. Amounts in SI with the unit in the column's name.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from capture.around import (
    RIVAL_FORMATS,
    Rivals,
    compute_huff_shares,
    count_in_bands,
    explain_passed,
    explain_pull,
    load_format_table,
    time_homes,
)
from capture.basis import FORMATS, Range, Sheet, UnitSystem
from capture.papers.words import say_amount, say_number

FloatArray = NDArray[np.float64]
NO_NAME: Final = "wash without a name"
#: rivals named in the reason of one stream
_NAMED: Final = 3
#: shares of a stream too small to name
_FEW: Final = 0.01


def say_format(name: str) -> str:
    """Say a rival's format in plain words.

    Examples
    --------
    >>> say_format("fuel")
    'wash at a fuel station'
    """
    return load_format_table().words.get(name, name)


def make_pull_table(study: Any) -> pd.DataFrame:
    """Make the table of rivals, the strongest pull first; pulls add up to the site's.

    Returns
    -------
    DataFrame
        Columns ``id, name, kind, status, minutes, likeness, pull, pull_share, price_usd,
        open_hours_day, opened, source``; ``pull_share`` is the part of the whole pull.
    """
    table = explain_pull(study.rivals, study.around, values=study.numbers["around"])
    whole = float(table["pull"].sum())
    return pd.DataFrame(
        {
            "id": table["id"],
            "name": [name or NO_NAME for name in table["name"]],
            "kind": table["words"],
            "status": table["status"],
            "minutes": table["minutes"],
            "likeness": table["likeness"],
            "pull": table["pull"],
            "pull_share": table["pull"] / whole if whole > 0 else 0.0 * table["pull"],
            "price_usd": table["price_usd"],
            "open_hours_day": table["open_hours_day"],
            "opened": table["opened"],
            "source": table["source"],
        }
    )


def make_likeness_table() -> pd.DataFrame:
    """Make the table of how alike each kind of rival is taken to be to each kind planned.

    Returns
    -------
    DataFrame
        Column ``kind`` and one column a format, likeness 0-1.
    """
    table = load_format_table()
    rows = [
        {
            "kind": table.words[name],
            **{planned: table.likeness[name][planned] for planned in FORMATS},
        }
        for name in RIVAL_FORMATS
    ]
    return pd.DataFrame(rows)


def make_passed_table(study: Any) -> pd.DataFrame:
    """Make the table of streams by the part that has just passed a rival, and which.

    Returns
    -------
    DataFrame
        Columns ``road, side, vehicles_per_day, passed_share, why``; ``passed_share`` counts
        each rival by its likeness, the percentages in ``why`` are of all vehicles.
    """
    streams, around = study.streams, study.around
    rows = []
    for r in range(len(streams.edge)):
        found = explain_passed(
            study.place, study.volumes, streams, study.rivals, around,
            stream=r, values=study.numbers["around"],
        )  # fmt: skip
        rows.append(
            {
                "road": streams.road[r] or "road without a name",
                "side": "near" if bool(streams.near_side[r]) else "far",
                "vehicles_per_day": float(streams.vehicles_per_day[r]),
                "passed_share": float(around.passed_first_share[r]),
                "why": _say_passed(found),
            }
        )
    return pd.DataFrame(rows)


def _say_passed(found: pd.DataFrame) -> str:
    named = found[found["share"] >= _FEW].head(_NAMED)
    if not len(named):
        return "next to nobody on it has come past another wash"
    return "; ".join(
        f"{say_number(100 * row['share'], digits=2)} % come past {row['name'] or NO_NAME} "
        f"({say_format(str(row['format']))}, likeness {say_number(row['likeness'], digits=2)})"
        for row in named.to_dict("records")
    )


def make_people_table(study: Any) -> pd.DataFrame | None:
    """Make the table of who lives within each driving time; None without a people layer.

    Returns
    -------
    DataFrame
        Columns ``within_min, people, households, vehicles, income_usd`` (a household's, a
        year), each band with the ones before it.
    """
    bands = count_in_bands(study.area, study.place, study.sites, values=study.numbers["around"])
    if bands is None:
        return None
    return pd.DataFrame(
        {
            "within_min": bands.limits_s / 60,
            **{name: bands.amounts[name][0] for name in ("people", "households", "vehicles")},
            "income_usd": bands.income_per_household[0],
        }
    )


def make_home_table(study: Any) -> pd.DataFrame | None:
    """Make the table of where washing from homes in the band would go, the most first.

    Returns
    -------
    DataFrame or None
        Columns ``name, kind, minutes, share``; the site's own row comes first, the shares
        add up to 1; None without a people layer.

    Notes
    -----
    The gravity model of the room on rivals, opened up: the site's own share is the one
    that it tells.
    """
    values: Sheet = study.numbers["around"]
    rivals: Rivals = study.rivals.take(np.asarray(study.around.counted, dtype=bool))
    homes = time_homes(
        study.area, study.place, _Spots(study.sites, rivals),
        limit_s=values.value("huff_limit_s"), values=values,
    )  # fmt: skip
    if homes is None:
        return None
    table = load_format_table()
    size = np.concatenate(
        [
            table.measure_size([study.offer.format], [study.offer.bays]),
            table.measure_size(rivals.formats, rivals.bays),
        ]
    )
    inside = homes.seconds[0] <= values.value("band_s")
    parts = compute_huff_shares(
        size, homes.seconds[:, inside].T,
        power=values.value("huff_power"), floor_s=values.value("huff_floor_s"),
    )  # fmt: skip
    weight = homes.households[inside]
    if not weight.sum() > 0:
        return None
    share = np.average(parts, axis=0, weights=weight)
    counted = np.asarray(study.around.counted, dtype=bool)
    seconds = np.concatenate([[0.0], np.asarray(study.around.rival_seconds)[0][counted]])
    found = pd.DataFrame(
        {
            "name": ["this site", *(name or NO_NAME for name in rivals.names)],
            "kind": [say_format(name) for name in (study.offer.format, *rivals.formats)],
            "minutes": np.where(np.isfinite(seconds), seconds / 60, np.nan),
            "share": share,
        }
    )
    others = found.iloc[1:].sort_values("share", ascending=False, kind="stable")
    return pd.concat([found.iloc[:1], others], ignore_index=True)


def find_near(rivals: Rivals, place: Any, lat: float, lon: float, *, within_m: float) -> str:
    """Return the id of the nearest rival within so many metres of a spot, "" for none."""
    if not len(rivals):
        return ""
    x, y = place.network.projection.to_xy([lat], [lon])
    apart = np.hypot(rivals.x - x[0], rivals.y - y[0])
    nearest = int(np.argmin(apart))
    return rivals.ids[nearest] if apart[nearest] <= within_m else ""


def make_trial_table(trial: Any, *, system: UnitSystem = "us") -> pd.DataFrame:
    """Make the table of what one change does, before and after, in words.

    Parameters
    ----------
    trial : WhatIf
        From :func:`capture.chain.whatif.compare`.
    system : {"us", "metric"}

    Returns
    -------
    DataFrame
        Columns ``what, before, after``, ranges in brackets.
    """
    old, new = trial.before, trial.after
    rows = [
        (words, _say_range(getattr(old, name), system), _say_range(getattr(new, name), system))
        for words, name in (
            ("share washed", "share"),
            ("cars that want to be washed", "cars_per_day"),
            ("years to pay back", "payback_years"),
        )
    ]
    for name, words in (("pull", "pull of rivals"), ("passed_first", "rival passed first")):
        unit = "share" if name == "passed_first" else "1"
        if name in old.factors:
            said = [say_amount(each.factors[name], unit, digits=2) for each in (old, new)]
            rows.append((words, said[0], said[1]))
    return pd.DataFrame(rows, columns=["what", "before", "after"])


def _say_range(number: Range, system: UnitSystem) -> str:
    unit = "1" if number.unit == "years" else number.unit
    middle = say_amount(number.value, unit, system, digits=2)
    low, high = (say_amount(end, unit, system, digits=2) for end in (number.low, number.high))
    return f"{middle} ({low} to {high})"


class _Spots:
    """The site and its rivals as one list of points."""

    def __init__(self, sites: Any, rivals: Rivals) -> None:
        self.x: FloatArray = np.concatenate([np.asarray(sites.x), rivals.x])
        self.y: FloatArray = np.concatenate([np.asarray(sites.y), rivals.y])
