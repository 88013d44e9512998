"""Can stations be read, edited and reordered, and is each broken rule explained?"""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from capture.basis import DataError, InputError, Offer
from capture.basis.units import M_PER_FT, MPS_PER_FT_PER_MIN
from capture.line import (
    Station,
    lay_out_line,
    list_schedule,
    load_catalog,
    load_rules,
    render_line,
    size_line,
    usual_catalog,
    usual_rules,
)
from capture.line.reading import read_catalog
from capture.line.rules import read_rules

SPEED = 45 * MPS_PER_FT_PER_MIN
COMPLETE = usual_catalog().packages["complete"].stations


def lay_out(ids, **options):
    catalog = usual_catalog()
    stations = [catalog.stations[one] for one in ids]
    return lay_out_line(stations, Offer(), chain_speed_mps=SPEED, **options)


def broken(line):
    return {one.rule for one in line.rule_breaks}


def moved(ids, what, before):
    rest = [one for one in ids if one != what]
    rest.insert(rest.index(before), what)
    return rest


def placed(line, name):
    return next(one for one in line.stations if one.id == name)


@pytest.mark.practice
def test_usual_order_keeps_every_rule():
    assert broken(lay_out(COMPLETE)) == set()


@pytest.mark.practice
def test_insect_spray_leads_other_detergents_by_about_ten_feet_at_usual_speed():
    line = lay_out(COMPLETE)
    lead = placed(line, "alkaline").start_m - placed(line, "insect").start_m
    assert lead / M_PER_FT == pytest.approx(10, abs=0.5)
    # kept as seconds: a slower chain leads by less
    catalog = usual_catalog()
    slow = lay_out_line(catalog.pick("essential"), Offer(), chain_speed_mps=22 * MPS_PER_FT_PER_MIN)
    assert placed(slow, "alkaline").enters_s - placed(slow, "insect").enters_s == pytest.approx(
        13.3, abs=0.1
    )


@pytest.mark.practice
def test_two_floor_applicators_a_side_forty_inches_apart_at_any_usual_speed():
    for hour in (30.0, 98.0):
        wheel = placed(size_line(hour, Offer()), "wheel")
        assert wheel.count == 2
        assert wheel.spacing_m / M_PER_FT * 12 == pytest.approx(40)
    catalog = usual_catalog().change_station("wheel", spacing_m=0.5)
    line = size_line(98.0, Offer(), catalog=catalog)
    assert broken(line) == {"applicator_spacing"}


@pytest.mark.practice
def test_order_is_alkaline_then_low_ph_then_friction_then_high_pressure_mid_line():
    line = lay_out(COMPLETE)
    names = ["alkaline", "low_ph", "top_cloth", "high_pressure"]
    starts = [placed(line, name).start_m for name in names]
    assert starts == sorted(starts)
    zones = [one.id for one in line.stations if one.length_m > 0]
    assert zones.index("top_cloth") == zones.index("low_ph") + 1
    assert 0.4 < placed(line, "high_pressure").start_m / line.length_m < 0.6


@pytest.mark.practice
def test_counts_depend_on_chain_speed():
    catalog = usual_catalog()
    counts = [
        {
            one.id: one.count
            for one in lay_out_line(
                catalog.pick("complete"), Offer(), chain_speed_mps=speed * MPS_PER_FT_PER_MIN
            ).stations
        }
        for speed in (22, 60)
    ]
    for name in ("alkaline", "high_pressure", "rinse", "dryers", "wraps"):
        assert counts[1][name] > counts[0][name]


@pytest.mark.practice
@pytest.mark.parametrize(
    ("ids", "rule", "why"),
    [
        (["load", "plain_rinse", *COMPLETE[1:]], "no_plain_rinse", "cools the car and dilutes"),
        (["manual_prep", *COMPLETE], "no_manual_prep", "only mud or dirt roads force it"),
        (moved(COMPLETE, "low_ph", "alkaline"), "alkaline_first", "neutralise"),
        (moved(COMPLETE, "high_pressure", "alkaline"), "pressure_after_friction", "wets the soil"),
        (moved(COMPLETE, "high_pressure", "exit"), "pressure_mid_line", "mid-line"),
        ([one for one in COMPLETE if one != "low_ph"], "friction_needs_foam", "scratches"),
        (moved(COMPLETE, "low_ph", "high_pressure"), "lubricate_friction", "before the first"),
        (moved(COMPLETE, "spot_free", "rinse"), "spot_free_last", "last water"),
        (moved(COMPLETE, "dryers", "spot_free"), "dry_last", "nothing wet"),
        (["load", "alkaline", "low_ph", "top_cloth", "exit"], "friction_contact", "film"),
    ],
)  # fmt: skip
def test_each_broken_rule_is_explained_and_none_forbids(ids, rule, why):
    line = lay_out(ids)
    said = {one.rule: str(one) for one in line.rule_breaks}
    assert rule in said
    assert why in said[rule]


def test_mud_roads_excuse_manual_preparation():
    line = lay_out(["manual_prep", *COMPLETE], circumstances=("mud_roads",))
    assert "no_manual_prep" not in broken(line)


@pytest.mark.practice
def test_a_line_that_keeps_cars_too_long_is_said():
    catalog = usual_catalog()
    line = lay_out_line(catalog.pick("complete"), Offer(), chain_speed_mps=12 * MPS_PER_FT_PER_MIN)
    assert line.line_s > 300
    assert "time_in_line" in broken(line)
    assert "alkaline_dwell" not in broken(line)


