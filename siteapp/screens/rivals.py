"""Rivals & people: who else washes, what would one more do, and who lives near?"""

import numpy as np
import streamlit as st

from capture.around import RIVAL_FORMATS, tabulate_rivals
from capture.basis import FORMAT_WORDS, FORMATS, CaptureError
from capture.papers.layers import (
    make_band_layer,
    make_people_layer,
    make_rival_layer,
    make_site_layer,
)
from capture.papers.marks import MapLayer, drop_empty, mark_point
from capture.papers.rival_tables import (
    find_near,
    make_likeness_table,
    make_trial_table,
    say_format,
)
from capture.papers.words import say_amount, say_minutes, say_number
from capture.place import snap
from siteapp import share_answers
from siteapp.frame import open_screen, say
from siteapp.rival_parts import (
    STATUSES,
    add_edit,
    free_id,
    list_changes,
    name_of,
    propose_own,
    read_spot,
    rivals_editor,
    save_edits,
)
from siteapp.share_charts import draw_homes, draw_ranges
from siteapp.share_parts import ask_for_site
from siteapp.show import numbers_editor, show_map, show_table
from siteapp.text import as_markdown, tell_apart

#: a click this near to a wash means that wash
CLICK_M = 120.0

scene = open_screen("Rivals & people", needs_site=False)
study = scene.study
if study is None:
    list_changes(scene, None, is_open=True)
    ask_for_site(scene)
rivals, around, plane = study.rivals, study.around, study.place.network.projection
chosen_key = f"rival-chosen-{scene.kept.id}"
spot_key = f"rival-spot-{scene.kept.id}"
moving_key = f"rival-moving-{scene.kept.id}"
pull_table = share_answers.get_rival_table("make_pull_table", scene.inputs)


def clicked(lat: float, lon: float) -> None:
    """Move the chosen wash there when that was asked; else choose the wash clicked, or the spot."""
    moving = st.session_state.get(chosen_key)
    if st.session_state.get(moving_key) and moving in rivals.ids:
        st.session_state[moving_key] = False
        move_wash(str(moving), lat, lon)
    near = find_near(rivals, study.place, lat, lon, within_m=CLICK_M)
    st.session_state[chosen_key] = near
    st.session_state[spot_key] = None if near else (lat, lon)
    st.rerun()


def move_wash(rival_id: str, lat: float, lon: float) -> None:
    """Keep a wash's new spot."""
    edit = {"do": "change", "id": rival_id, "lat": round(lat, 6), "lon": round(lon, 6)}
    said = f"rival moved, {name_of(rivals, rival_id)}"
    save_edits(scene, add_edit(scene.inputs.rivals, edit), said)


def tell() -> None:
    """Say what stands around the site."""
    standing = pull_table[pull_table["status"] == "open"].sort_values("minutes", kind="stable")
    near = standing[standing["minutes"] <= 10]
    people = float(np.atleast_1d(around.people_10min)[0])
    say(
        "<b>{} open washes</b> are within ten minutes' drive; the nearest, <b>{}</b>, is {} away. "
        "{}",
        len(near),
        standing["name"].iloc[0] if len(standing) else "none",
        say_minutes(float(standing["minutes"].iloc[0]) if len(standing) else None),
        f"About {say_number(people, digits=2)} people live within ten minutes."
        if np.isfinite(people) and people > 0
        else "How many people live near is not known here.",
    )
    like = int(around.nearest_like[0])
    passed = share_answers.get_rival_table("make_passed_table", scene.inputs)
    worst = passed.sort_values("passed_share", ascending=False).iloc[0]
    say(
        "The nearest wash of your kind is <b>{}</b>. Of the drivers on <b>{}</b>, {} side, {} have "
        "just come past a rival, each counted by how alike it is.",
        f"{name_of(rivals, rivals.ids[like])}, {say_minutes(float(around.nearest_like_s[0]) / 60)}"
        if like >= 0
        else "out of reach",
        worst["road"],
        worst["side"],
        say_amount(worst["passed_share"], "share", digits=2),
    )


