"""Line: what line does that hour need, does it queue, what must be piped, does it fit?"""

import streamlit as st

from capture.papers.words import say_amount, say_money, say_number
from siteapp import line_parts, queue_parts, works_parts
from siteapp.frame import open_screen, say
from siteapp.show import numbers_editor, offer_inputs

scene = open_screen("Line")
study, line = scene.study, scene.study.line
if study.offer.is_conveyor:
    say(
        "<b>{}{} of line</b> at <b>{}</b> carries {} cars an hour; a car is inside for {}. "
        "Equipment costs about {}.",
        f"{line.lines} times " if line.lines > 1 else "",
        say_amount(line.length_m, "m", scene.system),
        say_amount(line.chain_speed_mps, "chain_mps", scene.system, digits=2),
        say_number(line.cars_per_hour, digits=2),
        say_amount(line.line_s / 60, "min", digits=2),
        say_money(line.capital_usd),
    )
    line_parts.show_drawing(scene)
else:
    say(
        "<b>{} bays</b> serve {} cars an hour; equipment costs about {}.",
        line.bays,
        say_number(line.cars_per_hour, digits=2),
        say_money(line.capital_usd),
    )
offer_inputs(
    scene,
    ["format", "guided_loading", "pay_lanes", "building_limit_m", "headroom_share", "reclaim"]
    if study.offer.is_conveyor
    else ["format", "bays", "headroom_share", "reclaim"],
)
study = scene.complete()
names = ["Stations", "Which line", "Queue", "Water and power", "The ground", "Take away"]
if not study.offer.is_conveyor:
    names = ["Bays", *names[2:]]
tabs = dict(zip(names, st.tabs(names), strict=True))
if study.offer.is_conveyor:
    with tabs["Stations"]:
        line_parts.show_stations(scene)
    with tabs["Which line"]:
        line_parts.show_choices(scene)
else:
    with tabs["Bays"]:
        line_parts.show_bays(scene)
with tabs["Queue"]:
    queue_parts.show_queue(scene, study)
with tabs["Water and power"]:
    works_parts.show_utilities(scene, study)
with tabs["The ground"]:
    works_parts.show_ground(scene)
with tabs["Take away"]:
    works_parts.show_schedule(scene, study)
numbers_editor(scene, ["line", "utilities", "ground"])
