"""What can be chosen, loaded and read on the screen of the busy hour?"""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import Any

import streamlit as st

from capture.basis import CaptureError
from capture.papers.hour_tables import (
    make_effect_tables,
    make_fit_table,
    make_full_table,
    make_ramp_table,
    make_weather_kinds,
)
from capture.papers.words import say_amount
from siteapp.frame import Scene, change, change_offer, say
from siteapp.line_charts import draw_ramp
from siteapp.own_line import get_sales, pack_sales
from siteapp.show import keep_in_step, show_table
from siteapp.text import as_markdown, say_withheld

_MOST_BYTES = 20_000_000
_MOST_ROWS = 500_000


def show_choice(scene: Scene) -> None:
    """Ask how often the wash may be full; the answer sets the design hour."""
    from capture.hours import FULL_CHOICES

    table = make_full_table(scene.study)
    ranks = [rank for _, rank in FULL_CHOICES]
    words = {rank: text for text, rank in FULL_CHOICES}
    now = scene.offer.busy_rank
    options = ranks if now in ranks else sorted([*ranks, now])
    key = f"full-{scene.kept.id}"
    keep_in_step(key, now)
    left, middle, right = st.columns([2, 1, 1])
    with left:
        st.selectbox(
            "How often are you content to be full?",
            options,
            format_func=lambda rank: words.get(rank, f"in {rank} hours a year"),
            key=key,
            on_change=change_offer(
                "busy_rank", lambda: int(st.session_state[key]), "how often it may be full"
            ),
        )
    with middle:
        share = f"headroom-{scene.kept.id}"
        keep_in_step(share, round(scene.offer.headroom_share * 100, 6))
        st.number_input(
            "Headroom on top, %",
            0.0,
            200.0,
            step=5.0,
            key=share,
            on_change=change_offer(
                "headroom_share", lambda: float(st.session_state[share]) / 100, "headroom"
            ),
        )
    with right:
        _confidence(scene)
    show_table(
        table,
        {
            "chosen": ("", ""),
            "words": ("content to be full", ""),
            "cars_per_hour": ("busy hour", "cars/h"),
            "design_cars_per_hour": ("with headroom", "cars/h"),
            "length_m": ("line", "m"),
            "lines": ("lines or bays", "count"),
            "capital_usd": ("equipment", "USD"),
            "lost_share": ("turned away", "share"),
        },
        scene,
        caption="What each answer leads to, at the middle of the range",
    )


def _confidence(scene: Scene) -> None:
    key = f"confidence-{scene.kept.id}"
    now = float(scene.inputs.line.get("confidence", 0.5))
    keep_in_step(key, now)
    options = sorted({0.5, 0.6, 0.7, 0.8, 0.9, now})

    def save() -> None:
        line = {**scene.inputs.line, "confidence": float(st.session_state[key])}
        if line["confidence"] == 0.5:
            line.pop("confidence")
        change("how sure the hour shall be met", line=line)

    st.selectbox(
        "How sure shall that hold?",
        options,
        format_func=lambda share: "even odds" if share == 0.5 else f"{share * 100:.0f} in 100",
        key=key,
        on_change=save,
    )


def show_weather(scene: Scene) -> None:
    """Show what weather does to a day's cars, from the user's own sales where they tell."""
    study = scene.study
    weather = study.area.read("weather")
    say("Weather moves cars between the days of a month: {}.", "; ".join(study.shape.sources))
    sales = get_sales(scene.inputs.sales)
    if sales is not None and weather is not None and not scene.hidden:
        from capture.hours import estimate_weather_effect

        try:
            effect = estimate_weather_effect(
                sales, weather, prior=study.shape, values=study.numbers["hours"]
            )
        except CaptureError as error:
            st.info(as_markdown(error, most=600))
        else:
            _show_effect(scene, effect)
            return
    show_table(
        make_weather_kinds(study),
        {"kind": ("kind of day", ""), "factor": ("times a plain dry day", "1")},
        scene,
        caption="What is assumed of weather",
    )
    st.caption("Load your own sales below and these are estimated from them.")


