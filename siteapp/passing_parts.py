"""What can be read of, and done with, each traffic count on the screen on passing traffic?

A count's story, its road, another road in its place, and the tables of all counts. A
decision is kept in the study's ties and can be taken back.
"""

from __future__ import annotations

from typing import Any, Final

import pandas as pd
import streamlit as st

from capture.papers.area_layers import LEAST_ESTIMATED
from capture.papers.fill_tables import (
    make_cell_table,
    make_check_table,
    make_class_table,
    make_design_table,
    make_effect_table,
    make_held_table,
    make_station_day_table,
    say_model,
)
from capture.papers.passing_layers import find_count_near, list_roads_near
from capture.papers.usual_tables import make_usual_days, make_usual_hours
from capture.papers.words import say_amount, say_number
from siteapp import count_answers
from siteapp.frame import Scene, change, notify, say
from siteapp.passing_charts import (
    draw_ages,
    draw_cells,
    draw_class_volumes,
    draw_design_hours,
    draw_held_out,
)
from siteapp.show import show_table
from siteapp.text import as_markdown, tell_apart

#: a click this near to a count means that count, m
CLICK_M: Final = 90.0
#: a click farther from every road than this means none of them, m
ROAD_M: Final = 60.0
#: counts listed before all of them are asked for
FEW: Final = 12
_PHONE: Final = (
    "<style>@media (max-width: 640px) { .table td { min-width: 6.5rem; } "
    ".table td.number { min-width: 0; } .table td:nth-child(n+4):not(.number) "
    "{ min-width: 11rem; } }</style>"
)
_SHOWN: Final = ("nearest to the site", "with a remark", "all")


def widen_cells() -> None:
    """On a phone, let tables of sentences scroll aside instead of growing tall."""
    st.html(_PHONE)


def chosen_key(scene: Scene) -> str:
    """Return under which name the chosen count is kept."""
    return f"count-chosen-{scene.kept.id}"


def _moving_key(scene: Scene) -> str:
    return f"count-moving-{scene.kept.id}"


def get_chosen(scene: Scene, table: pd.DataFrame) -> str:
    """Return the key of the chosen count; "" when none is, or it is gone."""
    chosen = str(st.session_state.get(chosen_key(scene), ""))
    return chosen if chosen in set(table["key"]) else ""


def click_map(scene: Scene, table: pd.DataFrame, lat: float, lon: float) -> None:
    """Choose the count that was clicked, or tie the chosen one to the road that was."""
    chosen = get_chosen(scene, table)
    if chosen and st.session_state.get(_moving_key(scene)):
        plane = scene.study.place.network.projection
        x, y = plane.to_xy(lat, lon)
        near = list_roads_near(scene.study.place, float(x), float(y), within_m=ROAD_M)
        if not len(near):
            notify("warning", "There is no road where you clicked; click on the road itself.")
            st.rerun()
        row = near.iloc[0]
        _tie(scene, table, chosen, float(row["lat"]), float(row["lon"]), str(row["name"]))
    st.session_state[chosen_key(scene)] = find_count_near(table, lat, lon, within_m=CLICK_M)
    st.rerun()


def _tie(scene: Scene, table: pd.DataFrame, key: str, lat: float, lon: float, road: str) -> None:
    spot = {"lat": round(lat, 7), "lon": round(lon, 7)}
    st.session_state[_moving_key(scene)] = False
    change(f"count {_name(table, key)} tied to {road}", ties={**scene.inputs.ties, key: spot})
    notify("done", f"Count {_name(table, key)} tied to {road}")
    st.rerun()


def _name(table: pd.DataFrame, key: str) -> str:
    return str(table.loc[table["key"] == key, "station"].iloc[0])


def show_count_panel(scene: Scene, table: pd.DataFrame) -> None:
    """Show the chosen count's story and what can be done about its road."""
    st.subheader("One count and its road", anchor=False)
    if not len(table):
        say("No traffic count is known here; every figure is estimated and says so.")
        return
    titles = tell_apart({
        str(row["key"]): f"{row['station']}, {row['road']}, "
        f"{say_amount(float(row['from_site_m']), 'm', scene.system, digits=2)} away"
        for row in table.to_dict("records")
    })  # fmt: skip
    if st.session_state.get(chosen_key(scene)) not in titles:
        st.session_state[chosen_key(scene)] = ""
    st.selectbox(
        "Choose a count, or click it on the map",
        ["", *titles],
        format_func=lambda key: titles[key] if key else "none chosen",
        key=chosen_key(scene),
    )
    chosen = get_chosen(scene, table)
    if not chosen:
        say(
            "<b>{} counts</b> stand in this area; {} of them raise a question. Choose one to read "
            "where it comes from, or to tie it to another road.",
            len(table), int((table["remark"] != "").sum()),
        )  # fmt: skip
        asked = table[table["remark"] != ""].head(FEW)
        if len(asked):
            show_table(
                asked,
                {"station": ("count", ""), "road": ("road", ""), "remark": ("question", "")},
                scene,
                caption="Counts that raise a question",
            )
        return
    _show_story(scene, table[table["key"] == chosen].iloc[0])
    _offer_ties(scene, table, chosen)


