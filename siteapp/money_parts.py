"""What can be chosen and read of the money: the fan, what moves it, land, debt, knowing more?"""

from __future__ import annotations

from typing import Any, Final

import numpy as np
import streamlit as st

from capture.basis import CaptureError
from capture.papers import money_tables as tables
from capture.papers.words import say_amount, say_money, say_number
from siteapp import engine
from siteapp.frame import Scene, say
from siteapp.line_charts import draw_fan, draw_tornado
from siteapp.show import show_table
from siteapp.text import as_markdown

#: draws in which small worths of knowing more do not drown
MANY_DRAWS: Final = 10_000
#: gaps below this are rounding: the choice is proved best
_PROVED: Final = 1e-6


def say_payback(years: Any) -> str:
    """Say when it has paid back, from draws in which inf is never."""
    from capture.money import Outcome

    found = Outcome.of(years, "years", never="it never pays back")
    if found.value is None:
        return "it never pays back in half of all worlds or more"
    said = f"it has paid back {say_number(found.value, digits=2)} years after opening"
    return f"{said}; {found.said}" if found.said else said


def show_fan(scene: Scene) -> None:
    """Show cash gathered since the contract, before or after the loan."""
    after = st.radio(
        "Whose cash",
        (False, True),
        format_func=lambda own: "the owner's, after the loan" if own else "all, before debt",
        horizontal=True,
        key=f"fan-{scene.kept.id}",
    )
    title = "owner's cash gathered, $ million" if after else "cash gathered, $ million"
    table = tables.make_fan_table(scene.study, after_debt=bool(after))
    st.altair_chart(draw_fan(table, title=title), width="stretch")
    st.caption(
        "Cash gathered since the contract: the line is the middle, the band nine times out of ten. "
        "The last rise is what land and works can still be sold for after ten open years; a "
        "payback beyond them assumes that the last year goes on unchanged."
    )


def show_movers(scene: Scene) -> None:
    """Show what moves the value today most."""
    table = tables.make_tornado_table(scene.study)
    mean = float(np.mean(np.asarray(scene.study.money.npv_usd)[0]))
    first = table.iloc[0]
    say(
        "<b>{}</b> moves the value today most: it explains {} of its spread.",
        str(first["input"])[:1].upper() + str(first["input"])[1:],
        say_amount(float(first["index_share"]), "share", digits=2),
    )
    st.altair_chart(draw_tornado(table, mean), width="stretch")
    st.caption(
        "Mean value today where an input is in its lowest tenth of worlds and where it is in its "
        "highest, strongest first; the dashed line is the mean of all."
    )
    show_table(
        table,
        {
            "input": ("input", ""),
            "at_low_usd": ("worth where it is low", "USD"),
            "at_high_usd": ("worth where it is high", "USD"),
            "index_share": ("explains of the spread", "share"),
            "beyond_noise": ("beyond chance", ""),
        },
        scene,
        caption="What moves the value today",
    )


def show_land(scene: Scene) -> None:
    """Show what the land may cost."""
    chance = st.slider(
        "How sure must it be worth more than it costs?",
        50,
        95,
        50,
        step=5,
        format="%d in 100",
        key=f"land-{scene.kept.id}",
    )
    price = tables.find_land_price(scene.study, chance / 100)
    if price > 0:
        say("Then the land may cost at most <b>{}</b>.", say_money(price, digits=2))
    else:
        say(
            "Then <b>no price is low enough</b>: even free land would need {} on top.",
            say_money(-price, digits=2),
        )
    show_table(
        tables.make_land_table(scene.study),
        {"chance_share": ("how sure", "share"), "land_usd": ("land may cost at most", "USD")},
        scene,
        caption="Highest land price by how sure it shall be (negative: not even free land pays)",
    )


