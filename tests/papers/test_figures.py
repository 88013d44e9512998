"""Do the printed pictures hold what their tables say, the same each time, and run nothing?"""

from __future__ import annotations

import re
from xml.etree import ElementTree

import numpy as np
import pytest

from capture.papers import pictures
from capture.papers.argument import make_argument
from capture.papers.drawing import Axis, Drawing
from capture.papers.figures import (
    draw_busy,
    draw_cash,
    draw_line,
    draw_map,
    draw_parcel,
    draw_queue,
    draw_ranges,
    draw_share,
    draw_week,
    say_parcel,
)
from capture.papers.share_tables import make_step_table


def draw_all(study) -> dict[str, str]:
    """Draw every picture of a report."""
    busy = np.quantile(study.busy.cars[0], [0.05, 0.5, 0.95]).tolist()
    queue = pictures.make_queue_table(study)
    return {
        "map": draw_map(study),
        "parcel": draw_parcel(study),
        "share": draw_share(make_step_table(study)),
        "busy": draw_busy(pictures.make_duration_table(study), busy, rank=study.busy.rank,
                          design=study.design_hour_cars, carries=study.line.cars_per_hour),
        "week": draw_week(pictures.make_week_table(study)),
        "line": draw_line(study.line, "us"),
        "queue": draw_queue(queue, study.queue.stacking_places),
        "wait": draw_queue(queue, study.queue.stacking_places, seconds=True),
        "cash": draw_cash(pictures.make_cash_table(study)),
        "ranges": draw_ranges(make_argument(study)),
    }  # fmt: skip


@pytest.fixture(scope="module")
def drawn(demo_study) -> dict[str, str]:
    return draw_all(demo_study)


def test_every_picture_is_well_formed_and_named(drawn) -> None:
    for name, svg in drawn.items():
        root = ElementTree.fromstring(svg)
        assert root.find("{http://www.w3.org/2000/svg}title").text, name
        assert "nan" not in re.sub(r"<text.*?</text>|<title>.*?</title>", "", svg), name


@pytest.mark.property
def test_pictures_are_the_same_each_time(drawn, demo_study) -> None:
    assert draw_all(demo_study) == drawn


@pytest.mark.property
def test_marks_stay_on_the_paper(drawn) -> None:
    for name, svg in drawn.items():
        if name in {"line", "map"}:
            continue
        root = ElementTree.fromstring(svg)
        wide, high = (float(part) for part in root.get("viewBox").split()[2:])
        for node in root.iter():
            for pair in (node.get("points") or "").split():
                x, y = map(float, pair.split(","))
                assert -8 <= x <= wide + 8, name
                assert -8 <= y <= high + 8, name


@pytest.mark.regression
def test_hostile_names_stay_text(hostile_study) -> None:
    for svg in draw_all(hostile_study).values():
        assert "<script" not in svg
        ElementTree.fromstring(svg)


def test_share_steps_join_end_to_start(demo_study) -> None:
    table = make_step_table(demo_study)
    inner = table.iloc[1:-1]
    assert inner["from_share"].to_numpy() == pytest.approx(
        table["to_share"].to_numpy()[:-2], rel=1e-12
    )
    svg = draw_share(table)
    assert svg.count("<rect") == len(table)
    assert "share washed here" in svg


def test_why_of_the_share_multiplies_up_to_it(demo_study) -> None:
    from capture.papers.study_json import make_source_book
    from capture.papers.why import explain

    claim = next(c for c in make_argument(demo_study) if c.key == "share")
    inputs = explain(demo_study, claim, make_source_book(demo_study)).inputs
    product = np.prod([value for _, value, _, _ in inputs])
    assert product == pytest.approx(np.exp(np.log(demo_study.share.rate[0]).mean()), rel=1e-9)


def test_every_station_is_drawn_and_numbered(demo_study, drawn) -> None:
    numbers = re.findall(r">(\d+)</text>", drawn["line"])
    for number in range(1, len(demo_study.line.stations) + 1):
        assert str(number) in numbers


def test_ranges_reach_as_far_as_the_numbers(demo_study, drawn) -> None:
    claims = make_argument(demo_study)
    boxes = [
        float(w) for w in re.findall(r'<rect x="[^"]+" y="[^"]+" width="([\d.]+)"', drawn["ranges"])
    ]
    passing, share = claims[0].summed.range, claims[1].summed.range
    shown = boxes[0] / boxes[1]
    assert shown == pytest.approx(
        np.log(passing.high / passing.low) / np.log(share.high / share.low), rel=0.01
    )


def test_map_names_the_rivals_in_its_frame_and_says_how_roads_are_known(demo_study, drawn) -> None:
    for words in ("counted", "estimated", "the site", "half a mile"):
        assert words in drawn["map"]
    near = np.hypot(demo_study.rivals.x - demo_study.sites.x[0],
                    demo_study.rivals.y - demo_study.sites.y[0])  # fmt: skip
    assert demo_study.rivals.names[int(np.argmin(near))] in drawn["map"]


def test_parcel_is_said_and_drawn_to_one_scale(demo_study, drawn) -> None:
    assert "vacuum bays" in say_parcel(demo_study, "us")
    points = re.search(r'<polygon points="([^"]+)"', drawn["parcel"])[1].split()
    x, y = np.array([list(map(float, pair.split(","))) for pair in points]).T
    area = 0.5 * abs(np.dot(x[:-1], y[1:]) - np.dot(x[1:], y[:-1]))
    foot = re.search(r'points="8\.0,[\d.]+ ([\d.]+),', drawn["parcel"])
    scale = (float(foot[1]) - 8) / 30.48
    assert area / scale**2 == pytest.approx(demo_study.sites.polygons[0].area, rel=0.02)


def test_hostile_title_stays_text() -> None:
    drawing = Drawing(10, 10, "<script>")
    drawing.text(0, 0, "</text><script>", halo="#fff")
    assert "<script" not in drawing.render()


@pytest.mark.property
@pytest.mark.parametrize(("low", "high"), [(0, 1), (-8.3, 9.1), (0, 97), (0, 0.0123), (5, 5)])
def test_ticks_lie_on_the_axis_and_are_even(low, high) -> None:
    ticks = np.array(Axis(low=low, high=high, start=0, end=100).ticks())
    assert 1 <= len(ticks) <= 12
    assert (ticks >= low - 1e-9).all()
    assert (ticks <= high + 1e-9).all()
    if len(ticks) > 2:
        assert np.allclose(np.diff(ticks), np.diff(ticks)[0])


def test_land_that_must_be_below_nothing_says_so(demo_study) -> None:
    table = pictures.make_money_table(demo_study).set_index("key")
    row = table.loc["land_ceiling_usd"]
    assert (row["value"] <= 0) == ("free land" in row["words"])
