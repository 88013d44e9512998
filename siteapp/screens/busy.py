"""Busy hour: when do they come, and what is the hour that the line is built for?"""

import streamlit as st

from capture.papers.hour_tables import (
    make_day_table,
    make_month_hour_table,
    make_range_table,
)
from capture.papers.pictures import make_month_table, make_week_table
from capture.papers.words import say_number, say_spread
from siteapp.charts import draw_months
from siteapp.frame import open_screen, say
from siteapp.hour_parts import show_choice, show_ramp, show_sales, show_weather
from siteapp.line_charts import draw_calendar, draw_heat, draw_ranks
from siteapp.show import numbers_editor, offer_inputs, show_cautions, show_table
from siteapp.year_parts import show_year

scene = open_screen("Busy hour")
study, claim = scene.study, scene.claims[3]
week = make_week_table(study)
top = week.sort_values("cars_per_hour", kind="stable").iloc[-1]
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
show_choice(scene)

left, right = st.columns(2)
with left:
    st.subheader("The fullest hours", anchor=False)
    st.altair_chart(
        draw_ranks(
            make_range_table(study), rank=study.offer.busy_rank, design=study.design_hour_cars
        ),
        width="stretch",
    )
    st.caption(
        "Hours of next year from the busiest on: the line is the middle, the band holds nine years "
        "out of ten; the diamond is the hour chosen, the dashed line what the wash is built for."
    )
with right:
    st.subheader("The year", anchor=False)
    by_month, by_weekday, by_day = st.tabs(["By month", "By weekday", "Day by day"])
    with by_month:
        st.altair_chart(draw_heat(make_month_hour_table(study), "month"), width="stretch")
        st.caption("A larger and darker square is a fuller hour, on average over the month.")
    with by_weekday:
        st.altair_chart(draw_heat(week, "weekday"), width="stretch")
        st.caption("A larger and darker square is a fuller hour of a mean week.")
    with by_day:
        st.altair_chart(draw_calendar(make_day_table(study)), width="stretch")
        st.caption("Each mark is a day; its shape tells whether weather brings more or fewer cars.")

with st.expander("Cars by month"):
    months = make_month_table(study)
    st.altair_chart(draw_months(months), width="stretch")
    st.caption("Cars by month in a mean year.")
    show_table(
        months,
        {"month": ("month", ""), "cars": ("cars", "count")},
        scene,
        caption="Cars by month in a mean year",
    )
with st.expander("What weather does"):
    show_weather(scene)
with st.expander("A young wash"):
    show_ramp(scene)
with st.expander("Your own sales by hour", expanded=bool(scene.inputs.sales)):
    show_sales(scene)
with st.expander("Holidays, closed days, weather", expanded=bool(scene.inputs.year_choice)):
    show_year(scene)
offer_inputs(scene, ["opens_hour", "closes_hour", "years_open"], heading="Opening hours")
show_cautions(study.shape.cautions, scene.system)
numbers_editor(scene, ["hours"])
