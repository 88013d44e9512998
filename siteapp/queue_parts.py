"""How long do cars wait, where do they stand, and who drives on?"""

from __future__ import annotations

from typing import Any, Final

import streamlit as st

from capture.papers import line_tables as tables
from capture.papers.layers import make_ground_layer, make_site_layer, make_stream_layer
from capture.papers.marks import drop_empty
from capture.papers.queue_layer import make_queue_layer, say_queue, stand_queue
from capture.papers.words import say_amount, say_money, say_number
from siteapp.frame import Scene, change, say
from siteapp.line_charts import draw_most_waiting, draw_waits
from siteapp.show import keep_in_step, show_cautions, show_map, show_table

#: shares below this are not told apart
_FINEST: Final = 0.001


def show_queue(scene: Scene, study: Any) -> None:
    """Show waits, queues, whether they reach the street, and what that costs."""
    queue, line = study.queue, study.line
    lost_usd = queue.lost_cars_per_year * tables.price_car(study)
    over = queue.share_of_days_over_stacking
    say(
        "On 19 of 20 days the queue fits in <b>{} places</b> ({} in single file). There are {}; on "
        "<b>{} of days</b> it reaches the street. {} of a year's cars drive on for good: {} cars, "
        "which would leave {} a year.",
        queue.stacking_cars,
        say_amount(queue.stacking_m, "m", scene.system),
        f"{queue.stacking_places:.0f}",
        _say_share(over),
        _say_share(queue.lost_share),
        say_number(queue.lost_cars_per_year, digits=2),
        say_money(lost_usd, digits=2),
    )
    _queue_inputs(scene)
    _show_standing(scene, study)
    left, right = st.columns(2)
    with left:
        st.altair_chart(
            draw_waits(tables.make_wait_table(queue, "wait_s"), title="minutes of waiting"),
            width="stretch",
        )
        st.caption(
            f"Wait by hour of arrival; over all cars 19 of 20 wait at most "
            f"{queue.wait_95_s / 60:.1f} minutes."
        )
    with right:
        st.altair_chart(
            draw_waits(
                tables.make_wait_table(queue, "queue_cars"),
                title="cars waiting ahead",
                limit=queue.stacking_places,
            ),
            width="stretch",
        )
        st.caption("Cars that an arriving driver sees waiting, over a thousand simulated days.")
    st.altair_chart(
        draw_most_waiting(tables.make_most_waiting_table(queue), queue.stacking_places),
        width="stretch",
    )
    st.caption("The longest queue of each day: on how many days so many cars, or more, wait.")
    _show_sensitivity(scene, study)
    say(
        "{} of the line's places are in use over the year; {} of cars that want a vacuum bay find "
        "all taken.",
        _say_share(queue.line_use_share),
        _say_share(queue.bays_taken_share),
    )
    show_cautions((*line.cautions, *queue.cautions), scene.system)


def _show_standing(scene: Scene, study: Any) -> None:
    """Show the worst Saturday's cars on the parcel, and those that stand in the street."""
    st.subheader("The worst Saturday", anchor=False)
    say("{}", say_queue(study, scene.system))
    standing, layer = stand_queue(study), make_queue_layer(study, system=scene.system)
    if standing is None or layer is None:
        return
    plane = study.place.network.projection
    layers = drop_empty(
        (
            make_site_layer(study.sites, study.frontage, plane),
            make_stream_layer(
                study.place, study.streams, study.turning, study.seeing, system=scene.system
            ),
            make_ground_layer(study.ground, plane),
            layer,
        )
    )
    x, y = standing.middle
    lat, lon = plane.to_latlon([x], [y])
    show_map(
        scene, layers, key=f"queue-{scene.kept.id}", centre=(float(lat[0]), float(lon[0])),
        zoom=18, height=480,
    )  # fmt: skip
    st.caption(
        "White boxes are cars in their places, filled from the pay end; barred boxes on the broken "
        "line are cars with no place, stood in the lane of the traffic on the parcel's side. Room "
        "between the street and the lanes is not counted as places."
    )


def _say_share(share: float) -> str:
    """Say a share no finer than a simulation of a thousand days can tell."""
    if 0 < share < _FINEST:
        return "under 0.1 %"
    return say_amount(share, "share", digits=2)


def _queue_inputs(scene: Scene) -> None:
    line = scene.inputs.line
    left, right = st.columns(2, vertical_alignment="bottom")
    places, lane = f"places-{scene.kept.id}", f"lane-{scene.kept.id}"
    keep_in_step(places, float(line.get("stacking_places") or 0.0))
    keep_in_step(lane, bool(line.get("plan_lane")))

    def save_places() -> None:
        value = float(st.session_state[places])
        kept = {name: one for name, one in line.items() if name != "stacking_places"}
        change(
            "places for waiting cars", line={**kept, "stacking_places": value} if value else kept
        )

    def save_lane() -> None:
        kept = {name: one for name, one in line.items() if name != "plan_lane"}
        change("lane for members", line={**kept, "plan_lane": True}
               if st.session_state[lane] else kept)  # fmt: skip

    with left:
        st.number_input(
            "Places for waiting cars before the street (0 takes those that the parcel holds)",
            0.0,
            500.0,
            step=1.0,
            format="%.0f",
            key=places,
            on_change=save_places,
        )
    with right:
        st.toggle(
            "One pay lane serves plan members only",
            key=lane,
            on_change=save_lane,
        )


def _show_sensitivity(scene: Scene, study: Any) -> None:
    state = f"sensitivity-{scene.token}"
    if state not in st.session_state:
        if not st.button("What would more pay lanes or a faster chain change?"):
            return
        line = scene.inputs.line
        options = {
            "stacking_places": study.queue.stacking_places,
            "plan_lane": bool(line.get("plan_lane")),
        }
        with st.spinner("Queueing the same days with each"):
            st.session_state[state] = tables.make_sensitivity_table(study, options=options)
    show_table(
        st.session_state[state],
        {
            "changed": ("changed", ""),
            "cars_per_hour": ("line carries", "cars/h"),
            "wait_95_s": ("19 of 20 wait at most", "s"),
            "stacking_cars": ("places needed", "count"),
            "lost_share": ("drive on", "share"),
            "lost_cars_per_year": ("cars lost a year", "count"),
            "lost_usd_year": ("money lost a year", "USD"),
        },
        scene,
        caption="Pay lanes and chain speed against waits and losses, in the same days",
    )