def draw_map() -> None:
    """Show washes, driving times and people; a click chooses."""
    spot = st.session_state.get(spot_key)
    ring = None
    chosen = st.session_state.get(chosen_key)
    if chosen in rivals.ids:
        at = rivals.find(chosen)
        spot = (float(rivals.lat[at]), float(rivals.lon[at]))
    if spot:
        lat, lon = spot
        ring = MapLayer(
            name="What you chose",
            marks=(mark_point(lat, lon, "chosen", title="what you chose", lift=900),),
            words={"chosen": "what you chose"},
        )
    seconds = np.asarray(around.rival_seconds)[0] if len(rivals) else None
    layers = drop_empty(
        (
            make_people_layer(study.area.read("people"), plane, shown=True),
            make_band_layer(
                study.place, snap(study.place.network, study.sites.x, study.sites.y), shown=False
            ),
            make_rival_layer(rivals, seconds, around.likeness),
            make_site_layer(study.sites, study.frontage, plane),
            ring,
        )
    )
    centre = (float(study.sites.lat[0]), float(study.sites.lon[0]))
    show_map(
        scene,
        layers,
        key=f"rivals-{scene.kept.id}",
        centre=centre,
        zoom=13,
        on_click=clicked,
        height=560,
    )
    st.caption(
        "Filled squares wash the same way as you would; minutes are driving time. Click a wash to "
        "change it, or any other spot to try one more there."
    )


def try_spot(lat: float, lon: float) -> None:
    """Show what one more wash at the spot would do, and keep it if wanted."""
    st.subheader("One more wash there", anchor=False)
    kind = st.selectbox("What it would be", RIVAL_FORMATS, format_func=say_format, key="trial-kind")
    try:
        trial = share_answers.get_rival_trial(scene.inputs, lat, lon, kind)
    except CaptureError as error:
        st.warning(as_markdown(error, most=600), icon=":material/warning:")
        return
    say("{}", trial.sentence)
    before, after = trial.before.share, trial.after.share
    st.altair_chart(
        draw_ranges(
            [("now", before), ("with it", after)], title="share washed, %", scale=100.0, digits=2
        ),
        width="stretch",
    )
    st.caption("The diamond is the middle; the bar holds nine times out of ten.")
    show_table(
        make_trial_table(trial, system=scene.system),
        {"what": ("what", ""), "before": ("now", ""), "after": ("with it", "")},
        scene,
        caption="What it would do to this site, nine times out of ten in brackets",
    )
    name = st.text_input("Its name", max_chars=80, placeholder="what people call it")
    status = st.selectbox("Is it", STATUSES, help="Only open washes count")
    if st.button("Keep it in the list", icon=":material/add:", type="primary"):
        edits = list(scene.inputs.rivals)
        made = {
            "do": "add",
            "id": free_id(rivals.ids, edits),
            "lat": round(lat, 6),
            "lon": round(lon, 6),
            "format": kind,
            "status": status,
            **({"name": name.strip()} if name.strip() else {}),
        }
        st.session_state[spot_key] = None
        save_edits(scene, add_edit(edits, made), f"rival added, {say_format(kind)}")


