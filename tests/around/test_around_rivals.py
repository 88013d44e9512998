"""Are rivals found, merged, edited, and are bad tables refused with one clear sentence?"""

import json
import math

import numpy as np
import pytest
from around_towns import draw_crossing, to_degrees

from capture.area import open_area
from capture.around import apply_edits, load_rivals
from capture.around.gather import is_wash
from capture.around.merge import fold_name
from capture.basis import DataError, InputError
from capture.place import open_place

HEAD = "id,name,format,lat,lon,bays,status,opened,closed,price_usd,hours"


def _town(folder, rows=None, *, head=HEAD, **more):
    draw_crossing(folder, **more)
    layers = '[layers.roads]\npath = "roads.osm"\n'
    if rows is not None:
        text = "\n".join([head, *rows]) + "\n"
        (folder / "rivals.csv").write_text(text, encoding="utf-8")
        layers += '[layers.rivals]\npath = "rivals.csv"\n'
    (folder / "area.toml").write_text('name = "crossing"\n' + layers, encoding="utf-8")
    area = open_area(folder)
    return area, open_place(area)


def _row(x, y, name="Elm", kind="exterior", more="1,open,2010-05,,12.5,12", number="A"):
    lat, lon = to_degrees(x, y)
    return f"{number},{name},{kind},{lat:.7f},{lon:.7f},{more}"


def _square(x, y, half=12):
    return [(x - half, y - half), (x + half, y - half), (x + half, y + half), (x - half, y + half)]


WASH = {"amenity": "car_wash"}


def test_node_and_building_of_one_wash_are_one(tmp_path):
    area, place = _town(
        tmp_path,
        points=[((-300, 30), {**WASH, "name": "Elm Car Wash"})],
        areas=[(_square(-310, 35), {**WASH, "building": "yes", "name": "Elm"})],
    )
    rivals = load_rivals(area, place)
    assert len(rivals) == 1
    assert len(rivals.merged[0]) == 2
    assert "2 entries taken as one wash" in " ".join(rivals.notes)
    assert abs(rivals.x[0] + 310) < 1


def test_unnamed_building_takes_the_name_of_the_node(tmp_path):
    area, place = _town(
        tmp_path,
        points=[((-300, 30), {**WASH, "name": "Elm", "self_service": "yes"})],
        areas=[(_square(-310, 35), {**WASH, "building": "yes"})],
    )
    rivals = load_rivals(area, place)
    assert rivals.names == ("Elm",)
    assert rivals.formats == ("self_service",)


def test_neighbours_of_different_names_stay_apart(tmp_path):
    points = [((-300, 30), {**WASH, "name": "Elm"}), ((-290, 30), {**WASH, "name": "Oak"})]
    area, place = _town(tmp_path, points=points)
    assert sorted(load_rivals(area, place).names) == ["Elm", "Oak"]


def test_same_name_far_apart_is_two_washes(tmp_path):
    points = [((-300, 30), {**WASH, "name": "Elm"}), ((600, 30), {**WASH, "name": "Elm"})]
    area, place = _town(tmp_path, points=points)
    assert len(load_rivals(area, place)) == 2


def test_fuel_station_counts_only_with_a_wash(tmp_path):
    points = [
        ((-300, 30), {"amenity": "fuel", "name": "Elm", "car_wash": "no"}),
        ((300, 30), {"amenity": "fuel", "name": "Oak", "car_wash": "yes"}),
        ((500, 30), {"amenity": "fuel", "name": "Ash"}),
    ]
    area, place = _town(tmp_path, points=points)
    rivals = load_rivals(area, place)
    assert rivals.names == ("Oak",)
    assert rivals.formats == ("fuel",)


