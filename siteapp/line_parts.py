"""What can be chosen, changed and read of the line: its stations, its size, its queue?"""

from __future__ import annotations

import base64
from typing import Any, Final

import pandas as pd
import streamlit as st

from capture.basis import CaptureError, convert_in, convert_out
from capture.papers import line_tables as tables
from capture.papers.words import say_amount, say_number
from siteapp.frame import Scene, change, say
from siteapp.line_charts import draw_bays, draw_frontier
from siteapp.own_line import OWN, get_choice, make_catalog
from siteapp.show import keep_in_step, show_table
from siteapp.text import as_markdown

_SHORTEST: Final = ""
_SHORTEST_WORDS: Final = "the shortest that serves"
_STATION_COLUMNS: Final = {
    "number": ("no.", "count"),
    "name": ("station", ""),
    "start_m": ("starts at", "m"),
    "length_m": ("length", "m"),
    "enters_s": ("reached after", "s"),
    "count": ("units", "count"),
    "flow_m3s": ("water", "m3s"),
    "pressure_pa": ("pressure", "pa"),
    "power_w": ("power", "w"),
    "cost_usd": ("cost", "USD"),
}


def show_drawing(scene: Scene) -> None:
    """Show the line to scale with the story of soil, chemistry and rinse along it."""
    from capture.line import render_line

    drawn = render_line(
        scene.study.line, units=scene.system, listing=False, values=scene.study.numbers["line"]
    )
    coded = base64.b64encode(drawn.encode()).decode()
    st.markdown(
        '<div class="table" role="region" tabindex="0" aria-label="drawing of the line">'
        '<img class="drawn" alt="The line to scale, from the side and from above; its stations are '
        f'in the table below" style="width:100%;min-width:58rem" '
        f'src="data:image/svg+xml;base64,{coded}">'
        "</div>",
        unsafe_allow_html=True,
    )
    st.caption(
        "The line to scale, from the side and from above: what happens to the soil, "
        f"{'feet' if scene.system == 'us' else 'metres'} and seconds from entry. Numbers are those "
        "of the stations below."
    )


def show_stations(scene: Scene) -> None:
    """Show the stations, choose a package, and change, add, remove or reorder them."""
    from capture.papers.pictures import make_station_table

    _package_input(scene)
    breaks = tables.make_rule_table(scene.study.line)
    if len(breaks):
        show_table(
            breaks,
            {"found": ("against common practice", ""), "reason": ("why practice advises", "")},
            scene,
            caption="Advice on order and spacing that this line does not keep to",
        )
    else:
        st.caption("Order and spacing keep to what practice advises.")
    _mud_input(scene)
    stations = make_station_table(scene.study)
    stations.insert(0, "number", range(1, len(stations) + 1))
    show_table(stations, _STATION_COLUMNS, scene, caption="Stations in order")
    with st.expander("What each station puts on the car, and what else it does"):
        show_table(
            tables.make_story_table(scene.study.line, make_catalog(scene.inputs.line)),
            {
                "number": ("no.", "count"),
                "name": ("station", ""),
                "purpose": ("for", ""),
                "chemistry": ("chemistry", ""),
                "water": ("water", ""),
                "contact_s": ("worked on", "s"),
                "dwell": ("should act", ""),
                "side_effects": ("side effects", ""),
            },
            scene,
            caption="Soil, chemistry and rinse along the line",
        )
    with st.expander("Change, add, remove or reorder stations"):
        _edit_stations(scene)


def _mud_input(scene: Scene) -> None:
    key = f"mud-{scene.kept.id}"
    keep_in_step(key, bool(scene.inputs.line.get("mud_roads")))

    def save() -> None:
        line = {name: value for name, value in scene.inputs.line.items() if name != "mud_roads"}
        if st.session_state[key]:
            line["mud_roads"] = True
        change("roads of mud or dirt", line=line)

    st.checkbox(
        "Mud or dirt roads lead here, so preparing cars by hand is no fault",
        key=key,
        on_change=save,
    )


