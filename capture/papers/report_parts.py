"""Which sections does a report hold, in which order, and what does each say?

The order of the argument: who passes, what part is washed, the busy hour, the line, what it
needs, the money, what may stop it, what is not known, where the numbers come from.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import partial
from typing import Any, Final

import numpy as np
import pandas as pd

from capture.area.area import LAYER_KINDS
from capture.basis import FORMAT_WORDS, UnitSystem, plain_text
from capture.papers import figures, pictures
from capture.papers.argument import Claim
from capture.papers.html_table import Columns
from capture.papers.report import (
    INVENTED,
    Part,
    Picture,
    Section,
    make_heading,
    make_pictures,
    make_table,
)
from capture.papers.report_doubts import list_doubts
from capture.papers.seller import make_pitch
from capture.papers.share_tables import make_step_table
from capture.papers.sources import SourceBook, say_known
from capture.papers.study_json import make_source_book
from capture.papers.words import (
    TRADE_UNITS,
    say_amount,
    say_lengths,
    say_minutes,
    say_money,
    say_number,
)

#: greatest height of the line's drawing over the width of a page turned sideways
LINE_RATIO: Final = 0.36
MOST_RIVALS: Final = 7
MOST_SOURCE: Final = 110
#: utility figures that a report prints; the workbook holds all
UTILITIES: Final = (
    "fresh_per_car_m3", "reclaimed_per_car_m3", "fresh_per_day_m3", "discharge_per_day_m3",
    "peak_flow_m3s", "supply_peak_m3s", "tank_volume_m3", "heater_w", "connected_w",
    "full_load_a", "service_a", "demand_w", "energy_per_car_j", "energy_year_j", "air_m3s",
    "noise_db", "quiet_distance_m",
)  # fmt: skip
_STATUS: Final = {"pass": "pass", "ask": "ask", "fail": "FAIL", "unknown": "unknown"}


def list_sections(study: Any, claims: Sequence[Claim], units: UnitSystem) -> tuple[Section, ...]:
    """List the sections of a study's report."""
    book = make_source_book(study)
    wide = _line_parts(study, units)
    return (
        Section(parts=(*_cover_parts(study, units),)),
        Section(parts=(*_passing_parts(study, book, units), *_share_parts(study, units),
                       *_pitch_parts(study, units)), fresh=True),
        Section(parts=(*_hour_parts(study, units), *_utility_parts(study, units)), fresh=True),
        Section(parts=(*_money_parts(study, units), *_stop_parts(study, units)), fresh=True),
        *((Section(parts=wide, wide=True),) if wide else ()),
        Section(parts=list_doubts(study, claims, book, units)),
    )  # fmt: skip


def _cover_parts(study: Any, units: UnitSystem) -> tuple[Part, ...]:
    drawn = figures.draw_map(study, height=240.0, system=units)
    said = "Roads around the site, the wider the more vehicles a day; minutes are driving time."
    layers: Columns = {"what": ("what it rests on", ""), "known": ("known by", ""),
                       "source": ("from, or what happens without", ""),
                       "licence": ("licence", "")}  # fmt: skip
    return (make_pictures((drawn, said)), make_table(list_layers(study.area), layers, units, ""))


def list_layers(area: Any) -> pd.DataFrame:
    """List what an area knows, from whom and under which licence, and what it lacks.

    Layers that are known in the same way from the same source share a row.
    """
    rows = []
    for kind, (words, without) in LAYER_KINDS.items():
        layer = area.layers.get(kind)
        if layer is None:
            rows.append({"what": words, "known": "not given", "source": without, "licence": ""})
            continue
        known = INVENTED if layer.invented else "as delivered"
        source = layer.source or (layer.path.name if layer.path else "")
        rows.append({"what": words, "known": known, "source": plain_text(source),
                     "licence": plain_text(layer.licence)})  # fmt: skip
    joined: dict[tuple[str, ...], list[str]] = {}
    for row in rows:
        joined.setdefault((row["known"], row["source"], row["licence"]), []).append(row["what"])
    return pd.DataFrame(
        [
            {"what": ", ".join(words), "known": known, "source": source, "licence": licence}
            for (known, source, licence), words in joined.items()
        ]
    )