def test_table_stands_above_the_map(tmp_path):
    area, place = _town(
        tmp_path,
        [_row(-300, 30, name="Elm Wash", kind="flex")],
        points=[((-310, 35), {**WASH, "name": "Elm", "automated": "yes", "opening_hours": "24/7"})],
    )
    rivals = load_rivals(area, place)
    assert rivals.ids == ("A",)
    assert rivals.formats == ("flex",)
    assert rivals.open_hours_day[0] == 12.0
    assert rivals.price_usd[0] == 12.5
    assert rivals.source == ("your table, row 2 and the map",)
    assert abs(rivals.opened[0] - (2010 + 4.5 / 12)) < 1e-9


def test_the_map_fills_what_the_table_leaves_open(tmp_path):
    area, place = _town(
        tmp_path,
        [_row(-300, 30, kind="", more=",,,,,")],
        points=[((-310, 35), {**WASH, "name": "Elm", "self_service": "yes", "automated": "no",
                              "opening_hours": "24/7", "start_date": "1999"})],
    )  # fmt: skip
    rivals = load_rivals(area, place)
    assert rivals.formats == ("self_service",)
    assert rivals.open_hours_day[0] == 24.0
    assert rivals.opened[0] == 1999.5
    assert rivals.bays[0] == 1.0


@pytest.mark.parametrize(
    ("more", "on_year", "status"),
    [
        ("1,,2010,,,", 2026.0, "open"),
        ("1,,2028,,,", 2026.0, "planned"),
        ("1,,2028,,,", 2030.0, "open"),
        ("1,,2010,2020,,", 2026.0, "closed"),
        ("1,,2010,2020,,", 2015.0, "open"),
        ("1,under construction,,,,", 2026.0, "planned"),
        ("1,Closed for good,,,,", 2026.0, "closed"),
        ("1,operating,2040,,,", 2026.0, "open"),
    ],
)
def test_dates_and_words_tell_the_status(tmp_path, more, on_year, status):
    area, place = _town(tmp_path, [_row(-300, 30, more=more)])
    rivals = load_rivals(area, place, on_year=on_year)
    assert rivals.status == (status,)
    assert rivals.counts().tolist() == [status == "open"]
    assert rivals.counts(planned=True).tolist() == [status != "closed"]


def test_every_fault_of_a_table_is_told_at_once(tmp_path):
    rows = [
        _row(-300, 30, more="0,open,2010,,12,12"),
        _row(-200, 30, more="1,open,someday,,12,12"),
        _row(-100, 30, more="1,open,2015,2010,12,12"),
        _row(100, 30, more="1,open,2010,,-4,12"),
        "B,Oak,exterior,,,1,open,,,,",
    ]
    area, place = _town(tmp_path, rows)
    with pytest.raises(DataError) as error:
        load_rivals(area, place)
    said = str(error.value)
    for part in (
        "rivals.csv: row 2: bays must be 1 to 100",
        "row 3: opened must be a date",
        "row 4: closed must come after opened",
        "row 5: price_usd must be 0.01 to 1000 USD, got '-4",
        "row 6: must have a latitude and a longitude",
    ):
        assert part in said, part


def test_table_without_coordinates_is_refused(tmp_path):
    area, place = _town(tmp_path, ["Elm,flex"], head="name,format")
    with pytest.raises(DataError, match="row 2: must have a latitude"):
        load_rivals(area, place)


def test_rival_off_the_map_is_kept_and_said(tmp_path):
    lat, lon = to_degrees(0, 0)
    area, place = _town(tmp_path, [f"A,Elm,flex,{lon},{lat},1,open,,,,"])
    rivals = load_rivals(area, place)
    assert len(rivals) == 1
    assert "swapped" in " ".join(rivals.notes)


def test_columns_not_understood_are_named(tmp_path):
    row = _row(-300, 30) + ",blue"
    area, place = _town(tmp_path, [row], head=HEAD + ",colour")
    assert "not used: colour" in " ".join(load_rivals(area, place).notes)


