"""Is the strip to scale, the same each time, safe; does the schedule add up?"""

import re
import xml.etree.ElementTree as ElementTree
from dataclasses import replace

import pytest

from capture.basis import InputError, Offer
from capture.line import list_assumptions, list_schedule, render_line, size_line, usual_catalog

LINE = size_line(98.0, Offer())
SVG = "{http://www.w3.org/2000/svg}"


def test_strip_is_well_formed_and_the_same_each_time():
    first = render_line(LINE)
    root = ElementTree.fromstring(first)
    assert root.tag == f"{SVG}svg"
    assert "98 cars an hour" in root.find(f"{SVG}title").text
    assert render_line(size_line(98.0, Offer())) == first
    assert render_line(LINE, units="metric") != first


def test_strip_is_to_scale():
    root = ElementTree.fromstring(render_line(LINE))
    scale = (1200 - 2 * 46) / LINE.length_m
    applicators = [
        float(box.get("x"))
        for box in root.iter(f"{SVG}rect")
        if box.get("fill") == "#b4577f" and float(box.get("height")) > 0.35 * scale
    ]
    wheel = next(one for one in LINE.stations if one.id == "wheel")
    assert len(applicators) == 2
    assert (applicators[1] - applicators[0]) / scale == pytest.approx(wheel.spacing_m, abs=0.02)
    assert (applicators[0] - 46) / scale == pytest.approx(wheel.start_m + 0.3, abs=0.02)
    # ten feet apart on the ruler
    labels = {
        text.text: float(text.get("x"))
        for text in root.iter(f"{SVG}text")
        if text.get("text-anchor") == "middle" and text.get("font-size") == "11"
        and re.fullmatch(r"[2-9]0", text.text)
    }  # fmt: skip
    assert (labels["90"] - labels["20"]) / scale == pytest.approx(70 * 0.3048, abs=0.05)


def test_every_arch_and_dryer_is_drawn_and_listed():
    text = render_line(LINE)
    dryers = next(one for one in LINE.stations if one.id == "dryers")
    assert text.count("<polygon") - text.count('stroke-linejoin="round"') == dryers.count
    for one in LINE.stations:
        assert one.name.split(",")[0] in text


def test_hostile_names_stay_words():
    catalog = usual_catalog().change_station(
        "rinse", name="<script>alert(1)</script>{{7*191}}", role="no such role"
    )
    line = size_line(98.0, Offer(), catalog=catalog)
    text = render_line(line)
    assert "<script" not in text
    assert "{{" not in text
    ElementTree.fromstring(text)
    bad = usual_catalog().change_station("rinse", name="=HYPERLINK(1)")
    rows = list_schedule(size_line(98.0, Offer(), catalog=bad))
    assert "'=HYPERLINK(1)" in [row["station"] for row in rows]


def test_bays_have_no_strip_and_an_empty_schedule():
    bays = size_line(20.0, Offer(format="in_bay", bays=2))
    with pytest.raises(InputError, match="draw conveyors only"):
        render_line(bays)
    assert list_schedule(bays) == []
    assert list_assumptions(bays)


@pytest.mark.parametrize("hour", [10.0, 49.0, 130.0, 250.0])
@pytest.mark.parametrize("units", ["us", "metric"])
def test_any_line_can_be_drawn(hour, units):
    ElementTree.fromstring(render_line(size_line(hour, Offer()), units=units))


def test_schedule_adds_up_and_says_its_units():
    rows = list_schedule(LINE)
    *stations, total = rows
    assert len(stations) == len(LINE.stations)
    for heading in ("length (ft)", "power (hp)", "water while on (gpm)"):
        assert sum(row[heading] for row in stations) == pytest.approx(total[heading], abs=0.6)
    assert total["length (ft)"] == pytest.approx(LINE.length_m / 0.3048, abs=0.06)
    assert {row["required"] for row in stations} == {"yes", "by package"}
    metric = list_schedule(LINE, units="metric")
    assert "length (m)" in metric[0]
    assert all(set(row) == set(rows[0]) for row in rows)


def test_assumptions_carry_sources_and_broken_rules():
    broken = replace(LINE, cautions=("look twice",))
    rows = list_assumptions(broken)
    assert {"chain speed", "pitch", "building length"} <= {row["item"] for row in rows}
    assert all(row["source"] for row in rows)
    assert rows[-1]["value"] == "look twice"


def test_strip_without_its_list_is_shorter_and_keeps_its_numbers():
    whole, bare = (ElementTree.fromstring(render_line(LINE, listing=on)) for on in (True, False))
    heights = [float(root.get("viewBox").split()[3]) for root in (whole, bare)]
    assert heights[1] < heights[0]
    circles = [sum(1 for one in root.iter(f"{SVG}circle") if one.get("r") == "9")
               for root in (whole, bare)]  # fmt: skip
    assert circles == [len(LINE.stations)] * 2