def _package_input(scene: Scene) -> None:
    line = scene.inputs.line
    catalog = make_catalog(line)
    fitting = [
        name
        for name, one in catalog.packages.items()
        if scene.offer.format in one.formats or name == OWN
    ]
    options = [_SHORTEST, *fitting]
    now = OWN if line.get("stations") else line.get("package", _SHORTEST)
    if now not in options:
        options.append(now)
    key = f"package-{scene.kept.id}"
    keep_in_step(key, now)

    def save() -> None:
        chosen = str(st.session_state[key])
        kept = {
            name: value
            for name, value in line.items()
            if name not in {"package", "stations", "from"}
        }
        if chosen == OWN:
            kept = dict(line)
        elif chosen:
            kept["package"] = chosen
        change("stations: another package", line=kept)

    st.selectbox(
        "Package of stations",
        options,
        # words that stay the same: the toolkit takes a choice by what it reads
        format_func=lambda name: catalog.packages[name].name if name else _SHORTEST_WORDS,
        key=key,
        on_change=save,
    )
    if not now and scene.study.line.package in catalog.packages:
        st.caption(
            as_markdown(f"That is the {catalog.packages[scene.study.line.package].name}.", most=200)
        )


def _edit_stations(scene: Scene) -> None:
    line = scene.inputs.line
    catalog = make_catalog(line)
    package = scene.study.line.package
    stations = catalog.pick(package)
    before = tables.make_edit_table(stations, scene.system)
    before.insert(0, "remove", [False] * len(before))
    st.caption(
        "A place of 2.5 stands after the second. Amounts are of one arch, applicator or dryer; "
        "how many there are follows from the chain's speed."
    )
    after = st.data_editor(
        before,
        key=f"stations-{scene.kept.id}-{scene.kept.revision}-{scene.system}",
        width="stretch",
        hide_index=True,
        height=min(38 * (len(before) + 1), 640),
        disabled=["station", "hangs over"],
    )
    if not after.equals(before):
        _save_stations(scene, package, before, after)
    _add_station(scene, catalog, package, [one.id for one in stations])
    _save_package(scene, package, [one.id for one in stations])
    if any(line.get(name) for name in ("stations", "changed", "added")) and st.button(
        "Go back to the usual stations", icon=":material/undo:"
    ):
        kept = {
            name: value
            for name, value in line.items()
            if name not in {"stations", "changed", "added", "from", "package"}
        }
        change("stations: back to the usual ones", line=kept)
        st.rerun()


def _save_stations(scene: Scene, package: str, before: pd.DataFrame, after: pd.DataFrame) -> None:
    line = dict(scene.inputs.line)
    left = after[~after["remove"].astype(bool)]
    try:
        order, changed = tables.read_edit_table(before, left, scene.system)
        told = {name: dict(fields) for name, fields in line.get("changed", {}).items()}
        for station, fields in changed.items():
            told.setdefault(station, {}).update(fields)
        line["changed"] = told
        if order != list(before.index):
            line["stations"], line["from"] = order, _base_of(line, package)
        _try_line(scene, line)
    except CaptureError as error:
        st.warning(as_markdown(error, most=900))
        return
    change("stations changed", line={name: value for name, value in line.items() if value})
    st.rerun()


def _base_of(line: dict[str, Any], package: str) -> str:
    return str(line.get("from", "")) if package == OWN else package


def _try_line(scene: Scene, line: dict[str, Any]) -> None:
    """Refuse stations that make no line, before they are kept."""
    from capture.line import size_line

    choice = get_choice(line)
    size_line(
        scene.study.design_hour_cars, scene.offer, package=choice.package, catalog=choice.catalog,
        values=scene.study.numbers["line"],
    )  # fmt: skip


def _keep_line(scene: Scene, line: dict[str, Any], said: str) -> None:
    try:
        _try_line(scene, line)
    except CaptureError as error:
        st.warning(as_markdown(error, most=900))
        return
    change(said, line=line)
    st.rerun()


def _add_station(scene: Scene, catalog: Any, package: str, ids: list[str]) -> None:
    line = dict(scene.inputs.line)
    spare = [name for name in catalog.stations if name not in ids]
    with st.form(f"add-{scene.kept.id}-{scene.kept.revision}", border=True):
        st.markdown("**Add a station**")
        left, right = st.columns([2, 1])
        with left:
            chosen = st.selectbox(
                "Station",
                ["", *spare],
                format_func=lambda name: catalog.stations[name].name if name else "one of my own",
            )
            name = st.text_input("Its name, when it is your own", max_chars=60)
        with right:
            after = st.selectbox(
                "Stands after",
                ids,
                index=len(ids) - 2,
                format_func=lambda one: _named(catalog, one),
            )
            unit = convert_out(0.0, "m", scene.system)[1]
            length = st.number_input(f"Its length, {unit}", 0.0, 200.0, 4.0)
            power = st.number_input(
                f"Its power, {convert_out(0.0, 'w', scene.system)[1]}", 0.0, 500.0, 5.0
            )
            cost = st.number_input("Its cost, $", 0.0, 1e7, 20_000.0, step=1000.0)
        if not st.form_submit_button("Add it"):
            return
    new = chosen
    if not chosen:
        if not name.strip():
            st.warning("A station of your own needs a name.")
            return
        new = f"own_{len(line.get('added', {})) + 1}"
        fields = {
            "name": name.strip(),
            "role": "own",
            "purpose": "added by hand",
            "body_m": convert_in(length, "m", scene.system),
            "power_w": convert_in(power, "w", scene.system),
            "cost_usd": cost,
        }
        line["added"] = {**line.get("added", {}), new: fields}
    at = ids.index(after) + 1
    line["from"] = _base_of(line, package)
    line["stations"] = [*ids[:at], new, *ids[at:]]
    _keep_line(scene, line, "a station added")


