"""Share: what part of the cars passing is washed here, and why not more?"""

import streamlit as st

from capture.papers.pictures import make_share_table
from capture.papers.words import say_spread
from siteapp.charts import draw_share
from siteapp.frame import open_screen, say
from siteapp.show import numbers_editor, offer_inputs, show_table

scene = open_screen("Share")
study, claim = scene.study, scene.claims[1]
table = make_share_table(study)
known = int(study.fit.known_count)
say(
    "<b>{}</b> of the vehicles passing are washed here ({}). It is counted per passing: a commuter "
    "passes twice a day. It rests on {}.",
    claim.said,
    say_spread(claim.summed.range, scene.system),
    f"{known} known sites and starting values from trade practice" if known else
    "starting values from trade practice alone, since no known sites were given",
)  # fmt: skip
st.altair_chart(draw_share(table), width="stretch")
st.caption(
    "From a typical wash at a reference site, each step multiplies the share: green raises, red "
    "lowers; the sign x says by how much."
)
show_table(
    table,
    {
        "name": ("step", ""),
        "factor": ("times", "@unit"),
        "low": ("at least", "@unit"),
        "high": ("at most", "@unit"),
        "known": ("known here", ""),
    },
    scene,
    caption="Steps from the reference share to this site's",
)
offer_inputs(
    scene,
    ["format", "bays", "ticket_price_usd", "plan_offered", "plan_price_usd_month", "years_open"]
    if not scene.offer.is_conveyor
    else ["format", "ticket_price_usd", "plan_offered", "years_open"],
)
numbers_editor(scene, ["share"])
