"""Turning in & seeing: can drivers get in and out, and do they see the wash in time?"""

import streamlit as st

from capture.papers.approach import make_approach, make_view_table
from capture.papers.layers import make_sight_layer, make_site_layer, make_stream_layer
from capture.papers.marks import drop_empty
from capture.papers.pictures import make_delay_table, make_stream_table
from capture.papers.words import say_amount
from siteapp.charts import draw_approach, draw_delay
from siteapp.frame import open_screen, say
from siteapp.show import numbers_editor, offer_inputs, show_cautions, show_map, show_table

scene = open_screen("Turning in & seeing")
study = scene.study
table = make_stream_table(study)
slow, hidden = table.loc[table["delay_s"].idxmax()], table.loc[table["sight_share"].idxmin()]
say(
    "The hardest way in is from the {} side of <b>{}</b>: {} lost turning in and going back. The "
    "worst view is from the {} side of <b>{}</b>: seen from {} where {} are needed to decide.",
    slow["side"], slow["road"], say_amount(slow["delay_s"], "s"),
    hidden["side"], hidden["road"], say_amount(hidden["seen_m"], "m", scene.system),
    say_amount(hidden["needed_m"], "m", scene.system),
)  # fmt: skip
left, right = st.columns([3, 2])
with left:
    plane = study.place.network.projection
    layers = drop_empty(
        (
            make_sight_layer(study.seeing, plane),
            make_stream_layer(study.place, study.streams, study.turning, study.seeing,
                              system=scene.system),
            make_site_layer(study.sites, study.frontage, plane),
        )
    )  # fmt: skip
    centre = (float(study.sites.lat[0]), float(study.sites.lon[0]))
    show_map(scene, layers, key=f"turning-{scene.kept.id}", centre=centre, zoom=17)
    st.caption("Solid green lines of sight are clear, dotted red ones blocked.")
with right:
    st.altair_chart(draw_delay(make_delay_table(study)), width="stretch")
    st.caption("Seconds that turning in and going back costs, by hour; it is capped.")
show_table(
    table,
    {
        "road": ("road", ""),
        "side": ("side", ""),
        "way_in": ("way in", ""),
        "way_out": ("way out", ""),
        "delay_s": ("lost", "s"),
        "service_letter": ("level of service", ""),
        "seen_m": ("seen from", "m"),
        "needed_m": ("needed", "m"),
        "sight_share": ("seen in time", "share"),
    },
    scene,
    caption="Getting in and being seen, by direction",
)
st.subheader("The way to the driveway, second by second", anchor=False)
ways = [f"{row.road}, {row.side} side ({n + 1})" for n, row in enumerate(table.itertuples())]
way = st.selectbox("Drive the way of", ways, key=f"way-{scene.kept.id}")
approach = make_approach(study, ways.index(way))
events = approach.events.assign(number=range(1, len(approach.events) + 1))
st.altair_chart(draw_approach(make_view_table(approach), events), width="stretch")
st.caption("Filled bars: in view; open bars: hidden. Diamonds are what is passed, numbered below.")
show_table(
    events,
    {
        "number": ("no.", "count"),
        "seconds": ("seconds to go", "s"),
        "distance_m": ("to go", "m"),
        "what": ("what happens", ""),
    },
    scene,
    caption="On the way",
)
said = [
    text
    for found in (study.turning.cautions, study.seeing.cautions)
    for row in found
    for text in row
]
show_cautions(said)
offer_inputs(scene, ["sign_height_m"])
numbers_editor(scene, ["turning", "seeing"])
