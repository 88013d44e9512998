"""Share: what part of the cars passing is washed here, why not more, and how sure is that?"""

import streamlit as st

from capture.papers.words import say_spread
from siteapp.frame import open_screen, say
from siteapp.known_parts import mend_known, show_known
from siteapp.operator_parts import show_operator
from siteapp.share_parts import ask_for_site, show_hope, show_trust, show_why
from siteapp.show import numbers_editor

scene = open_screen("Share", needs_site=False)
if scene.study is None:
    mend_known(scene)
    ask_for_site(scene)
claim = scene.claims[1]
known = int(scene.study.fit.known_count)
say(
    "<b>{}</b> of the vehicles passing are washed here ({}). It is counted per passing: a commuter "
    "passes twice a day. It rests on {}.",
    claim.said,
    say_spread(claim.summed.range, scene.system),
    f"{known} known sites and starting values from trade practice"
    if known
    else "starting values from trade practice alone, since no known sites were given",
)
why, sites, trust, hope, operator = st.tabs(
    [
        "Why this share",
        "Sites you know",
        "How far to trust it",
        "What it would take",
        "First and second site",
    ]
)
with why:
    show_why(scene)
with sites:
    show_known(scene)
with trust:
    show_trust(scene)
with hope:
    show_hope(scene)
with operator:
    show_operator(scene)
numbers_editor(scene, ["share"])