def _passing_parts(study: Any, book: SourceBook, units: UnitSystem) -> list[Part]:
    table = pictures.make_stream_table(study)
    table["known_by"] = [say_known(book[f"stream.{r + 1}"]) for r in range(len(table))]
    table["heads"] = [
        f"{_say_heading(deg)}, {side}"
        for deg, side in zip(table["direction_deg"], table["side"], strict=True)
    ]
    table["spread"] = [
        f"{say_number(low, digits=2)} to {say_number(high, digits=2)}"
        for low, high in zip(table["low"], table["high"], strict=True)
    ]
    table["source"] = [plain_text(source, most=MOST_SOURCE) for source in table["source"]]
    table["seen"] = [
        f"{say_amount(seen, 'm', units, digits=2)}; {say_amount(needed, 'm', units, digits=2)}"
        for seen, needed in zip(table["seen_m"], table["needed_m"], strict=True)
    ]
    columns: Columns = {
        "road": ("road", ""), "heads": ("to, side", ""), "vehicles_per_day": ("a day", "count"),
        "spread": ("9 times in 10", ""), "known_by": ("known by", ""), "delay_s": ("turning", "s"),
        "seen": ("seen; needed", ""), "source": ("source", ""),
    }  # fmt: skip
    return [
        make_heading("Who passes, turns in and sees it"),
        make_table(table, columns, units, "Vehicles that could be washed, by direction and the "
               "side of the road they drive on; seconds lost turning in and going back; how far "
               "off the site is seen, and from how far off it must be."),
    ]  # fmt: skip


def _say_heading(degrees: float) -> str:
    """Say where a direction goes.

    Examples
    --------
    >>> _say_heading(350.0), _say_heading(80.0)
    ('N', 'E')
    """
    return ("N", "NE", "E", "SE", "S", "SW", "W", "NW")[round(float(degrees) / 45) % 8]


def _share_parts(study: Any, units: UnitSystem) -> list[Part]:
    rivals = pictures.make_rival_table(study)
    more = max(len(rivals) - MOST_RIVALS, 0)
    rivals = rivals.head(MOST_RIVALS)
    rivals["minutes"] = [say_minutes(minutes) for minutes in rivals["minutes"]]
    rivals["format"] = [FORMAT_WORDS.get(name, name) for name in rivals["format"]]
    columns: Columns = {
        "name": ("wash", ""), "format": ("kind", ""), "minutes": ("drive", ""),
        "likeness": ("likeness", "share"), "status": ("status", ""), "source": ("source", ""),
    }  # fmt: skip
    known = int(study.fit.known_count)
    ground = f"{known} washes with known cars and " if known else ""
    around = study.around
    people = getattr(around, "people_10min", None)
    lives = ""
    if people is not None and np.isfinite(np.atleast_1d(people)[0]):
        lives = f" Within ten minutes live {say_number(float(np.atleast_1d(people)[0]))} people."
    parts = [
        make_heading("What part of them is washed"),
        Part(kind="text", text=f"The share rests on {ground}starting values from trade practice "
             f"(estimated). It is per passing: a commuter passes twice a day.{lives}"),
        make_pictures((figures.draw_share(make_step_table(study)),
                   "Each step multiplies the share: a bar to the right raises it, to the left "
                   "lowers it.")),
    ]  # fmt: skip
    if len(rivals):
        rest = f"; {more} more are in the workbook" if more else ""
        parts.append(make_table(rivals, columns, units, f"Rival washes, nearest first{rest}."))
    return parts


