"""How is a change on the ground tried, seen before and after, kept and taken back?

Driveway, sign, median, and what hides the wash. What is kept is saved in the study's plan.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final

import streamlit as st

from capture.basis import CaptureError, Offer, convert_in, convert_out
from capture.papers.turning_tables import make_change_table
from capture.papers.words import say_amount, say_lengths
from siteapp import own_plan, turning_answers
from siteapp.frame import Scene, change, say
from siteapp.share_charts import draw_ranges
from siteapp.show import show_table
from siteapp.text import as_markdown
from siteapp.turning_charts import draw_places

KINDS: Final = {
    "driveway": "Move a driveway",
    "sign": "Raise or lower the sign",
    "cut": "Cut what hides it",
    "median": "Open or close the median",
    "way": "Slope and shared way in",
}
_MEDIAN: Final = {
    "opening": "open the median in front of it",
    "closing": "close the median in front of it",
    "near_side_only": "allow only near-side turns in and out",
}
#: years that still fit a chart of years to pay back
_MOST_YEARS: Final = 60.0


def show_what_if(scene: Scene) -> None:
    """Show the panel in which one thing on the ground is changed and judged."""
    kind = st.radio(
        "What would you change?",
        list(KINDS),
        format_func=lambda name: KINDS[name],
        horizontal=True,
        key=f"what-if-{scene.kept.id}",
    )
    try:
        {
            "driveway": _driveway, "sign": _sign, "cut": _cut, "median": _median, "way": _way,
        }[kind](scene)  # fmt: skip
    except CaptureError as error:
        st.info(as_markdown(f"{error}."[:1].upper() + f"{error}."[1:], most=600))


def _pick_driveway(scene: Scene) -> str:
    names, roads = list(scene.study.frontage.driveway), _name_roads(scene)
    if len(names) == 1:
        return str(names[0])
    picked = st.selectbox(
        "Which driveway",
        names,
        format_func=lambda name: f"{name}, on {roads[name] or 'a road without a name'}",
        key=f"what-if-driveway-{scene.kept.id}",
    )
    return str(picked)


def _driveway(scene: Scene) -> None:
    name = _pick_driveway(scene)
    found = turning_answers.get_proposal(scene.inputs, name)
    table = found.scan.table
    best = float(found.along_m)
    reasons = turning_answers.say_reasons(found.reasons, scene.system)
    where = "where it is" if best == 0 else _say_move(scene, name, best)
    say("The best place for driveway <b>{}</b> is <b>{}</b>: {}.", name, where, reasons)
    key = f"move-{scene.kept.id}-{name}-{own_plan.get_plan(scene.inputs).get('moved', {})}"
    if best and st.button(
        f"Take the best place, {where}", icon=":material/check:", type="primary", key=f"best-{name}"
    ):
        keep_plan(scene, own_plan.move(own_plan.get_plan(scene.inputs), name, best),
              f"driveway {name} {where}")  # fmt: skip
    reach_m = scene.study.numbers["turning"].value("corner_reach_m")
    st.altair_chart(
        draw_places(table, found.scan.best, corner_reach_m=reach_m, system=scene.system),
        width="stretch",
    )
    st.caption(
        "Of the drivers willing to wash, how many each place keeps after the wait and what they "
        "see; the nearest good place with nothing against it is proposed."
    )
    along = [float(value) for value in table["along_m"]]
    here = min(along, key=abs)
    picked = st.select_slider(
        "Place of the driveway along its frontage",
        along,
        value=here,
        format_func=lambda value: _say_move(scene, name, value),
        key=key,
    )
    if picked == here:
        st.caption("Move the slider to see what another place would do.")
        return
    trial = turning_answers.get_trial(scene.inputs, "driveway", driveway=name, value=picked)
    what = f"driveway {name} {_say_move(scene, name, picked)}"
    show_trial(
        scene, trial, what,
        lambda: keep_plan(
            scene, own_plan.move(own_plan.get_plan(scene.inputs), name, picked), what
        ),
    )  # fmt: skip


def _say_move(scene: Scene, name: str, along_m: float) -> str:
    if along_m == 0:
        return "where it is"
    far = say_amount(abs(along_m), "m", scene.system, digits=2)
    return f"{far} {turning_answers.say_side(scene.study, name, along_m)}"


def _sign(scene: Scene) -> None:
    now = scene.offer.sign_height_m
    shown, unit = convert_out(now, "m", scene.system)
    low, high = (convert_out(value, "m", scene.system)[0] for value in (1.0, 20.0))
    top = max(high, shown)
    picked = st.slider(
        f"Height of the sign, {unit}",
        float(round(low)),
        float(round(top)),
        float(round(shown, 1)),
        0.5 if scene.system == "metric" else 1.0,
        key=f"what-if-sign-{scene.kept.id}-{scene.system}-{now}",
    )
    if abs(picked - round(shown, 1)) < 0.05:
        st.caption("Move the slider to see what another height would do.")
        return
    height = round(float(convert_in(picked, "m", scene.system)), 4)
    trial = turning_answers.get_trial(scene.inputs, "sign", value=height)
    said = say_amount(height, "m", scene.system, digits=3)
    what = f"sign at {said}"

    def keep() -> None:
        offer = {**scene.inputs.offer, "sign_height_m": height}
        Offer().change(**offer)
        change(what, offer=offer)
        st.rerun()

    show_trial(scene, trial, what, keep)


def _cut(scene: Scene) -> None:
    from capture.chain import list_screens

    table = list_screens(scene.study)
    table = table[table["height_m"] > 0]
    if table.empty:
        say("The map shows no hedge, wall, tree row or wood near a driveway that could be cut.")
        return
    names = {
        int(row["osm_id"]): f"{str(row['kind']).replace('_', ' ')}, "
        f"{say_amount(float(row['height_m']), 'm', scene.system, digits=2)} high"
        f"{'' if row['height_known'] else ' (taken)'}, "
        f"{say_amount(float(row['distance_m']), 'm', scene.system, digits=2)} away"
        for row in table.to_dict("records")
    }
    st.caption("Tick what would be cut to the ground; it is numbered as in the map.")
    picked = [
        osm_id
        for osm_id, words in list(names.items())[:12]
        if st.checkbox(
            f"{words[:1].upper()}{words[1:]} (no. {osm_id})",
            key=f"cut-{scene.kept.id}-{osm_id}",
        )
    ]
    if not picked:
        return
    trial = turning_answers.get_trial(scene.inputs, "cut", value=tuple(picked))
    what = " and ".join(f"{names[each].split(',')[0]} {each} cut" for each in picked)
    show_trial(
        scene, trial, what,
        lambda: keep_plan(
            scene,
            own_plan.cut(own_plan.get_plan(scene.inputs), dict.fromkeys(picked, 0.0)),
            what,
        ),
    )  # fmt: skip


def _median(scene: Scene) -> None:
    name = _pick_driveway(scene)
    turns = "right" if scene.study.area.driving_side == "right" else "left"
    words = {**_MEDIAN, "near_side_only": f"allow only {turns} turns in and out"}
    kind = st.radio(
        f"At driveway {name}",
        list(words),
        format_func=lambda each: words[each],
        index=None,
        key=f"what-if-median-{scene.kept.id}-{name}-{_say_plan(scene, name)}",
    )
    if kind is None:
        return
    trial = turning_answers.get_trial(scene.inputs, kind, driveway=name)
    said = {
        "opening": f"median opened at driveway {name}",
        "closing": f"median closed at driveway {name}",
        "near_side_only": f"only {turns} turns at driveway {name}",
    }[kind]
    plan = own_plan.build_median(
        own_plan.get_plan(scene.inputs), name, opened=kind == "opening"
    )  # fmt: skip
    show_trial(scene, trial, said, lambda: keep_plan(scene, plan, said))


def _way(scene: Scene) -> None:
    """Try a slope of the driveway, or seconds over a way shared with a neighbour."""
    name = _pick_driveway(scene)
    plan = own_plan.get_plan(scene.inputs)
    left, right = st.columns(2)
    wanted = plan
    for part, label, low, high, column in (
        ("grade", "Rise of the driveway towards the road, % (negative falls)", -25.0, 25.0, left),
        ("access", "Seconds over a shared way, each way", 0.0, 600.0, right),
    ):
        held = plan.get(part, {}).get(name, 0.0)
        with column:
            value = st.number_input(
                label, low, high, held, step=1.0, key=f"way-{part}-{scene.kept.id}-{name}-{held}"
            )
        wanted = own_plan.put_number(wanted, part, name, value)
    if wanted == plan:
        st.caption("Change a number to see what it would do; 0 is as the map shows it.")
        return
    said = f"slope and way in of driveway {name}"
    show_trial(
        scene, turning_answers.get_plan_trial(scene.inputs, wanted, said), said,
        lambda: keep_plan(scene, wanted, said),
    )  # fmt: skip


def _say_plan(scene: Scene, driveway: str) -> str:
    """Return what is kept of turns across at a driveway, so that a kept choice is let go."""
    plan = own_plan.get_plan(scene.inputs)
    built = [part for part in ("openings", "near_side_only") if driveway in plan.get(part, ())]
    return "-".join(built) or "as mapped"


def show_trial(
    scene: Scene, trial: Any, what: str, keep: Callable[[], None], *, name: str = ""
) -> None:
    """Show one change before and after, with a button that keeps it.

    ``name`` tells its button from others on the screen.
    """
    sentence = say_lengths(trial.sentence.removeprefix(trial.what).lstrip(": "), scene.system)
    say("<b>{}</b>: {}", what[:1].upper() + what[1:], sentence)
    if st.button(
        "Keep this", icon=":material/check:", type="primary", key=f"keep-{name or trial.name}"
    ):
        keep()
    left, right = st.columns([2, 3])
    old, new = trial.before, trial.after
    with left:
        st.altair_chart(
            draw_ranges(
                [("now", old.cars_per_day), ("with it", new.cars_per_day)],
                title="cars a day that want to be washed",
                digits=0,
            ),
            width="stretch",
        )
        st.caption("The diamond is the middle; the bar holds nine times out of ten.")
    with right:
        show_table(
            make_change_table(trial, scene.system),
            {"what": ("what", ""), "before": ("now", ""), "after": ("with it", "")},
            scene,
            caption="What it would do, nine times out of ten in brackets",
        )
    for note in trial.notes:
        st.caption(as_markdown(say_lengths(note, scene.system), most=400))


def keep_plan(scene: Scene, plan: own_plan.Plan, said: str) -> None:
    """Save a plan of this site and draw the screen again."""
    change(said, plan=own_plan.put_plan(scene.inputs, plan))
    st.rerun()


def list_kept(scene: Scene) -> None:
    """Show what is taken as built or cut at this site, each with a button that undoes it."""
    rows = _list_plan(scene, own_plan.get_plan(scene.inputs))
    if not rows:
        return
    with st.container(border=True):
        st.markdown("**Taken as built here, not as the map shows it**")
        for part, name, said in rows:
            if st.button(
                as_markdown(f"Take back: {said}"),
                key=f"drop-{part}-{name}",
                icon=":material/undo:",
            ):
                plan = own_plan.get_plan(scene.inputs)
                left = (
                    own_plan.drop_driveway(plan, name)
                    if part == "placed"
                    else own_plan.drop(plan, part, name)
                )
                keep_plan(scene, left, f"taken back, {said}")


def _list_plan(scene: Scene, plan: own_plan.Plan) -> list[tuple[str, str, str]]:
    """List (part, name, words) of what is taken as built or cut here."""
    roads = _name_roads(scene)
    rows = [
        ("placed", name, f"driveway {name} put on {roads.get(name) or 'the road'}")
        for name in plan.get("placed", {})
    ]
    for name, along_m in plan.get("moved", {}).items():
        rows.append(("moved", name, f"driveway {name} moved {_say_move(scene, name, along_m)}"))
    rows += [("openings", name, f"median open at {name}") for name in plan.get("openings", ())]
    rows += [
        ("near_side_only", name, f"nobody turns across at {name}")
        for name in plan.get("near_side_only", ())
    ]
    for name, left_m in plan.get("cut", {}).items():
        left = say_amount(left_m, "m", scene.system) if left_m else "the ground"
        rows.append(("cut", name, f"no. {name} in the map cut to {left}"))
    rows += [
        (part, "", f"{words} put on the map")
        for part, words in (("sign", "sign"), ("front", "building front"))
        if plan.get(part)
    ]
    rows += [
        ("grade", name, f"driveway {name} rises {one:g} % towards the road")
        for name, one in plan.get("grade", {}).items()
    ]
    rows += [
        ("access", name, f"{one:g} s over a shared way at {name}")
        for name, one in plan.get("access", {}).items()
    ]
    return rows


def _name_roads(scene: Scene) -> dict[str, str]:
    study = scene.study
    return {
        name: next(
            (str(study.streams.road[r]) for r, at in enumerate(study.streams.driveway)
             if at == row), ""
        )
        for row, name in enumerate(study.frontage.driveway)
    }  # fmt: skip
