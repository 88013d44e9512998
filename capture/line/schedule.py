"""What does an equipment bidder need to price the line, and an engineer to start from?

Rows of plain values with the unit in each heading, for a spreadsheet, a CSV file or a
printed table; names are safe in a cell.
"""

from __future__ import annotations

from typing import Final

from capture.basis import Sheet, UnitSystem, convert_out
from capture.basis.text import cell_text
from capture.line.line import Line
from capture.line.reading import usual_catalog
from capture.line.stations import Catalog
from capture.line.values import VALUES

Cell = str | float | int

#: what a row's amounts are: heading, field, SI unit, decimals
_AMOUNTS: Final = (
    ("starts at", "start_m", "m", 1),
    ("length", "length_m", "m", 1),
    ("works on, each", "wetted_m", "m", 1),
    ("power", "power_w", "w", 1),
    ("water while on", "flow_m3s", "m3s", 1),
    ("pressure", "pressure_pa", "pa", 0),
)


def list_schedule(
    line: Line,
    *,
    units: UnitSystem = "us",
    catalog: Catalog | None = None,
) -> list[dict[str, Cell]]:
    """List the stations of one line as rows of a schedule.

    Parameters
    ----------
    line : Line
    units : {"us", "metric"}
        What amounts are given in; the unit stands in each heading.
    catalog : Catalog, optional
        Which stations belong to which package; by default the usual one.

    Returns
    -------
    list of dict
        One row per station in order: number, station, quantity, position, length, seconds
        from entry, power, water, pressure, kind of water, chemistry, whether the shorter
        package has it too, and notes. A last row sums up. Empty for bays.

    Examples
    --------
    >>> from capture.basis import Offer
    >>> from capture.line import size_line
    >>> rows = list_schedule(size_line(98.0, Offer()))
    >>> rows[2]["station"], rows[2]["quantity"], rows[-1]["station"]
    ('wheel and tyre cleaner', 2, 'whole line')
    """
    catalog = catalog or usual_catalog()
    always = [set(one.stations) for one in catalog.packages.values() if line.format in one.formats]
    rows: list[dict[str, Cell]] = []
    for number, one in enumerate(line.stations, start=1):
        row: dict[str, Cell] = {
            "no.": number,
            "station": cell_text(one.name),
            "quantity": one.count,
            "from entry (s)": round(one.enters_s, 1),
        }
        for heading, field, unit, digits in _AMOUNTS:
            amount, label = convert_out(getattr(one, field), unit, units)
            row[f"{heading} ({label})"] = round(amount, digits)
        row["kind of water"] = "" if one.water == "none" else one.water.replace("_", "-")
        row["chemistry"] = cell_text(one.chemistry)
        row["required"] = "yes" if all(one.id in ids for ids in always) else "by package"
        row["notes"] = cell_text(_note(line, number - 1))
        rows.append(row)
    if rows:
        rows.append(_total(line, rows[0], units))
    return rows


def _note(line: Line, index: int) -> str:
    one = line.stations[index]
    said = [one.purpose]
    if one.is_over_another:
        said.append("shares another station's zone")
    if one.spacing_m:
        said.append(f"applicators {one.spacing_m / 0.0254:.0f} in ({one.spacing_m:.2f} m) apart")
    if one.side_effects:
        said.append(one.side_effects)
    return "; ".join(said)


def _total(line: Line, like: dict[str, Cell], units: UnitSystem) -> dict[str, Cell]:
    row: dict[str, Cell] = dict.fromkeys(like, "")
    row["station"] = "whole line"
    row["quantity"] = line.lines
    row["from entry (s)"] = round(line.line_s, 1)
    for heading, field, unit, digits in _AMOUNTS:
        if field in ("length_m", "power_w", "flow_m3s"):
            amount = sum(getattr(one, field) for one in line.stations)
            number, label = convert_out(amount, unit, units)
            row[f"{heading} ({label})"] = round(number, digits)
    row["notes"] = "water of all stations at once; the peak that overlaps is smaller"
    return row


def list_assumptions(
    line: Line, *, units: UnitSystem = "us", values: Sheet = VALUES
) -> list[dict[str, Cell]]:
    """List what the schedule stands on: speed, pitch, loading, lengths, broken rules, sources.

    Returns
    -------
    list of dict
        ``item``, ``value``, ``unit``, ``source``.
    """
    amounts = (
        ("cars an hour asked for", line.needed_cars_per_hour, "cars/h", "design hour"),
        ("cars an hour sustained", line.cars_per_hour, "cars/h", "speed / pitch x loading"),
        ("lines or bays", float(line.lines), "", "sized"),
        ("chain speed", line.chain_speed_mps, "chain_mps", "sized"),
        ("pitch", line.pitch_m, "m", values["pitch_m"].source),
        ("line length", line.length_m, "m", "sum of zones"),
        ("conveyor length", line.conveyor_length_m, "m", values["conveyor_beyond_m"].source),
        ("building length", line.building_length_m, "m", values["building_margin_m"].source),
        ("building width", line.building_width_m, "m", values["building_width_m"].source),
        ("share of places filled", line.loading_share, "share", "who loads; common practice"),
        ("seconds in the line", line.line_s, "s", "length / speed"),
        ("installed equipment", line.capital_usd, "USD", line.sources[-1]),
    )
    rows: list[dict[str, Cell]] = []
    for item, amount, unit, source in amounts:
        number, label = convert_out(amount, unit, units)
        rows.append({"item": item, "value": round(number, 2), "unit": label, "source": source})
    said = [("advice not kept", str(one)) for one in line.rule_breaks]
    said += [("caution", one) for one in line.cautions]
    rows += [
        {"item": item, "value": cell_text(words), "unit": "", "source": "common practice"}
        for item, words in said
    ]
    return rows
