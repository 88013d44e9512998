"""Money: is it worth it, does it fit, and how sure is that?"""

import numpy as np
import pandas as pd
import streamlit as st

from capture.papers.pictures import make_cash_table, make_money_table
from capture.papers.words import say_amount, say_money
from siteapp.charts import draw_cash
from siteapp.frame import open_screen, say
from siteapp.show import numbers_editor, offer_inputs, show_cautions, show_table

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
findings = pd.DataFrame(
    [
        {
            "item": finding.breaker.item,
            "status": finding.status,
            "ask": finding.breaker.ask_whom,
            "low": finding.breaker.cost_low_usd,
            "high": finding.breaker.cost_high_usd,
            "months": finding.breaker.months_high,
            "note": finding.note,
        }
        for finding in getattr(ground, "findings", ())
    ]
)
show_table(
    findings,
    {
        "item": ("item", ""),
        "status": ("status", ""),
        "ask": ("whom to ask", ""),
        "low": ("costs at least", "USD"),
        "high": ("at most", "USD"),
        "months": ("delays up to", "months"),
        "note": ("note", ""),
    },
    scene,
    caption="What no count shows",
)
show_cautions((*money.cautions, *ground.cautions))
numbers_editor(scene, ["money", "ground"])