@pytest.mark.regression
@pytest.mark.parametrize("hours", ["-5", "0", "25", "inf", "999999999999"])
def test_hours_that_no_day_has_are_refused(tmp_path, hours):
    area, place = _town(tmp_path, [_row(-300, 30, more=f"1,open,2010-05,,12.5,{hours}")])
    with pytest.raises(DataError, match="row 2: open_hours_day must be above 0 to 24 h"):
        load_rivals(area, place)


@pytest.mark.regression
def test_hours_not_understood_are_said(tmp_path):
    area, place = _town(tmp_path, [_row(-300, 30, more="1,open,2010-05,,12.5,by appointment")])
    rivals = load_rivals(area, place)
    assert np.isnan(rivals.open_hours_day[0])
    assert any("row 2: opening hours 'by appointment'" in note for note in rivals.notes)


def test_hostile_names_are_kept_as_plain_text(tmp_path):
    name = "<script>{{7*7}}</script>\x00"
    area, place = _town(tmp_path, [_row(-300, 30, name=name.replace("\x00", ""))])
    assert load_rivals(area, place).names[0] == name.replace("\x00", "")


def test_names_in_other_scripts_are_told_apart():
    assert fold_name("洗车") != fold_name("加油站")
    assert fold_name("Car Wash") == ""
    assert fold_name("Éclat Car Wash") == "eclat"


def test_no_table_and_nothing_on_the_map(tmp_path):
    area, place = _town(tmp_path)
    rivals = load_rivals(area, place)
    assert len(rivals) == 0
    assert rivals.x.shape == (0,)
    assert rivals.counts().shape == (0,)


def test_edits_are_remembered_as_plain_json(tmp_path):
    area, place = _town(tmp_path, [_row(-300, 30), _row(300, 30, name="Oak", number="B")])
    lat, lon = to_degrees(500, -30)
    edits = json.loads(
        json.dumps(
            [
                {"do": "add", "lat": lat, "lon": lon, "format": "in_bay", "name": "New"},
                {"do": "change", "id": "A", "format": "hand", "status": "closed"},
                {"do": "remove", "id": "B"},
            ]
        )
    )
    rivals = load_rivals(area, place, edits=edits)
    assert rivals.ids == ("A", "hand1")
    assert rivals.formats == ("hand", "in_bay")
    assert rivals.status == ("closed", "open")
    assert rivals.source == ("changed by hand", "added by hand")
    assert "Oak was taken out by hand" in rivals.notes
    assert abs(rivals.x[1] - 500) < 1
    before = load_rivals(area, place)
    assert before.ids == ("A", "B")
    assert apply_edits(before, [], place=place) is before


def test_a_moved_rival_moves_in_metres_too(tmp_path):
    area, place = _town(tmp_path, [_row(-300, 30)])
    lat, lon = to_degrees(200, 30)
    moved = load_rivals(area, place).change("A", place=place, lat=lat, lon=lon)
    assert abs(moved.x[0] - 200) < 1


@pytest.mark.parametrize(
    ("edit", "said"),
    [
        ({"do": "paint", "id": "A"}, "do must be add, change or remove"),
        ({"do": "change", "id": "Z", "bays": 2}, "there is none with id 'Z'"),
        ({"do": "change", "id": "A", "bays": -2}, "bays must be 1 to 100"),
        ({"do": "change", "id": "A", "bays": True}, "bays must be 1 to 100"),
        ({"do": "change", "id": "A", "price_usd": math.nan}, "price_usd must be"),
        ({"do": "change", "id": "A", "format": "spaceport"}, "format must be one of"),
        ({"do": "change", "id": "A", "status": "maybe"}, "status must be one of"),
        ({"do": "change", "id": "A", "colour": "red"}, "there is no field 'colour'"),
        ({"do": "add", "format": "hand"}, "without lat and lon"),
        ({"do": "add", "lat": -43.6, "lon": -87.3}, "turn its sign"),
        ({"do": "add", "lat": 43.6, "lon": -87.3, "id": "A"}, "id 'A' is taken"),
        ("remove A", "must be a mapping"),
    ],
)
def test_bad_edits_get_one_sentence(tmp_path, edit, said):
    area, place = _town(tmp_path, [_row(-300, 30)])
    with pytest.raises(InputError, match=said):
        load_rivals(area, place, edits=[edit])


