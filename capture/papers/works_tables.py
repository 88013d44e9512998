"""What must be piped, wired and placed: tables of utilities, ground and the line's schedule.

Utilities stand in groups, each with the caution that belongs to it. Assumes a finished study.
"""

from __future__ import annotations

from typing import Any, Final

import pandas as pd

from capture.basis import UnitSystem
from capture.papers.withheld import hide_cells, is_withheld
from capture.papers.words import TRADE_UNITS

#: group -> topics of the figures in it
GROUPS: Final[dict[str, tuple[str, ...]]] = {
    "Water": ("water", "plumbing"),
    "Drains and tanks": ("discharge",),
    "Heat": ("heat",),
    "Power": ("power",),
    "Air": ("air",),
    "Noise": ("noise",),
}
#: answers of a site that may be changed, with their heading
ANSWER_FIELDS: Final[dict[str, str]] = {
    "status": "answer",
    "who": "who said so",
    "date": "when",
    "cost_low_usd": "least cost, $",
    "cost_high_usd": "most cost, $",
    "months_low": "least months",
    "months_high": "most months",
    "note": "note",
}
_AMOUNTS: Final = ("cost_low_usd", "cost_high_usd", "months_low", "months_high")


def make_group_tables(utilities: Any) -> dict[str, tuple[pd.DataFrame, tuple[str, ...]]]:
    """Make utility figures by group: table and the cautions that stand beside it."""
    known = {topic for topics in GROUPS.values() for topic in topics}
    groups = dict(GROUPS)
    other = tuple({one.topic for one in utilities.figures.values()} - known)
    if other:
        groups["Other"] = other
    found = {}
    for name, topics in groups.items():
        rows = [
            (one, key if key in TRADE_UNITS else one.range.unit)
            for key, one in utilities.figures.items()
            if one.topic in topics
        ]
        if rows:
            table = pd.DataFrame(
                [
                    {"what": one.label, "value": one.range.value, "low": one.range.low,
                     "high": one.range.high, "unit": unit, "source": one.source}
                    for one, unit in rows
                ]
            )  # fmt: skip
            found[name] = table, tuple(dict.fromkeys(one.caution for one, _ in rows))
    return found


def make_motor_table(utilities: Any) -> pd.DataFrame:
    """Make the motor list: name, how many, rated power of one, full-load amperes of one."""
    return pd.DataFrame(
        [
            {"name": one.name, "count": one.count, "power_w": one.power_w,
             "full_load_a": one.full_load_a, "drive": "on a drive" if one.on_drive else ""}
            for one in utilities.motors
        ]
    )  # fmt: skip


def make_pump_table(utilities: Any) -> pd.DataFrame:
    """Make what each watered station's pump must do."""
    return pd.DataFrame(
        [
            {"station": one.station, "flow_m3s": one.flow_m3s, "pressure_pa": one.pressure_pa,
             "shaft_w": one.shaft_w, "listed_w": one.listed_w}
            for one in utilities.pumps
        ]
    )  # fmt: skip


def make_timeline_table(utilities: Any) -> pd.DataFrame:
    """Make water at the nozzles against what every station on at once would take, m3/s."""
    usage = utilities.usage
    return pd.DataFrame(
        {
            "what": ["at any moment at most", "busiest minute, mean", "all stations at once"],
            "flow_m3s": [usage.peak_m3s["all"], usage.minute_m3s["all"], usage.sum_m3s],
        }
    )


def make_short_table(ground: Any) -> pd.DataFrame:
    """Make what is short on the parcel: what, amount, unit; empty when all fits."""
    short = ground.shortfall
    rows = (
        ("building too long by", short.building_m, "m"),
        ("lanes for the queue short by", short.stacking_m, "m"),
        ("vacuum bays short by", float(short.vacuum_bays), "count"),
        ("every edge would have to stand farther out by", short.edge_m, "m"),
        ("parcel smaller than usual by", short.area_m2, "m2"),
    )
    return pd.DataFrame(
        [{"what": what, "value": value, "unit": unit} for what, value, unit in rows if value > 0],
        columns=["what", "value", "unit"],
    )


def make_answer_table(ground: Any) -> pd.DataFrame:
    """Make the table in which deal-breakers are answered, by key."""
    rows = []
    for row in ground.to_rows():
        shown = {"key": row["key"], "question": row["item"], "whom to ask": row["ask"]}
        for field, heading in ANSWER_FIELDS.items():
            shown[heading] = row[field] or (None if field in _AMOUNTS else "")
        shown["usually"] = (
            f"${row['usual_cost_low_usd'] / 1000:.0f}-{row['usual_cost_high_usd'] / 1000:.0f}k, "
            f"{row['usual_months_low']:.0f}-{row['usual_months_high']:.0f} months"
            if row["usual_cost_high_usd"]
            else row["effect"]
        )
        rows.append(shown)
    table = pd.DataFrame(rows).set_index("key")
    for field in _AMOUNTS:
        table[ANSWER_FIELDS[field]] = table[ANSWER_FIELDS[field]].astype("float64")
    return table


def read_answer_table(before: pd.DataFrame, after: pd.DataFrame) -> dict[str, dict[str, Any]]:
    """Read the rows that were changed back, as keyword arguments of an answer, by key."""
    changed: dict[str, dict[str, Any]] = {}
    for key in after.index:
        old = [_plain(before.at[key, heading]) for heading in ANSWER_FIELDS.values()]
        new = [_plain(after.at[key, heading]) for heading in ANSWER_FIELDS.values()]
        if old != new:
            told = dict(zip(ANSWER_FIELDS, new, strict=True))
            changed[str(key)] = {
                field: value
                for field, value in told.items()
                if field == "status" or value not in (None, "")
            }
    return changed


def _plain(value: Any) -> Any:
    if value is None or value is pd.NA or (isinstance(value, float) and pd.isna(value)):
        return None
    return value if isinstance(value, str) else float(value)


def make_schedule_tables(study: Any, system: UnitSystem = "us") -> dict[str, pd.DataFrame]:
    """Make the sheets of a line schedule that a bidder can price, by name."""
    from capture.line import list_assumptions, list_schedule

    line, utilities = study.line, study.utilities
    groups = make_group_tables(utilities)
    figures = [table.assign(group=name) for name, (table, _) in groups.items()]
    said = [
        {"group": name, "caution": caution}
        for name, (_, cautions) in groups.items()
        for caution in cautions
    ]
    said += [{"group": "Line", "caution": one} for one in (*line.cautions, *study.queue.cautions)]
    assumed = pd.DataFrame(list_assumptions(line, units=system, values=study.numbers["line"]))
    sheets = {
        "Schedule": pd.DataFrame(list_schedule(line, units=system)),
        "Assumptions": hide_cells(assumed, study) if is_withheld(study) else assumed,
        "Utilities": pd.concat(figures, ignore_index=True),
        "Motors": make_motor_table(utilities),
        "Pumps": make_pump_table(utilities),
        "Cautions": pd.DataFrame(said),
    }
    return {name: table for name, table in sheets.items() if len(table)}


def render_schedule(study: Any, system: UnitSystem = "us") -> bytes:
    """Render the line schedule as an XLSX workbook; the same study gives the same bytes."""
    from capture.papers.workbook import render_sheets

    return render_sheets(study, make_schedule_tables(study, system))