def _show_effect(scene: Scene, effect: Any) -> None:
    kinds, months = make_effect_tables(effect)
    show_table(
        kinds,
        {
            "kind": ("kind of day", ""),
            "days": ("days in your file", "count"),
            "factor": ("times a plain dry day", "1"),
            "low": ("at least", "1"),
            "high": ("at most", "1"),
            "default": ("usually", "1"),
        },
        scene,
        caption="What weather does at your wash",
    )
    show_table(
        months,
        {
            "month": ("month", ""),
            "cars": ("cars", "count"),
            "usual_cars": ("usual", "count"),
            "weather_share": ("weather did", "share"),
            "left_over_share": ("left over", "share"),
            "beyond": ("", ""),
        },
        scene,
        caption="Months of your file: what weather explains and what it does not",
    )
    if st.button("Use these weather effects in this study"):
        own = {f"hours.{name}": float(value) for name, value in effect.to_values().items()}
        change("weather effects of own sales", replaced={**scene.inputs.replaced, **own})
        st.rerun()


def show_ramp(scene: Scene) -> None:
    """Show how a young wash grows."""
    st.altair_chart(draw_ramp(make_ramp_table(scene.study)), width="stretch")
    st.caption("A young wash grows into its cars; from the fourth year on it has them all.")


def show_sales(scene: Scene) -> None:
    """Take the user's own sales by hour and show how well the year's shape fits them."""
    if scene.hidden:
        st.caption(say_withheld("own sales by hour"))
        return
    rows = scene.inputs.sales
    if rows:
        _show_fit(scene)
        if st.button("Go back to the usual shape of a year", icon=":material/undo:"):
            change("own sales taken back", sales=[])
            st.rerun()
        return
    say(
        "Load a file of your own wash: a time (or a date and an hour) and the cars of each hour, "
        "two weeks or more. The shape of the year is then fitted to it."
    )
    given = st.file_uploader(
        "Sales by hour (CSV)", type=["csv", "txt"], key=f"sales-{scene.kept.id}"
    )
    if given is None:
        return
    try:
        packed = pack_sales(_read(given))
        _check(scene, packed)
    except CaptureError as error:
        st.warning(as_markdown(error, most=900))
        return
    if st.button("Use this file", type="primary"):
        change(f"own sales of {len(packed)} days", sales=packed)
        st.rerun()
    st.caption(f"The file has {len(packed)} days with cars.")


def _read(given: Any) -> Any:
    from capture.area import load_table
    from capture.hours import load_sales_table

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "sales.csv"
        path.write_bytes(given.getvalue())
        table = load_table(path, max_rows=_MOST_ROWS, max_bytes=_MOST_BYTES)
    return load_sales_table(table)


def _check(scene: Scene, packed: list[Any]) -> None:
    from capture.hours import fit_sales

    fit_sales(get_sales(packed), prior=scene.study.shape, values=scene.study.numbers["hours"])


def _show_fit(scene: Scene) -> None:
    from capture.chain import YearChoice
    from capture.hours import fit_sales, make_year_shape

    study = scene.study
    values = study.numbers["hours"]
    chosen = study.chain.request.year_choice or YearChoice()
    prior = make_year_shape(
        study.offer, values=values, **chosen.lay_year(study.area.read("weather"))
    )  # fmt: skip
    fit = fit_sales(get_sales(scene.inputs.sales), prior=prior, values=values)
    say(
        "The shape of the year follows your own file of {} days: a day is off by {} on average, "
        "against {} with the usual shape.",
        fit.days,
        say_amount(fit.day_error_share, "share", digits=2),
        say_amount(fit.default_day_error_share, "share", digits=2),
    )
    show_table(
        make_fit_table(fit),
        {"what": ("how well it fits", ""), "value": ("", "@unit")},
        scene,
        caption="Fit to your own sales",
    )
