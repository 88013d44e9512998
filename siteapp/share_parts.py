"""Which parts make up the screen on the share? Why, how sure, and what would it take.

Each function draws one part; all numbers come from the library's tables.
"""

from __future__ import annotations

import textwrap

import streamlit as st

from capture.basis import CaptureError
from capture.papers.share_tables import (
    make_check_table,
    make_coverage_table,
    make_format_table,
    make_needed_table,
)
from capture.papers.withheld import hide_steps
from capture.papers.words import say_amount, say_number
from capture.share import find_needed, say_share
from siteapp import share_answers
from siteapp.charts import draw_share
from siteapp.frame import Scene, say
from siteapp.share_charts import (
    draw_calibration,
    draw_coverage,
    draw_learning,
    draw_ranges,
)
from siteapp.show import offer_inputs, show_table
from siteapp.text import as_markdown, say_withheld

#: chances too small to tell apart
FEW = 0.001


def ask_for_site(scene: Scene) -> None:
    """Say that a site is needed where there is none, and stop."""
    if not scene.inputs.site:
        say("There is no site yet. Place one on the <b>Sites</b> screen.")
        st.page_link("screens/sites.py", label="Place a site", icon=":material/add_location:")
    st.stop()


def show_why(scene: Scene) -> None:
    """Show the steps from a reference site to this one, and the share of each stream."""
    table = share_answers.get_share("make_step_table", scene.inputs)
    table = hide_steps(table) if scene.hidden else table
    st.altair_chart(draw_share(table), width="stretch")
    st.caption(
        "From a typical wash at a reference site, each step multiplies the share by the number "
        "beside it: green bars raise it, red ones lower it. The steps multiply up to the share "
        "washed here."
    )
    if not scene.hidden:
        _say_long(say_share(scene.study.share, known_count=int(scene.study.fit.known_count)))
    show_table(
        table,
        {
            "name": ("step", ""),
            "here": ("here", ""),
            "factor": ("times", "@unit"),
            "low": ("at least", "@unit"),
            "high": ("at most", "@unit"),
            "known": ("known here", ""),
            "why": ("why it counts", ""),
        },
        scene,
        caption="What each step does, nine times out of ten between at least and at most",
    )
    st.caption(
        "Which direction brings which part of the cars: a stream's part follows its vehicles, "
        "its own delay, sight and rivals passed."
    )
    show_table(
        share_answers.get_share("make_by_stream_table", scene.inputs),
        {
            "road": ("road", ""),
            "side": ("side", ""),
            "vehicles_per_day": ("vehicles a day", "count"),
            "share": ("washed of them", "share"),
            "part": ("part of all cars", "share"),
            "cars_per_day": ("cars a day", "count"),
        },
        scene,
        caption="Share by direction",
    )
    fields = ["format", "ticket_price_usd", "plan_offered", "years_open"]
    if not scene.offer.is_conveyor:
        fields.insert(1, "bays")
    offer_inputs(scene, fields)


def _say_long(text: str) -> None:
    """Say a paragraph longer than one value of a sentence may be."""
    parts = textwrap.wrap(text, 300)
    say(" ".join(["{}"] * len(parts)), *parts)


