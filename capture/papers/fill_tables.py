"""How are roads without a count estimated, and how well did that do where counts were hidden?

Tables that explain the gap-filling line to a reader, and the 84 cells and design hours of a
continuous station.
"""

from __future__ import annotations

import math
from typing import Any, Final

import numpy as np
import pandas as pd

from capture.papers.words import say_number

Z95: Final = 1.6448536269514722
#: term of the line -> what it says, by how much the term is moved to say it
_STEPS: Final = {
    "lanes": ("twice the lanes", math.log(2.0)),
    "speed": ("a fifth faster than its class", math.log(1.2)),
    "through": ("one step more through traffic (a standard deviation)", 1.0),
    "link": ("a ramp instead of a road", 1.0),
    "oneway": ("one-way instead of both ways", 1.0),
}
_CLASS_WORDS: Final = {"living_street": "living street"}
_GROUP_WORDS: Final = ("bigger roads", "collectors", "local streets")


def make_effect_table(model: Any) -> pd.DataFrame:
    """Make the table of what each trait of a road does to its estimate.

    Returns
    -------
    DataFrame
        Columns ``trait, factor, low, high, sentence``; ``factor`` multiplies vehicles a day.
    """
    table = model.table().set_index("term")
    rows = []
    for term, (trait, step) in _STEPS.items():
        mean, sd = float(table.at[term, "mean"]) * step, float(table.at[term, "sd"]) * step
        factor = math.exp(mean)
        low, high = math.exp(mean - Z95 * sd), math.exp(mean + Z95 * sd)
        rows.append(
            {
                "trait": trait, "factor": factor, "low": low, "high": high,
                "sentence": f"{say_number(factor)} times the vehicles "
                f"({say_number(low)} to {say_number(high)})",
            }
        )  # fmt: skip
    return pd.DataFrame(rows, columns=["trait", "factor", "low", "high", "sentence"])


def make_class_table(model: Any) -> pd.DataFrame:
    """Make the table of what an ordinary road of each class is estimated to carry.

    Returns
    -------
    DataFrame
        Columns ``road_class, vehicles_per_day, low, high``: two lanes, the usual speed,
        ordinary through traffic; the range holds nine roads of ten.
    """
    names = list(model.names)
    rows = []
    for name in names[1 : names.index("lanes")]:
        design = np.zeros((1, len(names)))
        design[0, 0] = design[0, names.index(name)] = 1.0
        mean, sd = (float(part[0]) for part in model.predict(design))
        rows.append(
            {
                "road_class": _CLASS_WORDS.get(name, name),
                "vehicles_per_day": math.exp(mean),
                "low": math.exp(mean - Z95 * sd),
                "high": math.exp(mean + Z95 * sd),
            }
        )
    return pd.DataFrame(rows, columns=["road_class", "vehicles_per_day", "low", "high"])


def make_held_table(model: Any) -> pd.DataFrame:
    """Make the table of counts held out in space: what was said of each without it.

    Returns
    -------
    DataFrame
        Columns ``counted, said, low, high, group, inside``, vehicles a day; empty when there
        are too few counts to hold any out.
    """
    held = model.held_out.dropna()
    spread = held["sd"].to_numpy() * np.asarray(model.scale)[held["group"].to_numpy(dtype=int)]
    spread = np.hypot(spread, held["count_sd"].to_numpy())
    mean, log_count = held["mean"].to_numpy(), held["log_count"].to_numpy()
    return pd.DataFrame(
        {
            "counted": np.exp(log_count),
            "said": np.exp(mean),
            "low": np.exp(mean - Z95 * spread),
            "high": np.exp(mean + Z95 * spread),
            "group": [_GROUP_WORDS[int(k)] for k in held["group"]],
            "inside": np.abs(log_count - mean) <= Z95 * spread,
        }
    )