def _named(catalog: Any, station: str) -> str:
    return str(catalog.stations[station].name)


def _save_package(scene: Scene, package: str, ids: list[str]) -> None:
    left, right = st.columns([3, 1], vertical_alignment="bottom")
    with left:
        name = st.text_input(
            "Keep these stations as a package named", max_chars=40, key=f"keep-{scene.kept.id}"
        )
    with right:
        pressed = st.button("Keep as a package", disabled=not name.strip())
    if pressed:
        line = dict(scene.inputs.line)
        told = {"stations": ids, "from": _base_of(line, package)}
        line["packages"] = {**line.get("packages", {}), name.strip(): told}
        _keep_line(scene, line, f"package {name.strip()} kept")


def show_choices(scene: Scene) -> None:
    """Show which line could be built instead: the frontier, a given length, several lines."""
    study, line = scene.study, scene.study.line
    choice = get_choice(scene.inputs.line)
    own = {"catalog": choice.catalog, "package": choice.package}
    table, chosen = tables.make_frontier_table(study, **own)
    st.altair_chart(draw_frontier(table, chosen, scene.system), width="stretch")
    st.caption(
        "Each mark is the shortest line for its cars an hour; larger marks cost more. The open "
        "diamond is the line chosen" + (", one of several side by side." if line.lines > 1 else ".")
    )
    left, right = st.columns([1, 2], vertical_alignment="bottom")
    unit = convert_out(0.0, "m", scene.system)[1]
    with left:
        length = st.number_input(
            f"A building is given: its line may be, {unit}",
            10.0,
            500.0,
            round(convert_out(float(line.length_m), "m", scene.system)[0]) * 1.0,
            step=5.0,
            key=f"given-{scene.kept.id}-{scene.system}",
        )
    with right:
        try:
            best = tables.find_most_cars(study, convert_in(length, "m", scene.system), **own)
        except CaptureError as error:
            st.info(as_markdown(error, most=500))
        else:
            say(
                "That building carries at most <b>{} cars an hour</b>, at {} ({}, {}).",
                say_number(best.cars_per_hour, digits=2),
                say_amount(best.chain_speed_mps, "chain_mps", scene.system, digits=2),
                make_catalog(scene.inputs.line).packages[best.package].name,
                say_amount(best.length_m, "m", scene.system),
            )
    show_table(
        tables.make_parallel_table(study, **own),
        {
            "lines": ("lines side by side", "count"),
            "length_m": ("each line", "m"),
            "chain_speed_mps": ("chain", "chain_mps"),
            "cars_per_hour": ("all together", "cars/h"),
            "building_length_m": ("building length", "m"),
            "building_width_m": ("building width", "m"),
            "capital_usd": ("equipment", "USD"),
        },
        scene,
        caption="The same hour over one, two or three lines",
    )
    _show_formats(scene)


def _show_formats(scene: Scene) -> None:
    show_table(
        tables.make_format_table(scene.study),
        {
            "kind": ("kind of wash", ""),
            "built": ("what meets the hour", ""),
            "building_length_m": ("building length", "m"),
            "cars_per_hour": ("carries", "cars/h"),
            "capital_usd": ("equipment", "USD"),
        },
        scene,
        caption="The same hour, met by each kind of wash (how many would come to it is another "
        "matter: change the kind of wash to see)",
    )


def show_bays(scene: Scene) -> None:
    """Show how many bays the hour needs."""
    st.altair_chart(draw_bays(tables.make_bays_table(scene.study)), width="stretch")
    st.caption("Nobody waits for a bay: who finds all taken drives on.")
    _show_formats(scene)
