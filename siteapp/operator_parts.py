"""What does an operator with one wash see? Its back-test, its members, its second site."""

from __future__ import annotations

import math
from collections.abc import Hashable
from typing import Any

import pandas as pd
import streamlit as st

from capture.basis import CaptureError
from capture.papers.member_map import SQUARE_M, make_member_layers
from capture.papers.member_months import COLUMNS, clean_months
from capture.papers.operator_tables import (
    make_back_table,
    make_member_table,
    make_two_streams_table,
    say_lengthening,
    say_second,
)
from capture.papers.rival_tables import NO_NAME
from capture.papers.words import say_amount, say_number
from capture.share import back_test
from siteapp import share_answers
from siteapp.frame import Scene, change, say
from siteapp.share_charts import draw_back_test, draw_members, draw_ranges
from siteapp.show import show_map, show_table
from siteapp.text import as_markdown, say_withheld

#: column of the table of own months -> what it is called
HEADINGS = {
    "month": "month",
    "tickets": "washes by ticket",
    "joins": "joined",
    "leavers": "left",
    "members": "members",
    "member_washes": "washes by members",
    "ticket_price_usd": "price of a wash, $",
    "plan_price_usd": "price of the plan, $",
}
AMOUNTS = {
    "what": ("what", ""),
    "value": ("in the middle", "@unit"),
    "low": ("at least", "@unit"),
    "high": ("at most", "@unit"),
}


def show_operator(scene: Scene) -> None:
    """Show the three parts for an operator."""
    if scene.hidden:
        say("{}", say_withheld("own washes, their months and members"))
        return
    try:
        joined = share_answers.get_joined(scene.inputs)
    except CaptureError as error:
        st.error(as_markdown(error, most=800), icon=":material/error:")
        return
    st.subheader("Is it right about a site whose cars are known?", anchor=False)
    _show_back_test(scene, joined)
    st.subheader("Tickets and members", anchor=False)
    _show_members(scene)
    st.subheader("This site as the second beside a first", anchor=False)
    _show_second(scene, joined)


def _show_back_test(scene: Scene, joined: Any) -> None:
    study = scene.study
    used = joined.used
    open_lines = [name for name, full in zip(used.ids, used.at_capacity, strict=True) if not full]
    ids = [name for name in joined.own if name in open_lines]
    ids += [name for name in open_lines if name not in ids]
    if not ids:
        say("No known sites were given yet; give your own wash under Sites you know.")
        return
    chosen = st.selectbox("Which site", ids, key=f"back-{scene.kept.id}-{len(joined.own)}")
    months = joined.months.get(chosen)
    try:
        tested = back_test(
            study.fit, chosen, study.worlds, months=months, month_share=study.shape.month_share
        )
    except CaptureError as error:
        st.warning(as_markdown(error, most=600), icon=":material/warning:")
        return
    say("{}", tested.words)
    if chosen in joined.own and len(open_lines) < len(used):
        st.caption(
            "Sites whose line was full are not listed: what they washed is not their demand."
        )
    table = make_back_table(tested)
    if table is None:
        st.caption("Give this site's cars by month, under Sites you know, to see each month.")
    else:
        st.altair_chart(draw_back_test(table), width="stretch")
        st.caption(
            "Bars are what the other sites tell of each month, the line across their middle; "
            "marks are the cars that came, a cross where they fell outside."
        )
    say(
        "Carried to the next site of {}: <b>times {}</b> ({} to {}). Stays with the place: times "
        "{} ({} to {}).",
        tested.operator or "the same operator",
        say_number(tested.carried.value),
        say_number(tested.carried.low),
        say_number(tested.carried.high),
        say_number(tested.stays.value),
        say_number(tested.stays.low),
        say_number(tested.stays.high),
    )


def _show_members(scene: Scene) -> None:
    if not scene.offer.plan_offered:
        say("No monthly plan is sold, so all washes are by ticket.")
        return
    table, said = make_two_streams_table(scene.study)
    st.caption(said)
    show_table(table, AMOUNTS, scene, caption="Washes by ticket and by members of this site")
    st.altair_chart(draw_members(make_member_table(scene.study)), width="stretch")
    st.caption("Members after the opening: they join, wash a few times a month, and leave.")
    _show_own_months(scene)


def _show_own_months(scene: Scene) -> None:
    rows = scene.inputs.member_months
    words = f"Your own {len(rows)} months" if rows else "Give your own months"
    with st.expander(f"{words} of tickets and members, to learn how they join, wash and leave"):
        table = pd.DataFrame(
            [[row.get(name, "") for name in COLUMNS] for row in rows], columns=COLUMNS, dtype=object
        )
        st.caption(
            "One row a month, whatever you know of it. Two prices are needed to learn what a "
            "price does; the year's seasons are taken out first."
        )
        edited = st.data_editor(
            table,
            key=f"member-months-{scene.kept.id}-{scene.kept.revision}",
            width="stretch",
            num_rows="dynamic",
            column_config={
                name: st.column_config.TextColumn(label) for name, label in HEADINGS.items()
            },
        )
        _keep_months(scene, edited)
        if rows:
            _say_learned(scene)


def _keep_months(scene: Scene, edited: pd.DataFrame) -> None:
    try:
        rows = clean_months(edited)
        if rows == scene.inputs.member_months:
            return
        share_answers.get_members(scene.inputs.change(member_months=rows))
    except CaptureError as error:
        st.warning(as_markdown(error, most=800), icon=":material/warning:")
        return
    change("own months of members changed", member_months=rows)
    st.rerun()