def _hour_parts(study: Any, units: UnitSystem) -> list[Part]:
    queue, busy = study.queue, np.quantile(study.busy.cars[0], [0.05, 0.5, 0.95])
    design, carries = float(study.design_hour_cars), float(study.line.cars_per_hour)
    rows = pictures.make_queue_table(study)
    over = say_amount(float(queue.share_of_days_over_stacking), "share", digits=2)
    return [
        make_heading("The busy hour"),
        Part(kind="text", text=f"The {'line' if study.offer.is_conveyor else 'bays'} must carry "
             f"{say_amount(design, 'cars/h', units, digits=2)}: the {study.busy.rank}th busiest "
             f"hour of a year and {say_amount(study.offer.headroom_share, 'share')} headroom. "
             f"It carries {say_amount(carries, 'cars/h', units, digits=2)}."),
        make_pictures(
            (figures.draw_busy(pictures.make_duration_table(study), busy.tolist(),
                               rank=int(study.busy.rank), design=design, carries=carries),
             "Hours of the year in order. The dot is what one year's hour may be, weather and "
             "chance in it."),
            (figures.draw_week(pictures.make_week_table(study)),
             "When they come: a mean week."),
        ),
        make_heading("The queue"),
        Part(kind="text", text=f"On 19 of 20 days the queue fits in {queue.stacking_cars} places "
             f"({say_amount(queue.stacking_m, 'm', units)} in single file). It reaches past the "
             f"{queue.stacking_places:.0f} places there are on {over} of days; "
             f"{say_amount(queue.lost_share, 'share', digits=2)} of a year's cars drive on."),
        make_pictures(
            (figures.draw_queue(rows, queue.stacking_places),
             "Cars that arriving drivers find waiting, over many simulated days: half, 9 of 10 and "
             "19 of 20 find fewer."),
            (figures.draw_queue(rows, queue.stacking_places, seconds=True),
             "How long they wait: half, 9 of 10 and 19 of 20 wait less."),
        ),
    ]  # fmt: skip


def _utility_parts(study: Any, units: UnitSystem) -> list[Part]:
    table = pictures.make_utility_table(study)
    table["key"] = list(study.utilities.figures)
    shown = table[table["key"].isin(UTILITIES)].reset_index(drop=True)
    halves = _fold(shown, units)
    columns: Columns = {
        "what": ("figure", ""), "value": ("middle", ""), "range": ("9 times in 10", ""),
        "what_2": ("figure", ""), "value_2": ("middle", ""), "range_2": ("9 times in 10", ""),
    }  # fmt: skip
    return [
        make_heading("Water and power"),
        make_table(halves, columns, units, "Estimated planning figures; local codes and licensed "
               "practice decide. Every figure with its caution is in the workbook."),
    ]  # fmt: skip


