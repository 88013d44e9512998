"""Busy hour: how many cars come in the hour that the line is built for?"""

import streamlit as st

from capture.papers.pictures import make_duration_table, make_month_table, make_week_table
from capture.papers.words import say_number, say_spread
from siteapp.charts import draw_duration, draw_months, draw_week
from siteapp.frame import open_screen, say
from siteapp.show import numbers_editor, offer_inputs, show_table

scene = open_screen("Busy hour")
study, claim = scene.study, scene.claims[3]
week = make_week_table(study)
top = week.loc[week["cars_per_hour"].idxmax()]
say(
    "In next year's {}th busiest hour <b>{} cars</b> come ({}). {} at {}:00 is the busiest hour of "
    "a mean week, with {}.",
    study.offer.busy_rank,
    claim.said,
    say_spread(claim.summed.range),
    {"Mon": "Monday", "Tue": "Tuesday", "Wed": "Wednesday", "Thu": "Thursday", "Fri": "Friday",
     "Sat": "Saturday", "Sun": "Sunday"}[top["weekday"]],
    top["hour"],
    say_number(float(top["cars_per_hour"]), digits=2),
)  # fmt: skip
left, right = st.columns(2)
with left:
    st.altair_chart(draw_week(week), width="stretch")
    st.caption("The larger the dot, the more cars in that hour of a mean week.")
with right:
    duration = draw_duration(
        make_duration_table(study),
        rank=study.offer.busy_rank,
        hour=claim.summed.range.value,
        design=study.design_hour_cars,
    )
    st.altair_chart(duration, width="stretch")
    st.caption(
        "Hours of a mean year in order; the diamonds are a real year's, with its luck and weather."
    )
months = make_month_table(study)
st.altair_chart(draw_months(months), width="stretch")
st.caption("Cars by month in a mean year.")
show_table(
    months,
    {"month": ("month", ""), "cars": ("cars", "count")},
    scene,
    caption="Cars by month in a mean year",
)
offer_inputs(scene, ["opens_hour", "closes_hour", "busy_rank", "headroom_share"])
numbers_editor(scene, ["hours"])