def show_debt(scene: Scene) -> None:
    """Show the loan, and how deep the owner's cash goes."""
    table = tables.make_debt_table(scene.study)
    deepest = table[table["what"].str.startswith("most that")].iloc[0]
    say(
        "The owner is out of pocket by at most <b>{}</b> at any time ({} to {}).",
        say_money(float(deepest["value"]), digits=2),
        say_money(float(deepest["low"]), digits=2),
        say_money(float(deepest["high"]), digits=2),
    )
    show_table(
        table,
        {
            "what": ("what", ""),
            "value": ("middle", "@unit"),
            "low": ("at least", "@unit"),
            "high": ("at most", "@unit"),
        },
        scene,
        caption="Loan and owner's cash",
    )
    st.caption("Cash over loan payments under 1 means that the loan is not earned in that year.")


def show_knowing(scene: Scene) -> None:
    """Show what knowing more before the decision is worth, on demand."""
    say(
        "Something measured before the decision is worth what it saves by changing the decision. "
        "How far a measurement may be off and what it costs are yours to change."
    )
    measures = st.data_editor(
        tables.make_measure_table(),
        key=f"measures-{scene.kept.id}",
        width="stretch",
        hide_index=True,
        disabled=["measure", "about"],
        column_config={
            "about": None,
            "off by, %": st.column_config.NumberColumn(min_value=0.1, max_value=200.0),
            "cost, $": st.column_config.NumberColumn(min_value=0.0, format="%.0f"),
        },
    )
    st.caption("The spreads and costs given here are our own view, no source.")
    state = f"knowing-{scene.token}-{measures.to_json()}"
    if state not in st.session_state:
        if not st.button("Work it out (ten thousand worlds, some seconds)"):
            return
        try:
            with st.spinner("Walking ten thousand worlds"):
                many = engine.get_brief(scene.inputs.change(draws=MANY_DRAWS))
                st.session_state[state] = tables.make_knowing_table(many, measures)
        except CaptureError as error:
            st.warning(as_markdown(error, most=600))
            return
    table, whole = st.session_state[state]
    decision = "build" if whole["now_usd"] > 0 else "do not build"
    say(
        "By what is known now the better decision is: <b>{}</b>. Knowing everything beforehand "
        "would be worth <b>{}</b>; no measurement can be worth more.",
        decision,
        say_money(whole["perfect_usd"], digits=2),
    )
    show_table(
        table,
        {
            "measure": ("measure before deciding", ""),
            "value_usd": ("worth", "USD"),
            "error_usd": ("give or take", "USD"),
            "cost_usd": ("costs", "USD"),
            "net_usd": ("worth beyond its cost", "USD"),
            "change_share": ("would change the decision", "share"),
        },
        scene,
        caption="What knowing more is worth, best first",
    )


def show_together(scene: Scene, standing: int) -> None:
    """Show which of the ranked parcels to build together, given what they take from each other."""
    if standing < 2:
        say("Two parcels that stand are needed to choose several.")
        return
    left, right = st.columns([1, 2], vertical_alignment="bottom")
    with left:
        most = st.number_input(
            "How many may be built", 1, min(standing, 10), min(2, standing), key="together-most"
        )
    with right:
        exactly = st.toggle("Build that many even if the last one loses money", key="together-all")
    state = f"together-{scene.token}-{most}-{exactly}"
    if state not in st.session_state:
        if not st.button("Choose them"):
            return
        try:
            with st.spinner("Driving between the parcels and weighing what they share"):
                st.session_state[state] = engine.get_together(
                    scene.inputs, int(most), exactly=bool(exactly)
                )
        except CaptureError as error:
            st.warning(as_markdown(error, most=600))
            return
    chosen = st.session_state[state]
    if chosen.empty:
        say("No choice is worth more than building nothing; on the mean each one loses money.")
        return
    gap = float(chosen["gap_share"].iloc[0])
    say(
        "Build <b>{}</b>: together worth <b>{}</b>, what they take from each other taken off{}.",
        ", ".join(str(name) for name in chosen["name"]),
        say_money(float(chosen["together_usd"].iloc[0]), digits=2),
        "" if gap < _PROVED else f" (no choice is better by more than {gap:.0%})",
    )
    show_table(
        chosen,
        {
            "name": ("parcel", ""),
            "rank": ("rank alone", "count"),
            "alone_usd": ("worth alone", "USD"),
            "cars_per_day": ("washed a day, alone", "count"),
        },
        scene,
        caption="Parcels to build together",
    )