def change_wash(rival_id: str) -> None:
    """Change, or take out, one wash."""
    row = rivals.row(rivals.find(rival_id))
    name = name_of(rivals, rival_id)
    st.subheader(as_markdown(name), anchor=False)
    told = pull_table[pull_table["id"] == rival_id].iloc[0]
    say(
        "{}, {} away; it makes {} of the pull on this site. Known from: {}.",
        say_format(row["formats"]),
        say_minutes(float(told["minutes"])),
        say_amount(float(told["pull_share"]), "share", digits=2),
        row["source"],
    )
    turned = "closed" if row["status"] == "open" else "open"
    trial = share_answers.get_status_trial(scene.inputs, rival_id, turned)
    say("{}", trial.sentence)
    with st.form(f"wash-{rival_id}-{scene.kept.revision}", border=False):
        called = st.text_input("Name", row["names"], max_chars=80)
        kind = st.selectbox(
            "Kind of wash",
            RIVAL_FORMATS,
            index=RIVAL_FORMATS.index(row["formats"]),
            format_func=say_format,
        )
        status = st.selectbox("Is it", STATUSES, index=STATUSES.index(row["status"]))
        price = st.number_input(
            "Price of a single wash, $", 0.0, 1000.0, float(np.nan_to_num(row["price_usd"]))
        )
        hours = st.number_input(
            "Hours open a day", 0.0, 24.0, float(np.nan_to_num(row["open_hours_day"]))
        )
        st.caption("0 stands for not known.")
        if st.form_submit_button("Change it", icon=":material/edit:"):
            new = {
                "name": called, "format": kind, "status": status, "price_usd": price,
                "open_hours_day": hours,
            }  # fmt: skip
            old = {
                "name": row["names"], "format": row["formats"], "status": row["status"],
                "price_usd": float(np.nan_to_num(row["price_usd"])),
                "open_hours_day": float(np.nan_to_num(row["open_hours_day"])),
            }  # fmt: skip
            told_new = {key: value for key, value in new.items() if value != old[key] and value}
            if told_new:
                edit = {"do": "change", "id": rival_id, **told_new}
                save_edits(scene, add_edit(scene.inputs.rivals, edit), f"rival changed, {name}")
    st.toggle("The next click on the map moves it there", key=moving_key)
    with st.form(f"move-{rival_id}-{scene.kept.revision}", border=False):
        typed = st.text_input("Or type its latitude, longitude", placeholder="40.0123, -98.5345")
        if st.form_submit_button("Move it", icon=":material/open_with:") and typed.strip():
            spot = read_spot(typed)
            if spot is None:
                st.warning("Type two numbers with a comma between, such as 40.0123, -98.5345.")
            else:
                move_wash(rival_id, *spot)
    if st.button("Take it out of the list", icon=":material/delete:"):
        edit = {"do": "remove", "id": rival_id}
        save_edits(scene, add_edit(scene.inputs.rivals, edit), f"rival taken out, {name}")


def panel() -> None:
    """Show what can be done with what was clicked or chosen."""
    if st.session_state.get(chosen_key) not in rivals.ids:
        st.session_state[chosen_key] = ""
    options = ["", *rivals.ids]
    names = tell_apart({each: name_of(rivals, each) for each in rivals.ids})

    def picked() -> None:
        st.session_state[spot_key] = None

    st.selectbox(
        "Choose a wash",
        options,
        format_func=lambda each: names[each] if each else "none chosen",
        key=chosen_key,
        on_change=picked,
    )
    chosen, spot = st.session_state[chosen_key], st.session_state.get(spot_key)
    if chosen:
        change_wash(chosen)
    elif spot:
        try_spot(*spot)
    else:
        with st.form("rival-typed", border=False):
            typed = st.text_input(
                "Or type the latitude, longitude of a spot", placeholder="40.0123, -98.5345"
            )
            if st.form_submit_button("Try one more wash there") and typed.strip():
                spot = read_spot(typed)
                if spot is None:
                    st.warning("Type two numbers with a comma between, such as 40.0123, -98.5345.")
                else:
                    st.session_state[spot_key] = spot
                    st.rerun()


