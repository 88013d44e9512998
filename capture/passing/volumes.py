"""How many vehicles a day does each road piece carry, and how do we know?

Counts are loaded, brought to one year, tied to roads and carried along them; what no count
reaches is estimated and marked so. A two-way count on one carriageway of a dual road is
halved over the two.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from capture.basis import InputError, Sheet
from capture.passing.carry import Carried
from capture.passing.decisions import find_unknown
from capture.passing.expand import age_count
from capture.passing.fill import Fill, fit_fill, make_blocks, make_design
from capture.passing.guess import Question
from capture.passing.hourly import HourShape
from capture.passing.layers import Answers, AreaCounts, load_area_counts
from capture.passing.ledger import list_rows
from capture.passing.spread import (
    blend,
    carry_counts,
    default_split_sd,
    find_conflicts,
    pick_nearest,
    split_spread,
)
from capture.passing.through import compute_through, make_trip_ends
from capture.passing.tie import Index, make_index, tie_counts
from capture.passing.values import CLASSES, VALUES

if TYPE_CHECKING:
    from capture.area import Area
    from capture.place import Network, Place

FloatArray = NDArray[np.float64]
#: how old a count without a year is taken to be
UNDATED_AGE = 5.0
#: file in an area's folder that remembers answers about columns
COLUMN_MEMORY = "count_columns.json"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Volumes:
    """Vehicles a day on every road piece (G) and edge (E)."""

    #: vehicles a day on this carriageway, all directions it carries, (G,)
    vehicles_per_day: FloatArray
    #: standard deviation of its logarithm, (G,)
    log_sd: FloatArray
    #: part of that spread which all estimated roads of the area share, (G,)
    shared_log_sd: FloatArray
    #: whether a count holds here, (G,)
    measured: NDArray[np.bool_]
    #: year of the count, NaN where estimated, (G,)
    year: FloatArray
    #: heavy trucks and buses, share, (G,)
    heavy_share: FloatArray
    #: where the figure comes from, one short sentence, (G,)
    source: list[str]
    #: roads that share one error, (G,)
    key: list[str]
    #: vehicles a day by direction, (E,)
    edge_vehicles_per_day: FloatArray
    #: spread of the logarithm that the split between directions adds, (G,)
    split_log_sd: FloatArray
    #: through trips, share of all, (G,)
    through: FloatArray
    #: every count with what became of it
    counts: pd.DataFrame
    #: continuous stations: average day three ways, cells without a day, K and D of hour 30
    stations: pd.DataFrame
    #: counts of one road that contradict each other
    conflicts: pd.DataFrame
    #: what was done with each file: file, what, rows, which, why
    done: pd.DataFrame
    #: what each column of each file was taken for
    columns: pd.DataFrame
    #: what the files left open and could be done without: file, question
    questions: list[tuple[str, Question]]
    #: hour shapes of counted stations with the piece each is tied to
    shapes: list[tuple[HourShape, int]]
    #: the gap-filling fit
    model: Fill
    #: year looked at
    study_year: int
    #: remarks, one sentence each
    remarks: list[str] = field(default_factory=list)

    def tell_counts(self) -> pd.DataFrame:
        """Return every count with its story, one readable row each.

        Columns: station, road, tied_to, vehicles_per_day as counted, year, now (brought to the
        year looked at), low and high of that, score, ambiguous, story, why it was tied so and
        what_became_of_it.
        """
        counts = self.counts
        now = counts["aged_vehicles_per_day"].astype("float64")
        spread = np.exp(1.6448536269514722 * counts["aged_log_sd"].astype("float64"))
        return pd.DataFrame(
            {
                "station": counts["station"],
                "road": counts["road"],
                "tied_to": counts["tied_to"],
                "vehicles_per_day": counts["vehicles_per_day"],
                "year": counts["year"],
                "now": now,
                "low": now / spread,
                "high": now * spread,
                "score": counts["score"],
                "ambiguous": counts["ambiguous"],
                "story": counts["story"],
                "why": counts["why"],
                "what_became_of_it": counts["fate"],
            }
        )


def add_volumes(
    area: Area,
    place: Place,
    *,
    study_year: int | None = None,
    decisions: Mapping[str, Mapping[str, float]] | None = None,
    answers: Answers | None = None,
    memory: Path | None = None,
    values: Sheet = VALUES,
) -> Volumes:
    """Say how many vehicles a day every road piece of an area carries.

    Parameters
    ----------
    area : Area
        Its layers ``counts`` and ``hourly_counts`` are used where there are any.
    place : Place
        Roads.
    study_year : int, optional
        Year looked at; else the area's own, else this year.
    decisions : mapping, optional
        Where the user put counts, from :class:`~capture.passing.TieDecisions`.
    answers : mapping, optional
        File -> role -> heading, or role -> heading for the first counts file.
    memory : Path, optional
        JSON file of remembered answers about columns; else ``count_columns.json`` in the
        area's folder where there is one.
    values : Sheet
        Every default of the room.

    Returns
    -------
    Volumes

    Raises
    ------
    InputError
        When ``study_year`` is out of range, or a column is not clear.
    DataError
        When a count file is not usable.
    """
    year = study_year or area.study_year or date.today().year
    if not 1950 <= year <= 2100:
        raise InputError(f"study_year must be 1950 to 2100, got {year}; give the year looked at")
    kept = area.folder / COLUMN_MEMORY
    memory = memory or (kept if kept.is_file() else None)
    network = place.network
    loaded = load_area_counts(
        area, place, study_year=year, answers=answers, memory=memory, values=values
    )
    index = make_index(network)
    ties = tie_counts(network, loaded.counts, decisions=decisions, index=index, values=values)
    counts = _age_all(
        loaded.counts.merge(ties, on="count_id", how="left"), year, loaded.growth, values
    )
    carried, counts = carry_counts(network, counts, values)
    origins, ends, told = make_trip_ends(area, place, values=values)
    through = compute_through(network, origins, ends, values=values)
    return assemble_volumes(
        network,
        counts,
        carried,
        through,
        loaded,
        index=index,
        study_year=year,
        remarks=[*find_unknown(decisions, ties), *told, *loaded.remarks],
        values=values,
    )


def _age_all(
    counts: pd.DataFrame, year: int, growth: tuple[float, float] | None, values: Sheet
) -> pd.DataFrame:
    out = counts.copy()
    aged, spread = [], []
    for count in list_rows(counts):
        own = float(count["year"])
        own = own if math.isfinite(own) else year - UNDATED_AGE
        v, sd = age_count(
            float(count["vehicles_per_day"]), float(count["log_sd"]), year=own, study_year=year,
            growth=growth, values=values,
        )  # fmt: skip
        aged.append(v)
        spread.append(sd)
    out["aged_vehicles_per_day"] = np.array(aged, dtype=np.float64)
    out["aged_log_sd"] = np.array(spread, dtype=np.float64)
    return out


def assemble_volumes(
    network: Network,
    counts: pd.DataFrame,
    carried: list[Carried],
    through: FloatArray,
    loaded: AreaCounts,
    *,
    index: Index,
    study_year: int,
    remarks: list[str] | None = None,
    values: Sheet = VALUES,
) -> Volumes:
    """Say every road piece's volume from what counts carry to it and the estimate elsewhere.

    Parameters
    ----------
    network : Network
        Roads, G pieces.
    counts : DataFrame
        Counts with ties and fates.
    carried : list of Carried
        What arrives where, from :func:`~capture.passing.spread.carry_counts`.
    through : ndarray of float, shape (G,)
        Through trips.
    loaded : AreaCounts
        Hour shapes and the tables of what was done.
    index : Index
        Look-up of road pieces.
    study_year : int
        Year looked at.

    Returns
    -------
    Volumes
    """
    design, names = make_design(network, through)
    model = _fit_model(network, design, names, carried, index, values)
    draft = _estimate_all(network, model, design, values)
    _listen(draft, counts, carried)
    vehicles = np.exp(draft.log_vehicles)
    return Volumes(
        vehicles_per_day=vehicles,
        log_sd=draft.log_sd,
        shared_log_sd=draft.shared,
        measured=draft.measured,
        year=draft.year,
        heavy_share=draft.heavy,
        source=draft.source,
        key=draft.key,
        edge_vehicles_per_day=_edge_volumes(network, vehicles, draft.forward, values),
        split_log_sd=draft.split,
        through=through,
        counts=counts,
        stations=loaded.stations,
        conflicts=find_conflicts(network, counts, carried, values),
        done=loaded.done,
        columns=loaded.columns,
        questions=[(f.name, q) for f in loaded.files for q in f.open_questions],
        shapes=_tie_shapes(counts, loaded.shapes),
        model=model,
        study_year=study_year,
        remarks=remarks or [],
    )


@dataclass(slots=True, kw_only=True)
class _Draft:
    """What is said of every road piece while counts are listened to."""

    log_vehicles: FloatArray
    log_sd: FloatArray
    shared: FloatArray
    measured: NDArray[np.bool_]
    year: FloatArray
    heavy: FloatArray
    forward: FloatArray
    split: FloatArray
    source: list[str]
    key: list[str]


def _estimate_all(network: Network, model: Fill, design: FloatArray, values: Sheet) -> _Draft:
    log_vehicles, log_sd = model.predict(design)
    size = network.segments
    return _Draft(
        log_vehicles=log_vehicles,
        log_sd=log_sd,
        shared=np.full(size, min(model.shared_sd, float(log_sd.min(initial=1.0)))),
        measured=np.zeros(size, dtype=bool),
        year=np.full(size, np.nan),
        heavy=_default_heavy(network, values),
        forward=np.full(size, np.nan),
        split=default_split_sd(network, values),
        source=[model.describe()] * size,
        key=_road_keys(network),
    )


def _listen(draft: _Draft, counts: pd.DataFrame, carried: list[Carried]) -> None:
    """Put what counts say over the estimates, road piece by road piece."""
    by_segment: dict[int, list[Carried]] = {}
    for one in carried:
        by_segment.setdefault(one.segment, []).append(one)
    rows = list_rows(counts)
    for g, ones in by_segment.items():
        best = min(ones, key=lambda o: (o.equal_junctions, o.variance, o.count))
        count = rows[best.count]
        holds = best.equal_junctions == 0
        used = pick_nearest([o for o in ones if o.equal_junctions == 0] if holds else ones)
        estimate = None if holds else (float(draft.log_vehicles[g]), float(draft.log_sd[g]))
        draft.log_vehicles[g], draft.log_sd[g] = blend(used, estimate)
        draft.shared[g] = 0.0 if holds else min(draft.shared[g], draft.log_sd[g]) / 2
        draft.measured[g] = holds
        if holds:
            draft.year[g] = float(count["year"])
            draft.split[g] = split_spread(count, best, float(draft.split[g]))
        if math.isfinite(float(count["heavy_share"])):
            draft.heavy[g] = float(count["heavy_share"])
        draft.source[g] = _say(count, best, len(used))
        draft.key[g] = f"count {count['count_id']}"
        draft.forward[g] = best.forward_share


def _fit_model(
    network: Network,
    design: FloatArray,
    names: tuple[str, ...],
    carried: list[Carried],
    index: Index,
    values: Sheet,
) -> Fill:
    first: dict[int, Carried] = {}
    for one in carried:
        if one.came_over < 0:
            first.setdefault(one.count, one)
    at = list(first.values())
    segment = np.array([c.segment for c in at], dtype=np.int64)
    y = np.array([c.log_vehicles for c in at], dtype=np.float64)
    sd = np.array([math.sqrt(c.variance) for c in at], dtype=np.float64)
    middle = [index.lines[g].interpolate(0.5, normalized=True) for g in segment]
    x_m = np.array([p.x for p in middle], dtype=np.float64)
    y_m = np.array([p.y for p in middle], dtype=np.float64)
    blocks = make_blocks(x_m, y_m)
    return fit_fill(design[segment], y, sd, names, blocks=blocks, values=values)


def _say(count: Any, best: Carried, used: int) -> str:
    when = f" of {count['year']:.0f}" if math.isfinite(float(count["year"])) else ""
    who = f"count {count['station'] or count['count_id']}{when}"
    more = f" and {used - 1} more" if used > 1 else ""
    if best.distance_m == 0:
        return f"{who}{more}, at this place"
    if best.equal_junctions == 0:
        return f"{who}{more}, {best.distance_m:.0f} m along the road"
    return (
        f"estimated from {who}{more}, {best.distance_m:.0f} m away past {best.equal_junctions} "
        "junction(s) with roads as big, and from class and place"
    )


def _road_keys(network: Network) -> list[str]:
    """Name the road that each piece belongs to: by name, number, or way."""
    return [
        f"road {name or ref}" if name or ref else f"way {way}"
        for name, ref, way in zip(
            network.segment_name, network.segment_ref, network.segment_way.tolist(), strict=True
        )
    ]


def _default_heavy(network: Network, values: Sheet) -> FloatArray:
    table = np.array([values.value(f"heavy_{name}_share") for name in CLASSES])
    return np.asarray(table[np.asarray(network.segment_class)], dtype=np.float64).copy()


def _edge_volumes(
    network: Network, vehicles: FloatArray, forward: FloatArray, values: Sheet
) -> FloatArray:
    owner = np.asarray(network.edge_segment)
    share = np.where(np.isnan(forward), values.value("direction_split_share"), forward)[owner]
    share = np.where(network.edge_forward, share, 1 - share)
    share = np.where(np.asarray(network.segment_oneway)[owner], 1.0, share)
    return np.asarray(vehicles[owner] * share)


def _tie_shapes(counts: pd.DataFrame, shapes: tuple[HourShape, ...]) -> list[tuple[HourShape, int]]:
    tied = []
    for shape in shapes:
        same = counts[(counts["station"] == shape.station) & (counts["road"] == shape.road)]
        same = same[same["segment"] >= 0]
        if len(same):
            tied.append((shape, int(same["segment"].iloc[0])))
    return tied