def show_trust(scene: Scene) -> None:
    """Show how far off the share is at known sites, and what they taught."""
    if scene.hidden:
        say("{}", say_withheld("washes with known cars, and how far off the share is at each"))
        return
    unlike = share_answers.get_share("unlikeness", scene.inputs)
    say(
        "{} {} of sites drawn like the known ones would be nearer to their middle; doubt from the "
        "factors is {} times that at their middle.",
        unlike.words,
        say_amount(unlike.nearer_share, "share", digits=2),
        say_number(unlike.leverage, digits=2),
    )
    try:
        checks = share_answers.get_share("checks", scene.inputs)
    except CaptureError as error:
        say("How far off it is cannot be said: {}.", str(error))
    else:
        for check in checks:
            say("{}", check.say())
        left, right = st.columns(2)
        table = make_check_table(checks[0])
        with left:
            st.altair_chart(draw_calibration(table), width="stretch")
            st.caption(
                "Each mark is a known site, told from the others alone; on the dashed line it "
                "washed as told. Upright lines hold nine times out of ten."
            )
        with right:
            st.altair_chart(draw_coverage(make_coverage_table(checks)), width="stretch")
            st.caption(
                "Ranges of a given width should hold that part of the sites: the nearer to the "
                "dotted line the better; below it, ranges are too narrow."
            )
        with st.expander(f"The {len(table)} known sites, told and washed"):
            show_table(
                table,
                {
                    "id": ("site", ""),
                    "share": ("washed", "share"),
                    "told_share": ("told", "share"),
                    "low": ("at least", "share"),
                    "high": ("at most", "share"),
                    "ratio": ("washed over told", "1"),
                    "place": ("fell", ""),
                },
                scene,
                caption="Each known site told from the others",
            )
    _show_learning(scene)


def _show_learning(scene: Scene) -> None:
    table = share_answers.get_share("learning", scene.inputs)
    st.subheader("What the known sites taught of each factor", anchor=False)
    st.altair_chart(draw_learning(table), width="stretch")
    st.caption(
        "The starting values are trade practice from memory; the known sites narrow them. A bar "
        "across 1 means that not even the direction is sure."
    )
    said = [
        f"{say_number(row.prior, digits=3)} ({say_number(row.prior_low, digits=3)} to "
        f"{say_number(row.prior_high, digits=3)})"
        for row in table.itertuples()
    ]
    now = [
        f"{say_number(row.factor, digits=3)} ({say_number(row.low, digits=3)} to "
        f"{say_number(row.high, digits=3)})"
        for row in table.itertuples()
    ]
    chances = [
        "under 0.1 %" if share < FEW else say_amount(share, "share", digits=2)
        for share in table["wrong_sign_share"]
    ]
    show_table(
        table.assign(before=said, after=now, chance=chances),
        {
            "name": ("factor", ""),
            "step": ("one usual step", ""),
            "before": ("was believed to multiply by", ""),
            "after": ("now multiplies by", ""),
            "learned_share": ("doubt taken away", "share"),
            "chance": ("chance of the other direction", ""),
            "note": ("", ""),
        },
        scene,
        caption="Each factor before and after the known sites",
    )
    gone = float(scene.study.share.rejected_share)
    st.caption(
        f"Each factor has a declared direction; {100 * gone:.0f} % of the drawn worlds went "
        "against one of them and were not used."
    )


def show_hope(scene: Scene) -> None:
    """Show what would have to be true for a hoped share, and the share under each format."""
    study = scene.study
    hoped = st.number_input(
        "The share that you hope for, %",
        min_value=0.01,
        max_value=50.0,
        value=1.0,
        step=0.1,
        key=f"hoped-{scene.kept.id}",
    )
    try:
        hope = find_needed(study.share, hoped / 100)
    except CaptureError as error:
        st.warning(as_markdown(error, most=600))
        return
    say("{}", hope.words)
    show_table(
        make_needed_table(hope),
        {
            "name": ("this alone", ""),
            "now": ("is now", ""),
            "needed": ("would have to be", ""),
            "best_share": ("share at its best", "share"),
        },
        scene,
        caption=f"What would have to be true for {hoped:g} % to be typical, one thing at a time",
    )
    st.subheader("The same site as another kind of wash", anchor=False)
    columns = st.columns(2)
    with columns[0]:
        in_bay = st.number_input("In-bay automatics", 1, 20, 2, key=f"in-bay-{scene.kept.id}")
    with columns[1]:
        selves = st.number_input("Self-service bays", 1, 40, 4, key=f"self-{scene.kept.id}")
    formats = make_format_table(study, {"in_bay": int(in_bay), "self_service": int(selves)})
    st.altair_chart(
        draw_ranges(formats, title="share washed, %", scale=100.0, digits=2), width="stretch"
    )
    st.caption(
        "All in the same possible worlds, at the same price and plan; rivals are weighed as for "
        "the kind that is chosen now."
    )
