"""Line: what line does that hour need, does it queue, what must be piped and wired?"""

import streamlit as st

from capture.papers.pictures import make_queue_table, make_station_table, make_utility_table
from capture.papers.words import say_amount, say_money, say_number
from siteapp.charts import draw_line, draw_queue
from siteapp.frame import open_screen, say
from siteapp.show import numbers_editor, offer_inputs, show_cautions, show_table

scene = open_screen("Line")
study, line = scene.study, scene.study.line
if study.offer.is_conveyor:
    say(
        "<b>{} of line</b> at <b>{}</b> carries {} cars an hour; a car is inside for {}. Equipment "
        "costs about {}.",
        say_amount(line.length_m, "m", scene.system),
        say_amount(line.chain_speed_mps, "chain_mps", scene.system, digits=2),
        say_number(line.cars_per_hour, digits=2),
        say_amount(line.line_s / 60, "min", digits=2),
        say_money(line.capital_usd),
    )
    stations = make_station_table(study)
    st.altair_chart(draw_line(stations, scene.system), width="stretch")
    st.caption("The line to scale: boxes are zones in order, marks above hang over another's zone; "
               "numbers as in the table.")  # fmt: skip
    stations.insert(0, "number", range(1, len(stations) + 1))
    show_table(
        stations,
        {
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
        },
        scene,
        caption="Stations in order",
    )
else:
    say(
        "<b>{} bays</b> serve {} cars an hour; equipment costs about {}.",
        line.bays,
        say_number(line.cars_per_hour, digits=2),
        say_money(line.capital_usd),
    )
offer_inputs(
    scene,
    ["format", "headroom_share", "guided_loading", "pay_lanes", "building_limit_m", "reclaim"]
    if study.offer.is_conveyor
    else ["format", "bays", "headroom_share", "reclaim"],
)
study = scene.complete()
queue = study.queue
left, right = st.columns(2)
with left:
    st.subheader("Queue", anchor=False)
    say(
        "On 19 of 20 days the queue fits in <b>{} places</b> ({}); {} of a year's cars drive on.",
        queue.stacking_cars,
        say_amount(queue.stacking_m, "m", scene.system),
        say_amount(queue.lost_share, "share", digits=2),
    )
    st.altair_chart(draw_queue(make_queue_table(study), queue.stacking_places), width="stretch")
    st.caption("Cars found waiting by hour of arrival, over many simulated days.")
with right:
    st.subheader("Water and power", anchor=False)
    show_table(
        make_utility_table(study),
        {"what": ("figure", ""), "value": ("middle", "@unit"), "low": ("at least", "@unit"),
         "high": ("at most", "@unit")},
        scene,
        caption="What must be piped and wired",
    )  # fmt: skip
show_cautions((*line.cautions, *queue.cautions, *study.utilities.cautions))
numbers_editor(scene, ["line", "utilities"])
