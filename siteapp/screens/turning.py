"""Turning in & seeing: can drivers get in and out, and do they see the wash in time?"""

import numpy as np
import streamlit as st

from capture.papers import turning_layers, turning_tables
from capture.papers.drive import make_drive
from capture.papers.layers import make_site_layer, make_stream_layer
from capture.papers.marks import drop_empty
from capture.papers.passing_tables import name_streams
from capture.papers.words import say_amount
from siteapp.frame import open_screen, say
from siteapp.ground_clicks import make_click, make_spot_layer, pick_mode, show_clicked
from siteapp.show import numbers_editor, show_map, show_table
from siteapp.text import tell_apart
from siteapp.turning_charts import draw_drive, draw_hour_delays
from siteapp.turning_parts import list_kept, show_what_if

scene = open_screen("Turning in & seeing")
study, system = scene.study, scene.system
names = list(tell_apart(dict(enumerate(name_streams(study.streams)))).values())


def tell() -> None:
    """Say the hardest way in and the worst view."""
    delay, sight = np.asarray(study.turning.delay_s), np.asarray(study.seeing.sight)
    slow = int(np.argmax(delay))
    say(
        "The hardest way in and back out is from <b>{}</b>: {} lost. In: {}; back out: {}.",
        names[slow],
        say_amount(float(delay[slow]), "s", digits=2),
        study.turning.way_in[slow],
        study.turning.way_out[slow],
    )
    hidden = int(np.argmin(sight))
    if sight[hidden] >= 1:
        say("Every passing driver sees the wash in time to turn in.")
        return
    say(
        "The worst view is from <b>{}</b>: seen from {} where {} are needed to decide.",
        names[hidden],
        say_amount(float(study.seeing.seen_m[hidden]), "m", system),
        say_amount(float(study.seeing.needed_m[hidden]), "m", system),
    )


def draw_map(stream: int | None, mode: str) -> None:
    """Show lines of sight, where letters are read, triangles, directions and what hides."""
    plane = study.place.network.projection
    layers = drop_empty(
        (
            turning_layers.make_screen_layer(study, system=system),
            turning_layers.make_ray_layer(study, stream),
            turning_layers.make_triangle_layer(study, stream, system=system),
            turning_layers.make_reach_layer(study, stream, system=system),
            make_stream_layer(
                study.place, study.streams, study.turning, study.seeing, system=system
            ),
            make_site_layer(study.sites, study.frontage, plane),
            turning_layers.make_thing_layer(study),
            make_spot_layer(scene),
        )
    )
    centre = (float(study.sites.lat[0]), float(study.sites.lon[0]))
    rows = None if stream is None else [stream]
    show_map(
        scene, layers, key=f"turning-{scene.kept.id}-{stream}-{mode == 'look'}", centre=centre,
        zoom=16 if mode == "look" else 17, height=600 if mode == "look" else 440,
        drive=make_drive(study, rows, system=system, opened=mode == "look"),
        on_click=make_click(scene, mode),
    )  # fmt: skip
    st.caption(
        "Press Drive, or move the slider, to come along second by second: lines run from the car "
        "to what is in view, dotted where it is hidden. The fans of lines run from the driver's "
        "eye to the sign: solid is clear, dotted blocked. Rings say from where the wash is seen "
        "and its letters are read."
    )


def show_drive(stream: int) -> None:
    """Show the driver's strip of one direction."""
    events = turning_tables.make_drive_events(study, stream, system)
    speed = float(study.streams.speed_mps[stream])
    seeing = study.seeing
    seen, needed = float(seeing.seen_m[stream]), float(seeing.needed_m[stream])
    say(
        "At {} the wash is seen for the last <b>{}</b> ({}) without a break; {} are needed. "
        "Letters must be {} high to be read as soon as that.",
        say_amount(speed, "mps", system, digits=2),
        say_amount(seen, "m", system, digits=2),
        say_amount(float(seeing.seen_s[stream]), "s", digits=2),
        say_amount(needed, "m", system, digits=2),
        turning_tables.say_letter(float(seeing.letter_m[stream]), system),
    )
    view = turning_tables.make_drive_table(study, stream, system)
    chart = draw_drive(view, events, needed_m=needed, speed_mps=speed, system=system)
    st.altair_chart(chart, width="stretch")
    st.caption(
        "What this driver sees, left to right on the way in: filled bars in view, open bars "
        "hidden; diamonds are what is passed, numbered as below."
    )
    show_table(
        events,
        {
            "number": ("no.", "count"),
            "distance_m": ("to go", "m"),
            "seconds": ("in", "s"),
            "what": ("what happens", ""),
        },
        scene,
        caption="On the way, at the road's speed",
    )