def make_check_table(model: Any) -> pd.DataFrame:
    """Make the table of how well the estimate did on counts held out, by kind of road.

    Returns
    -------
    DataFrame
        Columns ``group, counts, typical_miss, half_within, level, inside, coverage``; misses
        are factors (1.3 is 30 % off), coverage is the share inside the 90 % range.
    """
    held = make_held_table(model)
    rows = []
    for group in ("all roads", *_GROUP_WORDS):
        of = held if group == "all roads" else held[held["group"] == group]
        if len(of) == 0:
            continue
        off = np.log((of["counted"] / of["said"]).to_numpy(dtype=np.float64))
        rows.append(
            {
                "group": group,
                "counts": len(of),
                "typical_miss": math.exp(math.sqrt(float((off**2).mean()))),
                "half_within": math.exp(float(np.median(np.abs(off)))),
                "level": math.exp(float(off.mean())),
                "inside": int(of["inside"].sum()),
                "coverage": float(of["inside"].mean()),
            }
        )
    names = ["group", "counts", "typical_miss", "half_within", "level", "inside", "coverage"]
    return pd.DataFrame(rows, columns=names)


def say_model(model: Any) -> str:
    """Say how roads without a count are estimated, and how well, in a few sentences."""
    if model.counts == 0:
        return (
            "No count stands in this area, so every road is estimated from typical volumes of "
            "its class alone."
        )
    checks = make_check_table(model)
    told = (
        "Roads without a count are estimated from class, lanes, speed and through traffic, set "
        f"by {model.counts} counts."
    )
    if len(checks) == 0:
        return told + " There are too few counts to hold some out and check it."
    row = checks.iloc[0]
    return told + (
        f" When counts were hidden block by block and estimated from the rest, the typical miss "
        f"was a factor of {say_number(row['typical_miss'])}, and {int(row['inside'])} of "
        f"{int(row['counts'])} ({row['coverage']:.0%}) lay inside their 90 % range."
    )


def make_station_day_table(stations: pd.DataFrame) -> pd.DataFrame:
    """Make the table of average days of continuous stations: by the book beside the plain mean.

    Returns
    -------
    DataFrame
        Columns ``station, average_of_averages, plain_mean, by_hours, days, incomplete_days,
        empty_cells``; the averages in words, to the vehicle, since they differ by little.
    """
    table = stations[["station", "average_of_averages", "plain_mean", "by_hours", "days",
                      "incomplete_days"]].copy()  # fmt: skip
    for name in ("average_of_averages", "plain_mean", "by_hours"):
        table[name] = [f"{v:,.0f}" if math.isfinite(v) else "not known" for v in stations[name]]
    table["empty_cells"] = [text or "none" for text in stations["empty_cells"]]
    return table


def make_design_table(stations: pd.DataFrame) -> pd.DataFrame:
    """Make the table of K and D by rank of the hour, one row per station and rank.

    Returns
    -------
    DataFrame
        Columns ``station, rank, k, d``: K is that hour's share of the average day, D the
        busier direction's share of that hour; NaN for one direction.
    """
    ranks = [int(name[1:]) for name in stations.columns if name[0] == "k" and name[1:].isdigit()]
    rows = [
        {"station": row["station"], "rank": rank, "k": row[f"k{rank}"], "d": row[f"d{rank}"]}
        for row in stations.to_dict("records")
        for rank in sorted(ranks)
        if math.isfinite(float(row[f"k{rank}"]))
    ]
    return pd.DataFrame(rows, columns=["station", "rank", "k", "d"])


def make_cell_table(average: Any) -> pd.DataFrame:
    """Make the table of the 84 month x weekday cells of a continuous station.

    Returns
    -------
    DataFrame
        Columns ``month, weekday, days, mean_day, over_average, label``; ``label`` is the
        cell in hundredths of the average day, "none" without a day.
    """
    table = average.table()
    over = table["mean_day"] / average.aadt
    told: pd.DataFrame = table.assign(
        over_average=over,
        label=[f"{100 * value:.0f}" if math.isfinite(value) else "none" for value in over],
    )
    return told