def _fold(table: pd.DataFrame, units: UnitSystem) -> pd.DataFrame:
    """Fold a table of figures in two, so that it takes half the height."""
    said = []
    for row in table.to_dict("records"):
        unit = row["key"] if row["key"] in TRADE_UNITS else row["unit"]
        say = partial(say_amount, unit=unit, system=units)
        low, high = say(row["low"], digits=2), say(row["high"], digits=2)
        tail = low.partition(" ")[2]
        low = low.partition(" ")[0] if tail and high.endswith(" " + tail) else low
        said.append(
            {
                "what": row["what"],
                "value": say(row["value"]),
                "range": f"{low} to {high}" if row["low"] != row["high"] else "fixed",
            }
        )
    half = -(-len(said) // 2)
    empty = {"what": "", "value": "", "range": ""}
    left, right = said[:half], [*said[half:], *([empty] * (2 * half - len(said)))]
    return pd.DataFrame(
        [{**one, **{f"{k}_2": v for k, v in two.items()}}
         for one, two in zip(left, right, strict=True)]
    )  # fmt: skip


def _fit_height(svg: str) -> float:
    """Return how wide a picture may be, percent, so that its schedule stays on its page."""
    box = svg.partition('viewBox="')[2].partition('"')[0]
    wide, high = (float(end) for end in box.split()[2:])
    return round(min(100.0, 100 * LINE_RATIO * wide / high), 1)


def _line_parts(study: Any, units: UnitSystem) -> tuple[Part, ...]:
    drawn = figures.draw_line(study.line, units)
    if not drawn:
        return ()
    stations = pictures.make_station_table(study)
    stations.insert(0, "number", range(1, len(stations) + 1))
    stations["water"] = stations["water"].replace({"none": "", "spot_free": "spot-free"})
    for name in ("power_w", "flow_m3s", "pressure_pa"):
        unit = {"power_w": "w", "flow_m3s": "m3s", "pressure_pa": "pa"}[name]
        stations[name] = [say_amount(v, unit, units) if v > 0 else "" for v in stations[name]]
    stations["length_m"] = [
        say_amount(v, "m", units) if v > 0 else "shared" for v in stations["length_m"]
    ]
    columns: Columns = {
        "number": ("no.", "count"), "name": ("station", ""), "start_m": ("starts at", "m"),
        "length_m": ("length", ""), "enters_s": ("after", "s"), "count": ("units", "count"),
        "flow_m3s": ("water", ""), "water": ("kind", ""), "pressure_pa": ("pressure", ""),
        "power_w": ("power", ""), "cost_usd": ("about", "USD"), "purpose": ("what for", ""),
    }  # fmt: skip
    return (
        make_heading("The line to scale, and its schedule for equipment bidders"),
        Part(kind="pictures", pictures=(
            Picture(svg=drawn, width=_fit_height(drawn),
                    caption="From the side and from above; numbers are those of the schedule."),
        )),
        make_table(stations, columns, units, "Stations in order (estimated from trade practice; "
               "\"shared\" hangs over another's zone)."),
    )  # fmt: skip


def _money_parts(study: Any, units: UnitSystem) -> list[Part]:
    columns: Columns = {
        "what": ("what", ""), "value": ("middle", "@unit"), "low": ("low", "@unit"),
        "high": ("high", "@unit"), "mean": ("mean", "@unit"),
    }  # fmt: skip
    table = pictures.make_money_table(study)
    table["what"] = [
        f"{what} ({words})" if words else what
        for what, words in zip(table["what"], table["words"], strict=True)
    ]
    return [
        make_heading("Money"),
        make_pictures((figures.draw_cash(pictures.make_cash_table(study)),
                   "Cash gathered since the contract, before debt (estimated).")),
        make_table(table, columns, units, "Before income tax, in today's "
               "prices; not an appraisal, an offer or investment advice."),
    ]  # fmt: skip


def _stop_parts(study: Any, units: UnitSystem) -> list[Part]:
    ground = study.ground
    cost = ""
    if ground.cost_high_usd > 0:
        low, high = say_money(ground.cost_low_usd), say_money(ground.cost_high_usd)
        cost = f" What must be asked for adds {low} to {high}."
    rows = pd.DataFrame([_say_breaker(row) for row in ground.to_rows()])
    columns: Columns = {
        "item": ("what must hold", ""), "status": ("status", ""), "ask": ("whom to ask", ""),
        "cost": ("if not, usually", ""), "months": ("months", ""), "note": ("note", ""),
    }  # fmt: skip
    if not rows["note"].str.len().any():
        rows = rows.drop(columns="note")
    reasons = "; ".join(say_lengths(text, units) for text in ground.reasons)
    said = f"The ground stands at {ground.status}: {reasons}.{cost}"
    drawn = figures.draw_parcel(study, system=units, height=158.0)
    picture = Picture(svg=drawn, caption=figures.say_parcel(study, units))
    return [
        make_heading("Does it fit, and what could stop it"),
        Part(kind="aside", text=said, pictures=(picture,)) if drawn
        else Part(kind="text", text=said),
        make_table(rows, columns, units, "Deal-breakers: unknown never counts as pass, a "
                   "fail strikes the parcel out. Usual costs are from trade practice."),
    ]  # fmt: skip


def _pitch_parts(study: Any, units: UnitSystem) -> list[Part]:
    pitch = make_pitch(study, system=units)
    return [
        make_heading("For the seller, in one sentence"),
        Part(kind="text", text=pitch.sentence),
        Part(kind="note", text=f"May not be printed as a claim: {'; '.join(pitch.may_not)}."),
    ]


def _say_breaker(row: Mapping[str, Any]) -> dict[str, str]:
    known = row["cost_high_usd"] > 0 or row["months_high"] > 0
    start = "" if known else "usual_"
    low, high = row[f"{start}cost_low_usd"], row[f"{start}cost_high_usd"]
    soon, late = row[f"{start}months_low"], row[f"{start}months_high"]
    note = "; ".join(filter(None, (str(row["who"]), str(row["date"]), str(row["note"]))))
    return {
        "item": row["item"],
        "status": _STATUS.get(row["status"], row["status"]),
        "ask": row["ask"],
        "cost": f"{say_money(low, digits=2)} to {say_money(high, digits=2)}" if high else
        row["effect"],
        "months": f"{soon:.0f} to {late:.0f}" if late else "",
        "note": plain_text(note, most=160),
    }  # fmt: skip
