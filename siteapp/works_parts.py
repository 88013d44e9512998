"""What must be piped and wired, does it fit, and what could end it? Parts of two screens."""

from __future__ import annotations

from typing import Any

import pandas as pd
import streamlit as st

from capture.basis import CaptureError
from capture.papers import works_tables as tables
from capture.papers.layers import make_ground_layer, make_site_layer
from capture.papers.marks import drop_empty
from capture.papers.tables import render_csv
from capture.papers.words import say_amount, say_lengths, say_money, say_number
from siteapp.frame import Scene, change, say
from siteapp.show import show_cautions, show_map, show_table
from siteapp.text import as_markdown, say_withheld

STATUS_WORDS = {
    "pass": "passes",
    "ask": "must be asked and dealt with",
    "fail": "fails",
    "unknown": "not known yet",
}


def show_utilities(scene: Scene, study: Any) -> None:
    """Show what must be piped and wired, in groups, each with its caution."""
    utilities = study.utilities
    service, meter = utilities.service, utilities.meter
    say(
        "A car takes <b>{}</b> of fresh water and <b>{}</b>; the service is {} A at {} V, the "
        "water meter about {}{}.",
        say_amount(utilities["fresh_per_car_m3"].value, "m3", scene.system, digits=2),
        say_amount(utilities["energy_per_car_j"].value, "J", scene.system, digits=2),
        service.service_a,
        service.volts,
        meter.size,
        " (beyond the usual sizes)" if meter.beyond else "",
    )
    groups = tables.make_group_tables(utilities)
    for tab, (name, (table, cautions)) in zip(st.tabs(list(groups)), groups.items(), strict=True):
        with tab:
            show_table(
                table,
                {
                    "what": ("figure", ""),
                    "value": ("middle", "@unit"),
                    "low": ("at least", "@unit"),
                    "high": ("at most", "@unit"),
                    "source": ("how it came about", ""),
                },
                scene,
                caption=name,
            )
            if name == "Water":
                _show_timeline(scene, utilities)
            if name == "Power":
                _show_motors(scene, utilities)
            show_cautions(cautions, scene.system)
    if utilities.stations.assumed:
        show_cautions(utilities.stations.assumed, scene.system)


def _show_timeline(scene: Scene, utilities: Any) -> None:
    show_table(
        tables.make_timeline_table(utilities),
        {"what": ("flow at the nozzles", ""), "flow_m3s": ("water", "m3s")},
        scene,
        caption="How much water runs together, car by car",
    )
    show_table(
        tables.make_pump_table(utilities),
        {
            "station": ("station", ""),
            "flow_m3s": ("flow", "m3s"),
            "pressure_pa": ("at the nozzles", "pa"),
            "shaft_w": ("needed at the shaft", "w"),
            "listed_w": ("listed", "w"),
        },
        scene,
        caption="Pumps",
    )


def _show_motors(scene: Scene, utilities: Any) -> None:
    show_table(
        tables.make_motor_table(utilities),
        {
            "name": ("turns", ""),
            "count": ("how many", "count"),
            "power_w": ("rated, each", "w"),
            "full_load_a": ("full load, A each", "1"),
            "drive": ("", ""),
        },
        scene,
        caption="Motors",
    )


def show_schedule(scene: Scene, study: Any) -> None:
    """Hand over the line schedule for bidders."""
    sheets = tables.make_schedule_tables(study, scene.system)
    say(
        "Stations with position, length, power, water and pressure, the utilities, motors and "
        "pumps, and what all of it assumes: for equipment bidders and an engineer to start from."
    )
    left, right = st.columns(2)
    with left:
        st.download_button(
            "Schedule as a workbook (XLSX)",
            tables.render_schedule(study, scene.system),
            "line_schedule.xlsx",
            "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
            key=f"schedule-xlsx-{scene.token}",
        )
    with right:
        first = "Schedule" if "Schedule" in sheets else "Assumptions"
        st.download_button(
            "Schedule as CSV",
            render_csv(sheets[first]),
            "line_schedule.csv",
            "text/csv",
            key=f"schedule-csv-{scene.token}",
        )
    show_table(
        sheets["Assumptions"].assign(
            value=[
                say_number(told, digits=4) if isinstance(told, (int, float)) else str(told)
                for told in sheets["Assumptions"]["value"]
            ]
        ),
        {
            "item": ("assumed", ""),
            "value": ("value", ""),
            "unit": ("unit", ""),
            "source": ("source", ""),
        },
        scene,
        caption="What the schedule stands on",
    )