def test_taking_some_keeps_them_whole(tmp_path):
    area, place = _town(tmp_path, [_row(-300, 30), _row(300, 30, name="Oak", number="B")])
    rivals = load_rivals(area, place)
    assert rivals.take([1]).names == ("Oak",)
    assert rivals.take(np.array([True, False])).ids == ("A",)
    assert rivals.find("B") == 1


def test_what_is_a_wash():
    assert is_wash({"amenity": "car_wash"})
    assert is_wash({"shop": "car_wash"})
    assert is_wash({"amenity": "fuel", "car_wash": "automatic"})
    assert not is_wash({"amenity": "fuel"})
    assert not is_wash({"shop": "car_repair", "car_wash": "yes"})


def test_a_table_too_long_for_an_area_is_refused(tmp_path):
    rows = [_row(-300, 30, number=str(k)) for k in range(5001)]
    area, place = _town(tmp_path, rows)
    with pytest.raises(DataError, match="at most 5000 rows, got 5001"):
        load_rivals(area, place)


def test_many_entries_are_merged_as_each_pair_says():
    from capture.around import VALUES
    from capture.around.gather import Entry
    from capture.around.merge import merge_entries, same_wash

    random = np.random.default_rng(4)
    names = ["", "Elm", "Oak", "Ash"]
    entries = [
        Entry(
            id=str(k),
            name=names[random.integers(4)],
            format="unknown",
            lat=0.0,
            lon=0.0,
            x=float(random.uniform(0, 2500)),
            y=float(random.uniform(0, 2500)),
            source="the map",
            rank=1,
        )
        for k in range(300)
    ]
    merged, said = merge_entries(entries, values=VALUES)
    ids = [number for entry in merged for number in entry.merged]
    assert sorted(ids, key=int) == [str(k) for k in range(300)]
    assert len(said) == sum(len(entry.merged) > 1 for entry in merged)
    for entry in merged:
        group = [entries[int(number)] for number in entry.merged]
        for k, member in enumerate(group[1:], start=1):
            assert any(same_wash(member, before, values=VALUES) for before in group[:k])
    leads = [entries[int(entry.merged[0])] for entry in merged]
    for k, lead in enumerate(leads):
        assert not any(same_wash(lead, before, values=VALUES) for before in leads[:k])


def test_a_saved_list_is_read_again_as_it_was(request, tmp_path):
    import shutil

    from capture.around import tabulate_rivals

    demo = request.config.rootpath / "data_public" / "demo"
    area = open_area(demo)
    place = open_place(area)
    first = load_rivals(area, place)
    folder = tmp_path / "copy"
    shutil.copytree(demo, folder, ignore=shutil.ignore_patterns(".*", "*.py", "__pycache__"))
    tabulate_rivals(first).to_csv(folder / "rivals.csv", index=False)
    area = open_area(folder)
    second = load_rivals(area, open_place(area))
    for name in ("ids", "names", "formats", "status"):
        assert getattr(second, name) == getattr(first, name)
    for name in ("lat", "lon", "bays", "price_usd", "open_hours_day"):
        assert np.allclose(getattr(second, name), getattr(first, name), equal_nan=True)
    assert np.allclose(second.opened, first.opened, atol=1 / 12, equal_nan=True)


def test_a_saved_list_holds_no_formula(tmp_path):
    from capture.around import tabulate_rivals

    area, place = _town(tmp_path, [_row(-300, 30)])
    rivals = load_rivals(area, place).change("A", place=place, name="=HYPERLINK(1)")
    assert tabulate_rivals(rivals)["name"].tolist() == ["'=HYPERLINK(1)"]