def _say_learned(scene: Scene) -> None:
    found = share_answers.get_members(scene.inputs)

    def span(row: dict[Hashable, Any], *names: str) -> str:
        middle, low, high = (say_number(row[name]) for name in names)
        return f"{middle} ({low} to {high})"

    rows = found.table.to_dict("records")
    show_table(
        found.table.assign(
            was=[span(row, "before", "before_low", "before_high") for row in rows],
            now=[span(row, "after", "low", "high") for row in rows],
        ),
        {
            "what": ("what", ""),
            "was": ("by practice", ""),
            "now": ("now", ""),
            "from": ("from", ""),
        },
        scene,
        caption="What your months taught",
    )
    for note in found.notes:
        st.caption(as_markdown(f"Not learned: {note}.", most=400))


def _firsts(scene: Scene, joined: Any) -> dict[str, tuple[float, float]]:
    rivals = scene.study.rivals
    own = {f"{name} (yours)": spot for name, spot in joined.spots.items()}
    around = {
        f"{rivals.names[k] or NO_NAME} ({rivals.ids[k]}, on the map)": (
            float(rivals.lat[k]),
            float(rivals.lon[k]),
        )
        for k in range(len(rivals))
        if rivals.status[k] == "open"
    }
    return own | around


def _show_second(scene: Scene, joined: Any) -> None:
    firsts = _firsts(scene, joined)
    if not firsts:
        say("Give your first site with its latitude and longitude under Sites you know.")
        return
    known, key = joined.everyone, scene.kept.id
    names = list(firsts)
    st.caption(
        "Choose your first wash on the map and its cars: members who live nearer to the new site "
        "move over, and drivers who pass both on one drive may wash at either."
    )
    columns = st.columns(4)
    with columns[0]:
        chosen = st.selectbox("The first site", names, key=f"first-{key}-{len(joined.own)}")
    own = chosen.removesuffix(" (yours)")
    at = known.ids.index(own) if own in known.ids else -1
    with columns[1]:
        usual = float(known.cars_per_year[at]) if at >= 0 else 100_000.0
        cars = st.number_input(
            "Its cars a year", 0.0, 2_000_000.0, usual, 1000.0, key=f"first-cars-{key}-{own}"
        )
    with columns[2]:
        line = st.number_input(
            "Most cars an hour of its line (0 not known)", 0.0, 500.0, 0.0, 5.0,
            key=f"first-line-{key}-{own}",
        )  # fmt: skip
    told = ["not among the known", *sorted({name for name in known.operators if name})]
    with columns[3]:
        operator = st.selectbox(
            "Run by",
            told,
            index=told.index(known.operators[at]) if at >= 0 and known.operators[at] else 0,
            key=f"first-operator-{key}-{own}",
        )
    share = float(known.member_share[at]) if at >= 0 else float("nan")
    lat, lon = firsts[chosen]
    try:
        answer = share_answers.get_second(
            scene.inputs,
            lat=lat,
            lon=lon,
            cars_per_year=cars,
            member_share=None if math.isnan(share) else share,
            operator=None if operator == told[0] else operator,
            line_cars_per_hour=line or None,
        )
    except CaptureError as error:
        st.warning(as_markdown(error, most=600), icon=":material/warning:")
        return
    _say_second(scene, answer)


def _say_second(scene: Scene, answer: Any) -> None:
    say("{}", say_second(answer.second))
    if answer.lengthening is not None:
        say("{}", say_lengthening(answer.lengthening))
    st.altair_chart(
        draw_ranges(answer.ranges, title="thousand cars a year", scale=0.001, digits=0),
        width="stretch",
    )
    st.caption(
        "Cars a year: what the second washes, what of it comes from the first, and what is left."
    )
    show_table(answer.table, AMOUNTS, scene, caption="The second site's balance in cars")
    show_table(answer.cash, AMOUNTS, scene, caption="The second site's balance in money")
    st.caption(
        "A car that moves keeps its revenue for the owner, so the second site is worth what it "
        "brings without the cars that move. In today's prices, before debt and income tax."
    )
    st.caption(
        f"{say_amount(answer.nearer_share, 'share', digits=2)} of the first site's members live "
        f"nearer to this one; {say_amount(answer.shared_share, 'share', digits=2)} of the drivers "
        "past the first come past this one on the same drive."
    )
    _show_homes(scene, answer)


def _show_homes(scene: Scene, answer: Any) -> None:
    """Show both sites' members on one map, and the fullest squares in a table."""
    if answer.homes.empty:
        return
    sites = scene.study.sites
    show_map(
        scene,
        make_member_layers(
            answer.homes, scene.study.place.network.projection, first=answer.first,
            site=(float(sites.lat[0]), float(sites.lon[0])),
        ),
        key=f"members-{scene.kept.id}",
        zoom=13,
    )  # fmt: skip
    st.caption(
        f"Squares of {say_amount(SQUARE_M, 'm', scene.system, digits=2)} a side, darker where "
        "more members of both sites live; a broken outline marks those nearer to this site. "
        "Homes come from the area's people, and members are spread over them by the drive."
    )
    fullest = answer.homes.sort_values(["moved", "first"], ascending=False, kind="stable")
    show_table(
        fullest,
        {
            "first": ("washes a year by the first site's members", "count"),
            "moved": ("of them would move", "count"),
            "second": ("washes a year by this site's members", "count"),
            "first_minutes": ("drive to the first", "min"),
            "second_minutes": ("drive to this site", "min"),
        },
        scene,
        caption="The squares that most would move from",
        most=10,
    )
