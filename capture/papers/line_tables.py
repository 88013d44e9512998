"""Which line, which bays, and what else could be built? Tables behind the line's pictures.

Each in SI with the unit in the column's name; what is edited is said in the reader's units
and read back. Assumes a study that has at least its line.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any, Final

import numpy as np
import pandas as pd

from capture.basis import InputError, UnitSystem, convert_in, convert_out

#: field of a station, heading, unit as stored, decimals shown
EDITED: Final = (
    ("count", "at least", "count", 0),
    ("body_m", "body", "m", 1),
    ("each_m", "more each", "m", 2),
    ("zone_s", "zone, s", "s", 1),
    ("contact_s", "contact, s", "s", 1),
    ("wetted_m", "works on", "m", 2),
    ("flow_m3s", "water each", "m3s", 2),
    ("pressure_pa", "pressure", "pa", 0),
    ("power_w", "power each", "w", 2),
    ("cost_usd", "cost each, $", "USD", 0),
)
_PLAIN: Final = ("count", "s", "USD")
#: lines side by side that are compared
_MOST_LINES: Final = 3


def _head(heading: str, unit: str, system: UnitSystem) -> str:
    return heading if unit in _PLAIN else f"{heading}, {convert_out(0.0, unit, system)[1]}"


def list_edit_columns(system: UnitSystem) -> dict[str, str]:
    """Return field -> heading of what may be changed of a station."""
    return {field: _head(head, unit, system) for field, head, unit, _ in EDITED}


def make_edit_table(stations: Sequence[Any], system: UnitSystem) -> pd.DataFrame:
    """Make the table in which stations are changed, in order, in the reader's units."""
    rows = []
    for number, one in enumerate(stations, start=1):
        row: dict[str, Any] = {"id": one.id, "place": float(number), "station": one.name}
        for field, heading, unit, digits in EDITED:
            amount = float(getattr(one, field))
            shown = amount if unit in _PLAIN else convert_out(amount, unit, system)[0]
            row[_head(heading, unit, system)] = round(shown, digits)
        row["hangs over"] = one.with_station
        rows.append(row)
    return pd.DataFrame(rows).set_index("id")


def read_edit_table(
    before: pd.DataFrame, after: pd.DataFrame, system: UnitSystem
) -> tuple[list[str], dict[str, dict[str, float]]]:
    """Read a changed table back: ids in their order, and changed fields by id in SI.

    Raises
    ------
    InputError
        When a cell is empty.
    """
    order = after["place"].astype(float)
    if order.isna().any():
        raise InputError("stations: place must be a number in every row; 2.5 stands after 2")
    changed: dict[str, dict[str, float]] = {}
    for field, heading, unit, _ in EDITED:
        name = _head(heading, unit, system)
        was = before[name].to_dict()
        for station, new in after[name].to_dict().items():
            if new is None or math.isnan(float(new)):
                raise InputError(f"stations: {name} of {station} is empty; type a number")
            if new != was[station]:
                amount = float(new) if unit in _PLAIN else convert_in(float(new), unit, system)
                value = int(amount) if field == "count" else amount
                changed.setdefault(str(station), {})[field] = value
    ids = order.sort_values(kind="stable").index
    return [str(station) for station in ids], changed


def make_frontier_table(study: Any, *, catalog: Any = None, package: str | None = None) -> Any:
    """Make length against cars an hour against cost, and the row that is chosen.

    Returns
    -------
    (DataFrame, dict)
        One row per chain speed that can pay off, with the package in words; and the
        study's own line.
    """
    from capture.line import list_frontier, make_frontier, usual_catalog

    book = catalog or usual_catalog()
    frontier = make_frontier(
        study.offer, package=package, catalog=book, values=study.numbers["line"]
    )
    table = pd.DataFrame(list_frontier(frontier))
    table["package"] = [book.packages[name].name for name in table["package"]]
    line = study.line
    own = {
        "cars_per_hour": line.cars_per_hour / line.lines,
        "length_m": line.length_m,
        "chain_speed_mps": line.chain_speed_mps,
        "capital_usd": line.capital_usd / line.lines,
        "lines": line.lines,
    }
    return table, own


def find_most_cars(
    study: Any, limit_m: float, *, catalog: Any = None, package: str | None = None
) -> Any:
    """Find the line that carries the most cars in a given length.

    Raises
    ------
    InputError
        When not even the shortest line fits.
    """
    from capture.line import size_line

    return size_line(
        1e4, study.offer.change(building_limit_m=limit_m), package=package, catalog=catalog,
        values=study.numbers["line"],
    )  # fmt: skip


def make_parallel_table(
    study: Any, *, catalog: Any = None, package: str | None = None
) -> pd.DataFrame:
    """Make the design hour spread over one, two and three lines, one row each."""
    from capture.line import size_line

    offer = study.offer.change(building_limit_m=None)
    values, needed = study.numbers["line"], float(study.line.needed_cars_per_hour)
    rows = []
    for lines in range(1, _MOST_LINES + 1):
        one = size_line(needed / lines, offer, package=package, catalog=catalog, values=values)
        width = one.building_width_m + (lines - 1) * values.value("second_line_width_m")
        rows.append(
            {
                "lines": lines * one.lines,
                "length_m": one.length_m,
                "chain_speed_mps": one.chain_speed_mps,
                "cars_per_hour": one.cars_per_hour * lines,
                "building_length_m": one.building_length_m,
                "building_width_m": width,
                "capital_usd": one.capital_usd * lines,
                "seconds": one.line_s,
            }
        )
    return pd.DataFrame(rows).drop_duplicates("lines", keep="first", ignore_index=True)


