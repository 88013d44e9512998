"""Passing: who drives past, in which direction, and how well is it known?"""

import streamlit as st

from capture.papers.area_layers import make_band_layer, make_road_layer
from capture.papers.layers import make_site_layer, make_stream_layer
from capture.papers.marks import drop_empty
from capture.papers.passing_layers import make_tied_layer
from capture.papers.passing_tables import make_hour_table, make_story_table
from capture.papers.pictures import make_stream_table
from capture.papers.words import say_number, say_spread
from capture.place import snap
from siteapp import count_answers, passing_parts
from siteapp.count_files import show_files
from siteapp.frame import open_screen, say
from siteapp.note_parts import show_notes
from siteapp.passing_charts import draw_directions, draw_stream_hours
from siteapp.show import numbers_editor, show_map, show_table

scene = open_screen("Passing")
study, claim = scene.study, scene.claims[0]
streams, year = study.streams, study.volumes.study_year
counts = count_answers.get_table(scene.inputs, "make_count_table", system=scene.system)


def tell() -> None:
    """Say who passes and how it is known."""
    counted = sorted(set(make_stream_table(study)["known_by"]))
    say(
        "<b>{} vehicles</b> that could be washed pass this site on a mean day ({}); {}. Heavy "
        "trucks and buses are already taken out.",
        say_number(claim.summed.range.value),
        say_spread(claim.summed.range, scene.system),
        "counted on every road here"
        if counted == ["measured"]
        else "no count stands here, so the road's kind was used: estimated"
        if counted == ["estimated"]
        else "some of it counted, some estimated",
    )


def draw_map() -> None:
    """Show roads by vehicles a day, streams, counts and bands; a click chooses."""
    x, y = float(study.sites.x[0]), float(study.sites.y[0])
    plane = study.place.network.projection
    layers = drop_empty(
        (
            make_band_layer(study.place, snap(study.place.network, study.sites.x, study.sites.y)),
            make_road_layer(study.place, study.volumes, x=x, y=y),
            make_stream_layer(
                study.place, streams, study.turning, study.seeing, system=scene.system
            ),
            make_tied_layer(
                study.place,
                study.volumes,
                counts,
                chosen=passing_parts.get_chosen(scene, counts),
            ),
            make_site_layer(study.sites, study.frontage, plane),
        )
    )
    show_map(
        scene,
        layers,
        key=f"passing-{scene.kept.id}",
        centre=(float(study.sites.lat[0]), float(study.sites.lon[0])),
        zoom=15,
        on_click=lambda lat, lon: passing_parts.click_map(scene, counts, lat, lon),
        height=560,
    )
    st.caption(
        "The wider the line, the more vehicles a day; solid is measured, dashed estimated. Arrows "
        "are the traffic past the site. Click a count to read its story."
    )


def show_streams() -> None:
    """Show each direction past the site with its range and where it comes from."""
    story = make_story_table(streams, study_year=year, system=scene.system)
    st.altair_chart(draw_directions(story), width="stretch")
    st.caption("Filled bars are measured, open bars estimated; the line is nine times out of ten.")
    show_table(
        story,
        {
            "stream": ("direction", ""),
            "vehicles_per_day": ("vehicles a day", "count"),
            "range": ("nine times out of ten", ""),
            "known_by": ("known by", ""),
            "age": ("age of the count", ""),
            "heavy_share": ("heavy, taken out", "share"),
            "corner_share": ("counted elsewhere", "share"),
            "source": ("from", ""),
        },
        scene,
        caption="Directions past the site, vehicles that could be washed",
    )


def show_hours() -> None:
    """Show each direction's day by the hour, and where that is known from."""
    hours = make_hour_table(streams)
    peak = hours.iloc[int(hours["vehicles_per_hour"].to_numpy().argmax())]
    say(
        "The busiest hour of a mean day is {} to {} o'clock on <b>{}</b>: {} vehicles.",
        int(peak["hour"]),
        int(peak["hour"]) + 1,
        peak["stream"],
        say_number(float(peak["vehicles_per_hour"])),
    )
    st.altair_chart(draw_stream_hours(hours), width="stretch")
    st.caption("Vehicles that could be washed, by hour of a mean day, one line a direction.")
    show_table(
        make_story_table(streams, study_year=year),
        {"stream": ("direction", ""), "hours": ("its hours come from", "")},
        scene,
        caption="Where the hours come from",
    )
    with st.expander("The hours as a table"):
        wide = hours.pivot_table("vehicles_per_hour", "hour", "stream", sort=False).reset_index()
        names = [name for name in wide.columns if name != "hour"]
        show_table(
            wide.assign(hour=[f"{hour}:00" for hour in wide["hour"]]),
            {"hour": ("from", ""), **{name: (name, "count") for name in names}},
            scene,
            caption="Vehicles an hour on a mean day",
        )


passing_parts.widen_cells()
tell()
left, right = st.columns([5, 3])
with left:
    draw_map()
with right:
    passing_parts.show_count_panel(scene, counts)
past, by_hour, all_counts, files, notes, stations, model = st.tabs(
    ["Past the site", "By the hour", "Every count", "Count files", "Road works",
     "All-year stations", "Roads without a count"]
)  # fmt: skip
with past:
    show_streams()
with by_hour:
    show_hours()
    passing_parts.show_usual(scene)
with all_counts:
    passing_parts.show_counts(scene, counts)
with files:
    show_files(scene)
with notes:
    show_notes(scene)
with stations:
    passing_parts.show_stations(scene)
with model:
    passing_parts.show_model(scene)
numbers_editor(scene, ["passing", "place"])
