"""Money: is it worth it, does it fit, and how sure is that?"""

import numpy as np
import streamlit as st

from capture.papers.layers import make_ground_layer, make_site_layer
from capture.papers.marks import drop_empty
from capture.papers.pictures import make_cash_table, make_money_table
from capture.papers.words import say_amount, say_money
from siteapp.charts import draw_cash
from siteapp.frame import open_screen, say
from siteapp.show import (
    answers_editor,
    numbers_editor,
    offer_inputs,
    show_cautions,
    show_map,
    show_table,
)

scene = open_screen("Money")
study, money, claim = scene.study, scene.study.money, scene.claims[5]
table = make_money_table(study)
rows = table.set_index("key")
ceiling = float(rows.loc["land_ceiling_usd", "value"])
say(
    "<b>{} {}</b>. The chance that it is worth more than it costs is <b>{}</b>; {}.",
    claim.said,
    claim.words,
    say_amount(float(np.asarray(money.chance_npv_positive)[0]), "share", digits=2),
    f"at the middle of the range the land may cost {say_money(ceiling)}"
    if ceiling > 0
    else "at the middle of the range it would not pay even on land that costs nothing",
)
st.altair_chart(draw_cash(make_cash_table(study)), width="stretch")
st.caption(
    "Cash gathered since the contract: the line is the middle, the band nine times out of ten. It "
    "pays back where it crosses zero; the last rise is what can still be sold after ten years."
)
show_table(
    table,
    {
        "what": ("what", ""),
        "value": ("middle", "@unit"),
        "low": ("at least", "@unit"),
        "high": ("at most", "@unit"),
        "mean": ("mean", "@unit"),
        "words": ("note", ""),
    },
    scene,
    caption="What the site is worth",
)
offer_inputs(scene, ["ticket_price_usd", "plan_price_usd_month", "land_cost_usd", "years_open"])
st.subheader("Does it fit, and what could end it?", anchor=False)
ground = study.ground
say("The ground stands at <b>{}</b>. {}", ground.status, "; ".join(ground.reasons))
layers = drop_empty(
    (
        make_site_layer(study.sites, study.frontage, study.place.network.projection),
        make_ground_layer(ground, study.place.network.projection),
    )
)
left, right = st.columns(2)
with left:
    centre = (float(study.sites.lat[0]), float(study.sites.lon[0]))
    show_map(scene, layers, key=f"ground-{scene.kept.id}", centre=centre, zoom=19, height=420)
    st.caption("How the wash would stand on the parcel, as far as its shape is known.")
with right:
    answers_editor(scene, ground.to_rows())
show_cautions((*money.cautions, *ground.cautions))
numbers_editor(scene, ["money", "ground"])