def make_format_table(study: Any) -> pd.DataFrame:
    """Make the design hour as every kind of wash would meet it, one row each."""
    from capture.basis import FORMAT_WORDS, FORMATS
    from capture.line import count_bays_needed, size_line

    values, hour = study.numbers["line"], float(study.design_hour_cars)
    rows = []
    for kind in FORMATS:
        offer = study.offer.change(format=kind, building_limit_m=None)
        if not offer.is_conveyor:
            offer = offer.change(bays=_bound_bays(count_bays_needed(hour, offer, values=values)))
        line = size_line(hour, offer, values=values)
        rows.append(
            {
                "kind": FORMAT_WORDS[kind],
                "built": f"{line.bays} bays" if line.bays else
                         f"{line.lines} line{'s' if line.lines > 1 else ''}",
                "length_m": line.length_m if not line.bays else np.nan,
                "building_length_m": line.building_length_m,
                "cars_per_hour": line.cars_per_hour,
                "seconds": line.line_s,
                "capital_usd": line.capital_usd,
            }
        )  # fmt: skip
    return pd.DataFrame(rows)


def _bound_bays(bays: Any) -> int:
    return int(np.clip(int(bays), 1, 40))


def make_bays_table(study: Any) -> pd.DataFrame:
    """Make the share of arrivals that find all bays taken in the design hour, by bays."""
    from capture.line import compute_erlang_b
    from capture.line.bays import holding_s

    hour, offer = float(study.design_hour_cars), study.offer
    load = hour * holding_s(offer, study.numbers["line"]) / 3600
    bays = np.arange(1, max(12, offer.bays + 4) + 1)
    return pd.DataFrame(
        {
            "bays": bays,
            "taken_share": compute_erlang_b(load, bays),
            "chosen": ["built" if one == offer.bays else "" for one in bays],
        }
    )


def make_rule_table(line: Any) -> pd.DataFrame:
    """Make the advice on order and spacing that a line does not keep to, with its reason."""
    return pd.DataFrame(
        [{"found": one.found, "reason": one.reason} for one in line.rule_breaks],
        columns=["found", "reason"],
    )


def make_story_table(line: Any, catalog: Any) -> pd.DataFrame:
    """Make what each station puts on the car, how long it acts, and what else it does."""
    rows = []
    for number, one in enumerate(line.stations, start=1):
        kind = catalog.stations.get(one.id)
        rows.append(
            {
                "number": number,
                "name": one.name,
                "purpose": one.purpose,
                "chemistry": one.chemistry,
                "water": "" if one.water == "none" else one.water.replace("_", "-"),
                "enters_s": one.enters_s,
                "contact_s": one.contact_s if one.contact_s else np.nan,
                "dwell": "" if kind is None or not kind.dwell_low_s else
                         f"{kind.dwell_low_s:.0f} to {kind.dwell_high_s:.0f} s",
                "side_effects": one.side_effects,
            }
        )  # fmt: skip
    return pd.DataFrame(rows)


def make_wait_table(queue: Any, which: str) -> pd.DataFrame:
    """Make waits (``wait_s``) or cars ahead (``queue_cars``) by hour, in long form.

    Returns
    -------
    DataFrame
        ``hour, which, amount``; hours without cars are left out.
    """
    words = ("half of drivers at most", "9 of 10 at most", "19 of 20 at most")
    array = np.asarray(getattr(queue, which))
    table = pd.DataFrame(
        {
            "hour": np.tile(np.arange(24), len(words)),
            "which": np.repeat(words, 24),
            "amount": array.ravel() / (60.0 if which == "wait_s" else 1.0),
        }
    )
    return table.dropna(ignore_index=True)


def make_most_waiting_table(queue: Any) -> pd.DataFrame:
    """Make on what share of days so many cars wait at once or more, by cars."""
    most = np.asarray(queue.most_waiting)
    top = int(max(most.max(initial=0), queue.stacking_places)) + 1
    cars = np.arange(0, top + 1)
    return pd.DataFrame({"cars": cars, "share_of_days": [(most >= one).mean() for one in cars]})


def make_sensitivity_table(
    study: Any, *, days: int = 400, options: Mapping[str, Any] | None = None
) -> pd.DataFrame:
    """Make waits and losses against pay lanes and chain speed, in the same days."""
    from capture.line import compute_queue_sensitivity

    rows = compute_queue_sensitivity(
        study.cars_per_year, study.shape, study.line, study.offer, study.worlds,
        site_id=study.sites.ids[0], days=days, values=study.numbers["line"], **(options or {}),
    )  # fmt: skip
    table = pd.DataFrame(rows)
    usual = study.line.chain_speed_mps
    changed = [
        "built" if abs(speed - usual) < 1e-9 and lanes == study.offer.pay_lanes
        else f"{lanes:.0f} pay lanes" if abs(speed - usual) < 1e-9
        else f"chain {speed / usual - 1:+.0%}"
        for lanes, speed in zip(table["pay_lanes"], table["chain_speed_mps"], strict=True)
    ]  # fmt: skip
    table.insert(0, "changed", changed)
    cars = float(np.mean(study.cars_per_year))
    table["lost_cars_per_year"] = table["lost_share"] * cars
    table["lost_usd_year"] = table["lost_cars_per_year"] * price_car(study)
    return table


def price_car(study: Any) -> float:
    """Return what a washed car leaves in a mature year after what it costs, USD, median."""
    margin = np.asarray(study.money.terms.margin_usd)[:, -12:].sum(axis=1)
    return float(np.median(margin))