def _show_story(scene: Scene, row: pd.Series) -> None:
    told = [
        ("counted a day", f"{row['counted']}, {row['road']}"),
        ("how it was read", row["how_read"]),
        ("brought to today", row["today"]),
        ("tied to", f"{row['tied_to']}: {row['tie']}"),
        ("why that road", row["why"]),
        ("where it holds", row["became"]),
        ("contradicted", row["conflicts"] or "by no other count"),
    ]
    show_table(
        pd.DataFrame(told, columns=["what", "told"]),
        {"what": ("question", ""), "told": ("answer", "")},
        scene,
        caption=f"The story of count {row['station']}",
    )


def _offer_ties(scene: Scene, table: pd.DataFrame, chosen: str) -> None:
    row = table[table["key"] == chosen].iloc[0]
    moving = st.toggle("Tie it to another road: click that road on the map", key=_moving_key(scene))
    if moving:
        plane = scene.study.place.network.projection
        x, y = plane.to_xy(float(row["lat"]), float(row["lon"]))
        near = list_roads_near(scene.study.place, float(x), float(y))
        names = {
            str(each["name"]): f"{each['name']}, " + _say_off(float(each["distance_m"]), scene)
            for each in near.to_dict("records")
        }
        picked = st.selectbox(
            "Or choose a road near it", list(names), format_func=lambda name: names[name]
        )
        if picked and st.button("Tie it to this road", icon=":material/link:"):
            spot = near[near["name"] == picked].iloc[0]
            _tie(scene, table, chosen, float(spot["lat"]), float(spot["lon"]), str(picked))
    if chosen in scene.inputs.ties and st.button(
        "Take my decision back", icon=":material/undo:", width="stretch"
    ):
        kept = {key: spot for key, spot in scene.inputs.ties.items() if key != chosen}
        change(f"count {row['station']}: decision taken back", ties=kept)
        st.rerun()
    if scene.inputs.ties.get(chosen) != {} and st.button(
        "It belongs to no road here", icon=":material/link_off:", width="stretch"
    ):
        change(f"count {row['station']} left untied", ties={**scene.inputs.ties, chosen: {}})
        st.rerun()


def show_counts(scene: Scene, table: pd.DataFrame) -> None:
    """Show every count with its story, its age, and what contradicts it."""
    if not len(table):
        say("No traffic count is known here, so there is nothing to list.")
        return
    ages = table["age_years"].dropna()
    say(
        "Counts are brought to {} by growth, which widens their range with each year of age; half "
        "of them are {} years old or younger.",
        scene.study.volumes.study_year,
        say_number(float(ages.median())) if len(ages) else "an unknown number of",
    )
    shown = st.radio("Counts to list", _SHOWN, horizontal=True, key="counts-shown")
    listed = (
        table[table["remark"] != ""] if shown == _SHOWN[1]
        else table if shown == _SHOWN[2] else table.head(FEW)
    )  # fmt: skip
    if not len(listed):
        say("No count raises a question.")
    told = listed.assign(
        where=[f"{name}, {road}" for name, road in _list(listed, "station road")],
        tied=[f"{tied}: {how}. {why}" for tied, how, why in _list(listed, "tied_to tie why")],
        doubt=[told or remark for told, remark in _list(listed, "conflicts remark")],
    )
    show_table(
        told,
        {
            "where": ("count, road in the file", ""),
            "counted": ("counted a day", ""),
            "today": ("today", ""),
            "how_read": ("how it was read", ""),
            "tied": ("tied to, and why", ""),
            "became": ("where it holds", ""),
            "doubt": ("remark", ""),
        },
        scene,
        caption=f"{len(listed)} of {len(table)} counts, the nearest to the site first",
    )
    conflicts = scene.study.volumes.conflicts
    if len(conflicts):
        show_table(
            conflicts,
            {"road": ("road", ""), "why": ("what contradicts what", ""),
             "distance_m": ("apart", "m")},
            scene,
            caption=f"{len(conflicts)} pairs of counts that contradict each other; both are kept, "
            "and the range there is wider for it",
        )  # fmt: skip
    st.altair_chart(draw_ages(table), width="stretch")
    st.caption("How many counts are from each year.")


def _say_off(distance_m: float, scene: Scene) -> str:
    return "under it" if distance_m < 1 else say_amount(distance_m, "m", scene.system, digits=2)


def _list(table: pd.DataFrame, names: str) -> list[tuple[str, ...]]:
    return [tuple(map(str, row)) for row in table[names.split()].to_numpy()]


