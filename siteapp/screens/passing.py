"""Passing: who drives past, in which direction, and how well is it known?"""

import streamlit as st

from capture.papers.layers import make_count_layer, make_road_layer, make_site_layer
from capture.papers.layers import make_stream_layer as make_streams
from capture.papers.marks import drop_empty
from capture.papers.pictures import make_stream_table
from capture.papers.words import say_number, say_spread
from siteapp.charts import draw_streams
from siteapp.frame import open_screen, say
from siteapp.show import numbers_editor, show_map, show_table

scene = open_screen("Passing")
study, claim = scene.study, scene.claims[0]
table = make_stream_table(study)
counted = sorted(set(table["known_by"]))
say(
    "<b>{} vehicles</b> that could be washed pass this site on a mean day ({}); {}. Heavy trucks "
    "and buses are already taken out.",
    say_number(claim.summed.range.value),
    say_spread(claim.summed.range, scene.system),
    "counted on every road here" if counted == ["measured"] else
    "no count stands here, so the road's kind was used" if counted == ["estimated"] else
    "some of it counted, some estimated",
)  # fmt: skip
left, right = st.columns([3, 2])
with left:
    x, y = float(study.sites.x[0]), float(study.sites.y[0])
    plane = study.place.network.projection
    layers = drop_empty(
        (
            make_road_layer(study.place, study.volumes, x=x, y=y),
            make_streams(study.place, study.streams, study.turning, study.seeing,
                         system=scene.system),
            make_count_layer(study.volumes, plane, shown=True),
            make_site_layer(study.sites, study.frontage, plane),
        )
    )  # fmt: skip
    centre = (float(study.sites.lat[0]), float(study.sites.lon[0]))
    show_map(scene, layers, key=f"passing-{scene.kept.id}", centre=centre, zoom=15)
    st.caption("The wider the line, the more vehicles a day; solid is counted, dashed estimated.")
with right:
    st.altair_chart(draw_streams(table), width="stretch")
    st.caption("Filled bars are counted, open bars estimated; the line is nine times out of ten.")
show_table(
    table,
    {
        "road": ("road", ""),
        "side": ("side", ""),
        "vehicles_per_day": ("vehicles a day", "count"),
        "low": ("at least", "count"),
        "high": ("at most", "count"),
        "known_by": ("known by", ""),
        "speed_mps": ("speed", "mps"),
        "source": ("from", ""),
    },
    scene,
    caption="Directions past the site",
)
numbers_editor(scene, ["passing", "place"])
