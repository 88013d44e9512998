"""Money: is it worth it, and how sure is that?"""

import numpy as np
import streamlit as st

from capture.papers.money_tables import find_land_price
from capture.papers.pictures import make_money_table
from capture.papers.words import say_amount, say_lengths, say_money
from siteapp import money_parts
from siteapp.frame import open_screen, say
from siteapp.show import numbers_editor, offer_inputs, show_cautions, show_table
from siteapp.works_parts import STATUS_WORDS

scene = open_screen("Money")
study, money = scene.study, scene.study.money
table = make_money_table(study)
ceiling = find_land_price(study, 0.5)
say(
    "In the middle of the range <b>{}</b>. The chance that it is worth more than it costs is "
    "<b>{}</b>; {}.",
    money_parts.say_payback(money.payback_years[0]),
    say_amount(float(np.asarray(money.chance_npv_positive)[0]), "share", digits=2),
    f"at even odds the land may cost {say_money(ceiling)}"
    if ceiling > 0
    else "at even odds it would not pay even on land that costs nothing",
)
names = ["Cash over the years", "What moves it", "Land", "Loan and cash", "Knowing more"]
fan, movers, land, debt, knowing = st.tabs(names)
with fan:
    money_parts.show_fan(scene)
with movers:
    money_parts.show_movers(scene)
with land:
    money_parts.show_land(scene)
with debt:
    money_parts.show_debt(scene)
with knowing:
    money_parts.show_knowing(scene)
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
reasons = "; ".join(say_lengths(why, scene.system) for why in ground.reasons)
say("The ground: <b>{}</b>. {}.", STATUS_WORDS[ground.status], reasons)
st.page_link(
    "screens/line.py", label="See it on the parcel and answer", icon=":material/fact_check:"
)
show_cautions(money.cautions, scene.system)
numbers_editor(scene, ["money"])