def show_usual(scene: Scene) -> None:
    """Show the hours, months and weekdays that stand in for what was not counted."""
    values = scene.study.numbers["passing"]
    days, hours = make_usual_days(values), make_usual_hours(values)
    with st.expander("Usual months, weekdays and hours, taken where nothing was counted"):
        say(
            "Short counts are brought to the average day by these unless a station of the area "
            "counted all year; hours are these where no count tells them. Each is among the "
            "numbers below and can be replaced. Source: {}.",
            days["source"].iloc[0],
        )
        left, right = st.columns(2)
        with left:
            show_table(
                days,
                {"what": ("month or weekday", ""), "over_average": ("over the average day", "1"),
                 "low": ("at least", "1"), "high": ("at most", "1"), "grade": ("how sure", "")},
                scene,
                caption="Usual months and weekdays",
            )  # fmt: skip
        with right:
            roads = {name: (name, "share") for name in hours.columns if name != "hour"}
            show_table(
                hours, {"hour": ("from", ""), **roads}, scene,
                caption="Usual hours, share of the day",
            )  # fmt: skip


def show_stations(scene: Scene) -> None:
    """Show average days, the 84 cells, K and D of continuous stations."""
    stations = scene.study.volumes.stations
    if not len(stations):
        say(
            "No station here counted most of a year, so months, weekdays and design hours are "
            "taken from typical roads."
        )
        return
    say(
        "A station that counts all year gives the average day: the mean of each weekday in each "
        "month, averaged equally, so that missing days do not tilt it. The plain mean stands "
        "beside it."
    )
    show_table(
        make_station_day_table(stations),
        {
            "station": ("station", ""),
            "average_of_averages": ("average of averages", ""),
            "plain_mean": ("plain mean", ""),
            "by_hours": ("from hours", ""),
            "days": ("days", "count"),
            "incomplete_days": ("days with lost hours", "count"),
            "empty_cells": ("cells without a day", ""),
        },
        scene,
        caption="Vehicles on the average day, both directions",
    )
    averages = {
        name: average
        for file in count_answers.get_files(scene.inputs, year=scene.study.volumes.study_year).files
        if file.hourly is not None
        for name, average in file.hourly.average_days.items()
    }
    names = [name for name in stations["station"] if name in averages]
    if not names:
        return
    name = st.selectbox("Station", names) if len(names) > 1 else names[0]
    _show_station(scene, str(name), averages[name], stations)


def _show_station(scene: Scene, name: str, average: Any, stations: pd.DataFrame) -> None:
    cells = make_cell_table(average)
    left, right = st.columns([3, 2])
    with left:
        st.altair_chart(draw_cells(cells), width="stretch")
        st.caption(
            "Each weekday of each month in hundredths of the average day; 100 is the average. "
            "Short counts of the area are brought to the average day by these."
        )
    design = make_design_table(stations)
    design = design[design["station"] == name]
    with right:
        st.altair_chart(draw_design_hours(design), width="stretch")
        st.caption("K: the share of the average day that passes in the nth busiest hour.")
    show_table(
        design,
        {
            "rank": ("busiest hour", "count"),
            "k": ("K, share of the average day", "share"),
            "d": ("D, busier direction's share", "share"),
        },
        scene,
        caption=f"Design hours of station {name}",
    )
    with st.expander("The 84 cells as a table"):
        show_table(
            cells,
            {"month": ("month", ""), "weekday": ("weekday", ""), "days": ("days", "count"),
             "mean_day": ("vehicles a day", "count"), "over_average": ("of the average", "share")},
            scene,
            caption=f"Mean day of each month and weekday, station {name}",
        )  # fmt: skip


def show_model(scene: Scene) -> None:
    """Show how roads without a count are estimated, and how well that did."""
    model = scene.study.volumes.model
    measured = scene.study.volumes.measured
    say("{}", say_model(model))
    say(
        "<b>Estimated</b>: {} of {} stretches of road, dashed on every map, which leaves out those "
        "under {} a day. The rest is measured.",
        f"{int((~measured).sum()):,}",
        f"{len(measured):,}",
        say_number(LEAST_ESTIMATED),
    )
    left, right = st.columns(2)
    with left:
        st.altair_chart(draw_class_volumes(make_class_table(model)), width="stretch")
        st.caption("What a two-lane road of each class is estimated to carry; bars hold 9 of 10.")
    with right:
        held = make_held_table(model)
        if len(held):
            st.altair_chart(draw_held_out(held), width="stretch")
            st.caption("Counts hidden from the estimate: on the dashed line it was just right.")
    show_table(
        make_effect_table(model),
        {"trait": ("a road with", ""), "sentence": ("is estimated to carry", "")},
        scene,
        caption="What each trait does to the estimate, other things equal",
    )
    checks = make_check_table(model)
    if len(checks):
        show_table(
            checks,
            {
                "group": ("kind of road", ""),
                "counts": ("counts hidden", "count"),
                "typical_miss": ("typical miss, a factor of", "1"),
                "half_within": ("half within a factor of", "1"),
                "level": ("counted over estimated", "1"),
                "coverage": ("inside the 90 % range", "share"),
            },
            scene,
            caption="How the estimate did on counts hidden block by block of ground",
        )
    for text in scene.study.volumes.remarks:
        st.caption(as_markdown(text[:1].upper() + text[1:] + ".", most=400))
