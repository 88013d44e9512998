"""Sites: where is the site? Click the map, choose a parcel, type coordinates, give a file."""

from typing import Any

import streamlit as st

from capture.area import lay_files
from capture.basis import CaptureError, plain_text
from capture.papers.layers import make_rival_layer, make_site_layer
from capture.papers.marks import MapLayer, drop_empty, mark_area, mark_point
from capture.papers.pointing import find_parcel
from siteapp import engine, own_area
from siteapp.frame import change, open_screen, say
from siteapp.parcel_parts import read_parcels
from siteapp.show import keep_in_step, show_map
from siteapp.text import as_markdown

scene = open_screen("Sites", needs_site=False)


def place_site(text: str, how: str) -> None:
    """Check a site and keep it; a fault is said and nothing is kept."""
    from capture.place import find_sites

    try:
        found = find_sites(
            engine.get_area(scene.inputs.area), engine.get_place(scene.inputs.area), text
        )
        if len(found.ids) != 1:
            st.warning(as_markdown(f"{len(found.ids)} sites are in it: rank them on Compare, or "
                                   "give a file with one"))  # fmt: skip
            return
        from capture.place import add_frontage

        add_frontage(engine.get_place(scene.inputs.area), found)
    except CaptureError as error:
        st.warning(as_markdown(error, most=600), icon=":material/warning:")
        return
    change(f"site placed by {how}", site=text)
    st.rerun()


def clicked(lat: float, lon: float) -> None:
    """Place the site on the parcel that was clicked, else on the spot."""
    plane = engine.get_place(scene.inputs.area).network.projection
    parcel = "" if known is None else find_parcel(known, plane, lat, lon)
    if parcel:
        place_site(f"parcel:{parcel}", "clicking a parcel on the map")
    else:
        place_site(f"{lat:.6f},{lon:.6f}", "clicking the map")


def parcel_layer(found: Any) -> MapLayer:
    """Make the layer of all parcels."""
    plane = engine.get_place(scene.inputs.area).network.projection
    marks = [
        mark_area(polygon, "rank-middle", plane, title=f"Parcel {name}")
        if polygon is not None
        else mark_point(lat, lon, "rank-middle", title=f"Parcel {name}")
        for polygon, name, lat, lon in zip(
            found.polygons, found.ids, found.lat, found.lon, strict=True
        )
    ]
    return MapLayer(name="Parcels", marks=tuple(marks), words={"rank-middle": "parcel"})


def rival_layer() -> MapLayer | None:
    """Make the layer of rivals before there is a site."""
    from capture.around import load_rivals

    place = engine.get_place(scene.inputs.area)
    return make_rival_layer(load_rivals(engine.get_area(scene.inputs.area), place))


parcels: list[str] = []
try:
    known = read_parcels(scene)
    layers = [rival_layer()]
    if known is not None:
        parcels = list(known.ids)
        layers.insert(0, parcel_layer(known))
except CaptureError as error:
    st.error(as_markdown(error, most=600))
    st.stop()

if scene.study is None:
    say("<b>Click a parcel, or beside a road</b>, to place a site there, or use one of the boxes.")
else:
    study = scene.study
    layers.append(make_site_layer(study.sites, study.frontage, study.place.network.projection))
    roads = sorted({study.streams.road[r] or "a road without a name"
                    for r in range(len(study.streams.edge))})  # fmt: skip
    say("The site faces <b>{}</b>, with {}. Click elsewhere to move it.",
        " and ".join(roads),
        "one driveway" if len(study.frontage.driveway) == 1
        else f"{len(study.frontage.driveway)} driveways")  # fmt: skip

left, right = st.columns([5, 2])
with left:
    show_map(
        scene,
        drop_empty(layers),
        key=f"sites-{scene.kept.id}",
        on_click=clicked,
        height=560,
    )
    st.caption(
        "Squares are rival washes, crosses those that are shut or planned; point at a mark to read "
        "what it is."
    )
with right:
    if parcels:
        now = scene.inputs.site.removeprefix("parcel:")
        choices = ["", *parcels]
        key = f"parcel-{scene.kept.id}"
        keep_in_step(key, now if now in choices else "")
        chosen = st.selectbox(
            "Choose a parcel",
            choices,
            format_func=lambda name: plain_text(name) or "none chosen",
            key=key,
        )
        if chosen and f"parcel:{chosen}" != scene.inputs.site:
            place_site(f"parcel:{chosen}", "choosing a parcel")
    with st.form("typed", border=False):
        typed = st.text_input("Type latitude, longitude", placeholder="40.0123, -98.5345")
        if st.form_submit_button("Place it there") and typed.strip():
            place_site(typed.strip().replace(" ", ""), "typing coordinates")
    given = st.file_uploader(
        "Give a file with one site", type=list(own_area.TABLE_TAKEN), accept_multiple_files=True,
        key=f"file-{scene.kept.id}-{scene.kept.revision}",
    )  # fmt: skip
    if given:
        try:
            laid = lay_files(
                engine.open_workspace().path.parent / "given",
                [(one.name, one.getvalue()) for one in given],
                endings=own_area.TABLE_ENDINGS, what="file of one site",
            )  # fmt: skip
        except CaptureError as error:
            st.warning(as_markdown(error, most=600), icon=":material/warning:")
        else:
            place_site(str(laid.path), "giving a file")