def test_every_rule_can_break_and_has_a_reason():
    rules = usual_rules()
    assert len({one.id for one in rules}) == len(rules)
    assert all(len(one.reason) > 20 for one in rules)


def test_stations_can_be_edited_added_and_reordered():
    catalog = usual_catalog()
    longer = catalog.change_station("exit", body_m=5.0)
    assert size_line(98.0, Offer(), catalog=longer).length_m > size_line(98.0, Offer()).length_m
    shine = Station(id="shine", name="shine foam", role="conditioner", purpose="shows", body_m=2.0)
    own = catalog.add_station(shine).save_package(
        "own", [*COMPLETE[:-4], "shine", *COMPLETE[-4:]], name="my list"
    )
    line = size_line(98.0, Offer(), catalog=own, package="own")
    assert "shine" in [one.id for one in line.stations]
    ordered = size_line(98.0, Offer(), stations=moved(COMPLETE, "lower_sides", "wraps"))
    names = [one.id for one in ordered.stations]
    assert names.index("lower_sides") < names.index("wraps")
    # the usual catalog stays as it was
    assert "shine" not in usual_catalog().stations


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"body_m": -1.0}, "body_m must be 0 to"),
        ({"zone_s": float("nan")}, "zone_s must be 0 to"),
        ({"water": "sea"}, "water must be one of"),
        ({"count": 0}, "count must be a whole number"),
        ({"contact_s": 5.0, "wetted_m": 0.0}, "needs a wetted length"),
    ],
)
def test_a_station_that_cannot_be_is_refused(changes, said):
    with pytest.raises(InputError, match=said):
        replace(usual_catalog().stations["rinse"], **changes)


def test_a_package_that_cannot_be_is_refused():
    catalog = usual_catalog()
    with pytest.raises(InputError, match="unknown station 'nothing'"):
        catalog.save_package("complete", ["load", "nothing"])
    with pytest.raises(InputError, match="hangs over 'alkaline'"):
        catalog.save_package("complete", ["load", "insect"])
    with pytest.raises(InputError, match="no field 'colour'"):
        catalog.change_station("rinse", colour=1)
    with pytest.raises(InputError, match="no station 'x'"):
        catalog.change_station("x", body_m=1.0)


def test_a_station_file_in_metric_is_read_and_its_faults_are_all_named(tmp_path):
    good = """
[[station]]
id = "a"
name = "a"
role = "rinse"
purpose = "p"
body_m = 2.0
lpm = 60
bar = 5
kw = 3
"""
    path = tmp_path / "own.toml"
    path.write_text(good, encoding="utf-8")
    one = load_catalog(path).stations["a"]
    assert (one.flow_m3s, one.pressure_pa, one.power_w) == pytest.approx((0.001, 5e5, 3000))
    bad = good.replace("lpm", "pints") + good + '[[station]]\nid = "b"\n'
    with pytest.raises(DataError, match="key 'pints' is unknown") as caught:
        read_catalog(bad)
    assert "stands twice" in str(caught.value)
    assert "name, role, purpose must be given" in str(caught.value)
    for text in ("not toml [", "a = 1"):
        with pytest.raises(DataError):
            read_catalog(text)
    with pytest.raises(DataError, match="cannot be read"):
        load_catalog(tmp_path / "missing.toml")
    with pytest.raises(DataError, match="must be of kind"):
        read_rules('[[rule]]\nid = "x"\nkind = "never"\nreason = "r"\n')


def test_own_rules_can_be_loaded(tmp_path):
    path = tmp_path / "rules.toml"
    path.write_text(
        '[[rule]]\nid = "quick"\nkind = "line"\nhigh = 60\nreason = "drivers here hurry"\n',
        encoding="utf-8",
    )
    line = lay_out(COMPLETE, rules=load_rules(path))
    assert [str(one) for one in line.rule_breaks] == [
        "a car is in the line for 165 s, advised at most 60 s; drivers here hurry (common practice)"
    ]
    path.write_text('[[rule]]\nid = "x"\nkind = "line"\nlow = "far"\nreason = "r"\n', "utf-8")
    with pytest.raises(DataError, match="not readable"):
        load_rules(path)
    with pytest.raises(DataError, match="cannot be read"):
        load_rules(tmp_path / "missing.toml")


def test_full_service_keeps_to_the_pace_of_its_crew():
    line = size_line(120.0, Offer(format="full_service"))
    assert line.package == "hand_finish"
    assert line.lines == 2
    assert not {"pressure_mid_line", "time_in_line"} & broken(line)


@pytest.mark.property
@settings(max_examples=60, deadline=None)
@given(st.data())
def test_any_order_of_any_stations_is_laid_out_and_drawn(data):
    """Rules explain and never forbid."""
    stations = usual_catalog().stations
    own = [name for name, one in stations.items() if not one.with_station]
    ids = data.draw(st.lists(st.sampled_from(own), min_size=1, max_size=25, unique=True))
    hanging = [name for name, one in stations.items() if one.with_station in ids]
    ids += data.draw(st.lists(st.sampled_from(hanging), unique=True)) if hanging else []
    line = size_line(40.0, Offer(), stations=data.draw(st.permutations(ids)))
    assert len(line.stations) == len(ids)
    assert all(one.start_m >= 0 for one in line.stations)
    assert all(one.reason for one in line.rule_breaks)
    assert render_line(line).endswith("</svg>\n")
    assert len(list_schedule(line)) == len(ids) + 1