def show_ways() -> None:
    """Show ways in and out with waits, queue and level of service."""
    st.altair_chart(draw_hour_delays(turning_tables.make_hour_delays(study)), width="stretch")
    st.caption("Seconds that turning in and going back costs in each hour of the day; capped.")
    ways = turning_tables.make_way_table(study)
    show_table(
        ways,
        {
            "stream": ("coming along", ""),
            "way_in": ("way in", ""),
            "way_out": ("way back out", ""),
            "delay_s": ("lost in all", "s"),
        },
        scene,
        caption="Ways in and out",
    )
    show_table(
        ways,
        {
            "stream": ("coming along", ""),
            "wait_in_s": ("wait to turn in", "s"),
            "wait_out_s": ("wait to turn out", "s"),
            "detour_s": ("longer way", "s"),
            "service_letter": ("level of service", ""),
            "queue95_veh": ("queue, 19 in 20 times at most", "count"),
            "corner_m": ("next junction", "m"),
            "signal_m": ("next signal", "m"),
        },
        scene,
        caption="Waits, queue and spacing",
    )
    st.caption(
        "Level of service runs from A, hardly any wait, to F, a wait that few accept, in the worst "
        "hour of washing; the queue is in vehicles, on the movement that waits longest. Junctions "
        "and signals are looked for along the road up to a fixed reach."
    )


def show_seen() -> None:
    """Show what is seen from where, sight triangles and the low sun."""
    show_table(
        turning_tables.make_seen_table(study, system),
        {
            "stream": ("coming along", ""),
            "seen_m": ("seen from", "m"),
            "seen_s": ("before", "s"),
            "needed_m": ("needed", "m"),
            "sight_share": ("seen in time", "share"),
            "sign_m": ("sign alone", "m"),
            "front_m": ("building alone", "m"),
            "driveway_m": ("driveway's mouth", "m"),
            "letters": ("letters at least", ""),
        },
        scene,
        caption="Being seen, by direction",
    )
    triangles = turning_tables.make_triangle_table(study, system)
    failing = int((triangles["short_m"] > 0).sum())
    say(
        "Sight triangles, over which a turning driver and traffic must see each other: <b>{}</b>.",
        "all clear" if not failing else f"{failing} of {len(triangles)} fail",
    )
    show_table(
        triangles,
        {
            "stream": ("traffic coming along", ""),
            "who": ("must see and be seen by", ""),
            "seen_m": ("clear over", "m"),
            "asked_m": ("asked for", "m"),
            "verdict": ("so it", ""),
        },
        scene,
        caption="Sight triangles, a caution for a traffic engineer",
    )
    sun = turning_tables.make_sun_table(study)
    if sun.empty:
        say("No direction drives into a low sun.")
    else:
        columns = {"stream": ("coming along", ""), "said": ("when", "")}
        show_table(sun, columns, scene, caption="Low sun ahead of the driver")


tell()
list_kept(scene)
way = st.selectbox(
    "Sit in the car of", [None, *range(len(names))], index=1 if names else 0,
    format_func=lambda r: "every direction at once (map)" if r is None else names[r],
    key=f"way-{scene.kept.id}-{len(names)}",
)  # fmt: skip
mode = pick_mode(scene)
draw_map(way, mode)
show_clicked(scene, mode)
show_drive(way or 0)
what_if, ways_tab, seen_tab = st.tabs(["What if", "Getting in and out", "Being seen"])
with what_if:
    show_what_if(scene)
with ways_tab:
    show_ways()
with seen_tab:
    show_seen()
cautions = turning_tables.make_caution_table(study, system)
if len(cautions):
    show_table(
        cautions,
        {"stream": ("coming along", ""), "said": ("caution", "")},
        scene,
        caption="What to watch for",
    )
numbers_editor(scene, ["turning", "seeing"])