def show_pull() -> None:
    """Show the rivals with what each adds to the pull."""
    table = pull_table.assign(drive=[say_minutes(value) for value in pull_table["minutes"]])
    st.caption(
        "What each wash adds to the pull on this site: its likeness to what you would build, "
        "less the farther it is to drive. Planned and closed ones add nothing."
    )
    show_table(
        table,
        {
            "name": ("wash", ""),
            "kind": ("kind", ""),
            "status": ("status", ""),
            "drive": ("drive", ""),
            "likeness": ("likeness", "1"),
            "pull": ("pull", "1"),
            "pull_share": ("part of all pull", "share"),
            "price_usd": ("single wash", "USD"),
            "source": ("from", ""),
        },
        scene,
        caption="Rival washes, the strongest pull first",
    )
    with st.expander("How alike kinds of washes are taken to be"):
        show_table(
            make_likeness_table(),
            {
                "kind": ("a rival that is", ""),
                **{k: (f"to {FORMAT_WORDS[k]}", "1") for k in FORMATS},
            },
            scene,
            caption="Likeness of each kind of rival (rows) to each kind that you could build",
        )
    with st.expander("Change the list as a table, or save it as a file"):
        st.caption("Change names, kinds, prices and hours in place; each change is kept.")
        rivals_editor(scene, rivals)
        st.download_button(
            "Save the list as a table",
            tabulate_rivals(rivals).to_csv(index=False),
            "rivals.csv",
            "text/csv",
            icon=":material/download:",
        )
    if rivals.notes:
        with st.expander(f"How the list was made: {len(rivals.notes)} notes"):
            for note in rivals.notes:
                st.caption(as_markdown(note, most=400))


def show_passed() -> None:
    """Show who has just passed a rival, by stream."""
    st.caption(
        "Drivers who have just come past another wash had their chance there. The share counts "
        "each rival by its likeness; the percentages under why are of all drivers and may overlap."
    )
    show_table(
        share_answers.get_rival_table("make_passed_table", scene.inputs),
        {
            "road": ("road", ""),
            "side": ("side", ""),
            "vehicles_per_day": ("vehicles a day", "count"),
            "passed_share": ("passed a rival first", "share"),
            "why": ("why", ""),
        },
        scene,
        caption="Rival passed first, by direction",
    )


def show_people() -> None:
    """Show people by driving time, and where washing from home goes."""
    people = share_answers.get_rival_table("make_people_table", scene.inputs)
    homes = share_answers.get_rival_table("make_home_table", scene.inputs)
    if people is None or homes is None:
        say(
            "This area has no layer of people, so their part is taken at its usual value. Give "
            "zones with people or households on the <b>Area</b> screen."
        )
        return
    st.caption("How many live within each driving time; each row counts the ones above it.")
    show_table(
        people,
        {
            "within_min": ("within", "min"),
            "people": ("people", "count"),
            "households": ("households", "count"),
            "vehicles": ("vehicles", "count"),
            "income_usd": ("income of a household a year", "USD"),
        },
        scene,
        caption="People by driving time",
    )
    say(
        "If people washed only from home, choosing by size and driving time, <b>{}</b> of the "
        "washing within ten minutes would come to this site.",
        say_amount(float(homes["share"].iloc[0]), "share", digits=2),
    )
    st.altair_chart(draw_homes(homes), width="stretch")
    st.caption("Where washing from homes within ten minutes would go.")
    drawing = float(around.attractions[0])
    if np.isfinite(drawing):
        st.caption(
            f"{say_number(drawing)} places that draw trips, such as large shops, are within "
            f"{say_amount(study.numbers['around'].value('attraction_m'), 'm', scene.system)}."
        )


tell()
propose_own(scene, rivals)
left, right = st.columns([5, 3])
with left:
    draw_map()
with right:
    panel()
list_changes(scene, rivals)
pull_tab, passed_tab, people_tab = st.tabs(["Rivals", "Passed first", "People"])
with pull_tab:
    show_pull()
with passed_tab:
    show_passed()
with people_tab:
    show_people()
for text in around.cautions[0]:
    st.caption(as_markdown(text[:1].upper() + text[1:] + ".", most=400))
numbers_editor(scene, ["around"])
