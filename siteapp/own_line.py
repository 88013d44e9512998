"""How do the user's own stations, sales and answers get from a study into the chain?

All are kept as plain values of the study's inputs. What is made of them is kept too, so
that the same values give the same thing.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any, Final

import pandas as pd
import streamlit as st

from capture.basis import DataError

#: name of the list of stations that is not a package's own
OWN: Final = "own"
#: days of sales that a study may hold
MOST_DAYS: Final = 1200


def make_catalog(line: Mapping[str, Any]) -> Any:
    """Make the stations and packages of a study: the usual ones with its own changes.

    Raises
    ------
    InputError
        Naming each fault of the stations.
    """
    from capture.line import Station, usual_catalog

    catalog = usual_catalog()
    for station, fields in line.get("added", {}).items():
        catalog = catalog.add_station(Station(id=station, **fields))
    for station, changed in line.get("changed", {}).items():
        catalog = catalog.change_station(station, **changed)
    for package, told in line.get("packages", {}).items():
        catalog = catalog.save_package(
            package, told["stations"], **_speeds(catalog, told.get("from", "")), name=package,
            reason="a list of your own",
        )  # fmt: skip
    if line.get("stations"):
        catalog = catalog.save_package(
            OWN, line["stations"], **_speeds(catalog, line.get("from", "")), name="own list",
            reason="a list of your own",
        )  # fmt: skip
    return catalog


def _speeds(catalog: Any, base: str) -> dict[str, Any]:
    if base not in catalog.packages:
        return {}
    kept = catalog.packages[base]
    return {
        "slowest_mps": kept.slowest_mps,
        "fastest_mps": kept.fastest_mps,
        "formats": kept.formats,
    }


@st.cache_resource(show_spinner=False, max_entries=32)
def _choice(text: str) -> Any:
    from capture.chain import LineChoice

    line = json.loads(text)
    changed = any(line.get(name) for name in ("added", "changed", "packages", "stations"))
    return LineChoice(
        catalog=make_catalog(line) if changed else None,
        package=OWN if line.get("stations") else line.get("package") or None,
        stacking_places=line.get("stacking_places"),
        plan_lane=bool(line.get("plan_lane")),
        confidence_share=float(line.get("confidence", 0.5)),
        circumstances=("mud_roads",) if line.get("mud_roads") else (),
    )


def get_choice(line: Mapping[str, Any]) -> Any:
    """Return what is chosen of the line.

    Raises
    ------
    CaptureError
        When it is not usable.
    """
    try:
        return _choice(json.dumps(line, sort_keys=True))
    except (TypeError, KeyError, ValueError, AttributeError):
        raise DataError(
            "workspace: the stations of this study are damaged; go back with Undo"
        ) from None


def pack_sales(table: pd.DataFrame) -> list[list[Any]]:
    """Pack sales by hour as one row a day: date, first hour, cars of each hour from it.

    Raises
    ------
    DataError
        When there are too many days.
    """
    rows = []
    for day, hours in table.groupby(table["time"].dt.strftime("%Y-%m-%d"), sort=True):
        cars = dict(zip(hours["time"].dt.hour, hours["cars"], strict=True))
        first, last = min(cars), max(cars)
        rows.append(
            [str(day), int(first), *(float(cars.get(hour, 0)) for hour in range(first, last + 1))]
        )
    if len(rows) > MOST_DAYS:
        raise DataError(f"sales: at most {MOST_DAYS} days are kept, got {len(rows)}; cut the file")
    return rows


@st.cache_resource(show_spinner=False, max_entries=8)
def _sales(text: str) -> Any:
    times, cars = [], []
    for day, first, *hours in json.loads(text):
        start = pd.Timestamp(day)
        times += [start + pd.Timedelta(hours=int(first) + k) for k in range(len(hours))]
        cars += hours
    return pd.DataFrame({"time": times, "cars": pd.array(cars, dtype="float64").to_numpy()})


def get_sales(rows: list[Any]) -> Any:
    """Return a study's own sales by hour, ``time`` and ``cars``; None when it has none."""
    if not rows:
        return None
    try:
        return _sales(json.dumps(rows))
    except (TypeError, ValueError):
        raise DataError("workspace: the sales of this study are damaged; load them again") from None


@st.cache_resource(show_spinner=False, max_entries=32)
def _book(text: str) -> Any:
    from capture.ground import Answer, AnswerBook

    told: dict[str, Any] = {
        parcel: {
            key: Answer(**({"status": value} if isinstance(value, str) else value))
            for key, value in answers.items()
        }
        for parcel, answers in json.loads(text).items()
        if answers
    }
    return AnswerBook(by_parcel=told) if told else None


def get_answers(answers: Mapping[str, Any], parcel: str) -> Any:
    """Return what is known of a parcel's deal-breakers; an answer may be its status alone.

    Raises
    ------
    CaptureError
        When an answer breaks its rule.
    """
    return get_answer_book(json.dumps({parcel: dict(answers)}, sort_keys=True))


def get_answer_book(text: str) -> Any:
    """Return what is known of many parcels, from JSON by parcel and item; None when nothing is.

    Raises
    ------
    CaptureError
        When an answer breaks its rule.
    """
    try:
        return _book(text)
    except (TypeError, AttributeError):
        raise DataError(
            "workspace: an answer on a deal-breaker is damaged; go back with Undo"
        ) from None