def show_ground(scene: Scene) -> None:
    """Show how the wash stands on its parcel, what is short, and the deal-breakers."""
    ground = scene.study.ground
    say(
        "The ground: <b>{}</b>: {}.",
        STATUS_WORDS[ground.status],
        "; ".join(say_lengths(why, scene.system) for why in ground.reasons),
    )
    left, right = st.columns([3, 2])
    with left:
        _show_placement(scene, ground)
    with right:
        _show_fit(scene, ground)
    st.subheader("What could end it", anchor=False)
    edit_answers(scene)
    if ground.cost_high_usd or ground.months_high:
        say(
            "What must be dealt with adds {} to {} and {} to {}.",
            say_money(ground.cost_low_usd, digits=2),
            say_money(ground.cost_high_usd, digits=2),
            say_number(ground.months_low, digits=2),
            say_amount(ground.months_high, "months", digits=2),
        )
    show_cautions(ground.cautions, scene.system)


def _show_placement(scene: Scene, ground: Any) -> None:
    study = scene.study
    which = 0
    if len(ground.placements) > 1:
        which = st.radio(
            "Ways in which it stands, best first",
            range(len(ground.placements)),
            format_func=lambda k: f"{k + 1}. {ground.placements[k].arrangement}",
            key=f"placement-{scene.kept.id}",
        )
    projection = study.place.network.projection
    layers = drop_empty(
        (
            make_site_layer(study.sites, study.frontage, projection),
            make_ground_layer(ground, projection, which=which),
        )
    )
    centre = (float(study.sites.lat[0]), float(study.sites.lon[0]))
    show_map(
        scene, layers, key=f"ground-{scene.kept.id}-{which}", centre=centre, zoom=19, height=440
    )
    st.caption("How the wash would stand on the parcel, as far as its shape is known.")


def _show_fit(scene: Scene, ground: Any) -> None:
    short = tables.make_short_table(ground)
    if len(short):
        show_table(
            short,
            {"what": ("short", ""), "value": ("by", "@unit")},
            scene,
            caption="What does not fit",
        )
    elif ground.area_m2 is None:
        say("The parcel's shape is not known, so nothing can be said of what fits.")
    else:
        say("Building, lanes for the queue, vacuum bays and ways in and out fit.")
    needs = ground.needs
    rows = [
        ("building length", needs.building_length_m, "m"),
        ("building width", needs.building_width_m, "m"),
        ("lanes for the queue, together", needs.stacking_m, "m"),
        ("pay lanes", float(needs.lanes), "count"),
        ("vacuum bays", float(needs.vacuum_bays), "count"),
        ("ground that this usually takes", ground.area_needed_m2, "m2"),
        ("ground that there is", ground.area_m2, "m2"),
    ]
    show_table(
        pd.DataFrame(rows, columns=["what", "value", "unit"]),
        {"what": ("the site must hold", ""), "value": ("", "@unit")},
        scene,
        caption="What must find a place",
    )


def edit_answers(scene: Scene) -> None:
    """Show the deal-breakers, to be answered; unknown never counts as pass."""
    if scene.hidden:
        st.caption(say_withheld("answers about the parcel"))
        return
    before = tables.make_answer_table(scene.study.ground)
    st.caption(
        "Answer what you know. A fail strikes the site; an ask adds cost and delay to the money "
        "and the ranking, the usual ones where you give none; unknown never counts as pass."
    )
    headings = tables.ANSWER_FIELDS
    money = st.column_config.NumberColumn(min_value=0, format="%.0f")
    after = st.data_editor(
        before,
        key=f"answers-{scene.kept.id}-{scene.kept.revision}",
        width="stretch",
        height=460,
        hide_index=True,
        disabled=["question", "whom to ask", "usually"],
        column_config={
            "question": st.column_config.TextColumn(width="large", pinned=True),
            headings["status"]: st.column_config.SelectboxColumn(
                options=["unknown", "pass", "ask", "fail"], required=True
            ),
            headings["date"]: st.column_config.TextColumn(
                help="year-month-day", validate=r"^$|^\d{4}-\d{2}-\d{2}$"
            ),
            **{
                headings[name]: money
                for name in ("cost_low_usd", "cost_high_usd", "months_low", "months_high")
            },
        },
    )
    changed = tables.read_answer_table(before, after)
    if changed:
        _save_answers(scene, changed)


def _save_answers(scene: Scene, changed: dict[str, dict[str, Any]]) -> None:
    from siteapp.own_line import get_answers

    kept = dict(scene.inputs.answers)
    for key, told in changed.items():
        if told == {"status": "unknown"}:
            kept.pop(key, None)
        else:
            kept[key] = told["status"] if set(told) == {"status"} else told
    if kept == scene.inputs.answers:
        return
    try:
        get_answers(kept, scene.study.sites.ids[0])
    except CaptureError as error:
        st.warning(as_markdown(error, most=600))
        return
    change("deal-breakers answered", answers=kept)
    st.rerun()
