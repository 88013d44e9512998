"""Sites from text and files, what is refused and how, and the driveways proposed for them."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
import shapely
from extracts import find_extract
from osm_text import LAT_M, LON_M, OsmText, cross

from capture.area import Area, open_area
from capture.basis import CaptureError, InputError
from capture.place import (
    Place,
    Sites,
    add_frontage,
    find_sites,
    load_parcels,
    open_place,
    sift_parcels,
)


@pytest.fixture
def town(tmp_path: Path) -> tuple[Area, Place]:
    area = open_area(cross(500.0).save(tmp_path))
    return area, open_place(area, use_cache=False)


def spot(x: float, y: float) -> str:
    return f"{40 + y * LAT_M:.7f},{-90 + x * LON_M:.7f}"


def lots(place: Place, *boxes: tuple[float, float, float, float]) -> Sites:
    """Rectangles in metres around the crossing, moved into the network's own metres."""
    x0, y0 = place.network.projection.to_xy([40.0], [-90.0])
    shapes = [shapely.box(a + x0[0], b + y0[0], c + x0[0], d + y0[0]) for a, b, c, d in boxes]
    x = np.array([shape.centroid.x for shape in shapes])
    y = np.array([shape.centroid.y for shape in shapes])
    lat, lon = place.network.projection.to_latlon(x, y)
    ids = tuple(f"L{k}" for k in range(len(boxes)))
    return Sites(
        ids=ids, names=ids, x=x, y=y, lat=lat, lon=lon, polygons=tuple(shapes),
        attributes=pd.DataFrame(index=range(len(boxes))), source="test",
    )  # fmt: skip


@pytest.mark.parametrize("text", ["{0}", " {0} ", "{1}", "+{0}"])
def test_a_place_in_text(text: str, town: tuple[Area, Place]) -> None:
    typed = spot(100, 20)
    sites = find_sites(*town, text.format(typed, typed.replace(",", " ")))
    assert len(sites) == 1
    assert sites.lat[0] == pytest.approx(40 + 20 * LAT_M, abs=1e-6)
    assert sites.polygons == (None,)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("-89.999,40.0002", "swapped it is inside"),
        ("40.0002,89.999", "turn its sign"),
        ("-40.0002,-89.999", "turn its sign"),
        ("89.999,40.0002", "swapped and a sign is wrong"),
        ("0,0", "outside the area, which covers"),
        ("-33.8,151.2", "outside the area, which covers"),
        ("95,200", "not on Earth"),
        ("nan,nan", "must be LAT,LON"),
        ("inf,1", "must be LAT,LON"),
        ("1e400,1", "must be LAT,LON"),
        ("", "must be LAT,LON"),
        ("40", "must be LAT,LON"),
        ("40,-90,3", "must be LAT,LON"),
        ("parcel:P01", "has no parcels layer"),
        ("nowhere.geojson", "must be LAT,LON"),
        ("x" * 5000, "must be LAT,LON"),
        ("\0", "must be LAT,LON"),
    ],
)
def test_bad_places(text: str, told: str, town: tuple[Area, Place]) -> None:
    with pytest.raises(CaptureError, match=told) as caught:
        find_sites(*town, text)
    assert "\n" not in str(caught.value)
    assert len(str(caught.value)) < 300


def test_no_road_in_reach(town: tuple[Area, Place]) -> None:
    with pytest.raises(InputError, match="public road must be within 250 m, the nearest is 3"):
        find_sites(*town, spot(400, 350))


def test_a_service_road_alone_does_not_count(tmp_path: Path) -> None:
    town = cross(500.0)
    town.node(8, 400, 400)
    town.node(9, 450, 400)
    town.way(30, [8, 9], {"highway": "service"})
    area = open_area(town.save(tmp_path))
    with pytest.raises(InputError, match="public road"):
        find_sites(area, open_place(area, use_cache=False), spot(420, 395))


def test_parcels_of_the_demo(extract: Callable[[str], Place]) -> None:
    area = open_area(find_extract("demo").parent)
    place = extract("demo")
    every = load_parcels(area, place)
    assert len(every) == 40
    assert all(shape.is_valid for shape in every.polygons)
    one = find_sites(area, place, "parcel:P01")
    assert one.ids == ("P01",)
    assert one.x[0] == every.x[every.ids.index("P01")]
    with pytest.raises(InputError, match=r"no parcel 'P99'.*known are P"):
        find_sites(area, place, "parcel:P99")
    frontage = add_frontage(place, every)
    assert set(frontage.site.tolist()) == set(range(40))
    assert (np.diff(frontage.site) >= 0).all()
    assert frontage.proposed.all()
    mouths = shapely.points(frontage.x, frontage.y)
    for k, site in enumerate(frontage.site.tolist()):
        assert every.polygons[site].exterior.distance(mouths[k]) < 1e-6


def _csv(folder: Path, text: str) -> Path:
    file = folder / "sites.csv"
    file.write_text(text, encoding="utf-8")
    return file


def test_a_csv_of_points(town: tuple[Area, Place], tmp_path: Path) -> None:
    rows = "\n".join(f"S{k},{spot(50 * k + 20, 10)},{k}" for k in range(5))
    file = _csv(tmp_path, f"id,lat,lon,price\n{rows}\n")
    sites = find_sites(*town, str(file))
    assert sites.ids == ("S0", "S1", "S2", "S3", "S4")
    assert sites.attributes["price"].tolist() == [0, 1, 2, 3, 4]
    assert sites.take([3, 1]).ids == ("S3", "S1")
    assert sites.take([]).ids == ()


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("id,lat,lon\na,40.0001,-89.999\nb,,\n", r"row 3: has no usable place"),
        ("id,lat,lon\na,40.0001,-89.999\nb,400,9\n", r"row 3: has no usable place"),
        ("id,lat,lon\na,40.0001,-89.999\nb,-89.999,40.0001\n", r"row 3: .*swapped it is inside"),
        ("id,lat,lon\na,40.0001,-89.999\na,40.0001,-89.998\n", "'a' stands twice"),
        ("id,size\na,3\n", "must have columns lat and lon"),
        ("id,lat,lon\n", "holds no sites"),
        ("", "empty"),
        ("id,lat,lon\na,north,west\n", "row 2: has no usable place"),
        ("id,lat,lat\na,1,2\n", "'lat' stands twice"),
    ],
)
def test_bad_files_of_sites(text: str, told: str, town: tuple[Area, Place], tmp_path: Path) -> None:
    with pytest.raises(CaptureError, match=told):
        load_parcels(*town, _csv(tmp_path, text))


def test_every_faulty_row_is_named(town: tuple[Area, Place], tmp_path: Path) -> None:
    rows = "".join(f"r{k},{60 + k},10\n" for k in range(12))
    with pytest.raises(CaptureError) as caught:
        load_parcels(*town, _csv(tmp_path, f"id,lat,lon\n{rows}"))
    assert "row 2" in str(caught.value)
    assert "row 9" in str(caught.value)
    assert "4 more like these" in str(caught.value)


def test_shapes_that_are_lines_or_broken(town: tuple[Area, Place], tmp_path: Path) -> None:
    import geopandas

    def write(shape: Any) -> Path:
        file = tmp_path / "lots.geojson"
        geopandas.GeoDataFrame({"id": ["a"]}, geometry=[shape], crs=4326).to_file(file)
        return file

    a, b = (-90 + 60 * LON_M, 40 + 20 * LAT_M), (-90 + 120 * LON_M, 40 + 80 * LAT_M)
    with pytest.raises(CaptureError, match="row 1: must be a point or polygon"):
        load_parcels(*town, write(shapely.LineString([a, b])))
    bow = shapely.Polygon([a, b, (b[0], a[1]), (a[0], b[1])])
    assert not bow.is_valid
    sites = load_parcels(*town, write(bow))
    assert sites.polygons[0].is_valid


def test_a_lot_beside_one_road_gets_the_middle_of_its_front(town: tuple[Area, Place]) -> None:
    place = town[1]
    sites = lots(place, (100, 15, 160, 60))
    frontage = add_frontage(place, sites)
    assert len(frontage) == 1
    x0, y0 = place.network.projection.to_xy([40.0], [-90.0])
    assert frontage.x[0] - x0[0] == pytest.approx(130, abs=1.0)
    assert frontage.y[0] - y0[0] == pytest.approx(15, abs=0.1)
    assert frontage.distance_m[0] == pytest.approx(15, abs=0.1)
    assert place.network.segment_way[frontage.segment[0]] == 12
    assert frontage.fraction[0] == pytest.approx(0.26, abs=0.01)
    assert frontage.side[0] == 1, "north of a street drawn from west to east is its left"
    assert frontage.driveway == ("D1",)


def test_side_is_right_south_of_an_eastward_street(town: tuple[Area, Place]) -> None:
    assert add_frontage(town[1], lots(town[1], (100, -60, 160, -15))).side[0] == -1


def test_a_corner_lot_gets_one_driveway_a_road(town: tuple[Area, Place]) -> None:
    place = town[1]
    frontage = add_frontage(place, lots(place, (12, 12, 60, 60), (300, 15, 340, 50)))
    assert frontage.site.tolist() == [0, 0, 1]
    assert frontage.driveway == ("D1", "D2", "D1")
    names = [place.network.segment_name[int(g)] for g in frontage.segment]
    assert sorted(names[:2]) == ["East Street", "North Street"]


def test_the_two_ways_of_a_dual_road_are_one_frontage(tmp_path: Path) -> None:
    town = OsmText()
    for k, (x, y) in enumerate([(0, -10), (800, -10), (800, 10), (0, 10)], start=1):
        town.node(k, x, y)
    tags = {"highway": "primary", "name": "Broad Way", "oneway": "yes"}
    town.way(8, [1, 2], tags)
    town.way(9, [3, 4], tags)
    area = open_area(town.save(tmp_path))
    place = open_place(area, use_cache=False)
    frontage = add_frontage(place, lots(place, (300, 20, 360, 80)))
    assert place.network.segment_way[frontage.segment].tolist() == [9]


def test_failing_an_arterial_the_nearest_street_serves(tmp_path: Path) -> None:
    town = cross(500.0)
    town.node(8, 200, 200)
    town.node(9, 400, 200)
    town.way(30, [8, 9], {"highway": "residential", "name": "Quiet Lane"})
    area = open_area(town.save(tmp_path))
    place = open_place(area, use_cache=False)
    frontage = add_frontage(place, lots(place, (280, 215, 320, 260)))
    assert [place.network.segment_name[int(g)] for g in frontage.segment] == ["Quiet Lane"]


def test_a_road_through_the_lot(town: tuple[Area, Place]) -> None:
    frontage = add_frontage(town[1], lots(town[1], (200, -20, 260, 20)))
    assert frontage.distance_m[0] == 0
    assert frontage.fraction[0] == pytest.approx(0.46, abs=0.01)


def test_no_driveway_onto_a_bridge_or_ramp(tmp_path: Path) -> None:
    town = OsmText()
    for k, (x, y) in enumerate([(0, 0), (500, 0), (0, -100), (500, -100)], start=1):
        town.node(k, x, y)
    town.way(8, [1, 2], {"highway": "primary", "bridge": "yes", "name": "High Bridge"})
    town.way(9, [3, 4], {"highway": "residential", "name": "Under Street"})
    area = open_area(town.save(tmp_path))
    place = open_place(area, use_cache=False)
    frontage = add_frontage(place, lots(place, (200, 10, 240, 40)))
    assert [place.network.segment_name[int(g)] for g in frontage.segment] == ["Under Street"]


def test_given_driveways_are_taken_as_they_are(town: tuple[Area, Place]) -> None:
    place = town[1]
    sites = lots(place, (12, 12, 60, 60), (300, 15, 340, 50))
    given = pd.DataFrame(
        {"site": ["L0"], "driveway": ["main"], "lat": [40 + 12 * LAT_M], "lon": [-90 + 30 * LON_M]}
    )
    frontage = add_frontage(place, sites, driveways=given)
    assert frontage.driveway == ("main", "D1")
    assert frontage.proposed.tolist() == [False, True]
    assert frontage.distance_m[0] == pytest.approx(12, abs=0.1)
    with pytest.raises(CaptureError, match="row 1: there is no site 'ghost'"):
        add_frontage(place, sites, driveways=given.assign(site="ghost"))
    with pytest.raises(CaptureError, match="row 1: a public road must be within"):
        add_frontage(place, sites, driveways=given.assign(lat=41.0))
    with pytest.raises(CaptureError, match="must have columns site, lat, lon; add lon"):
        add_frontage(place, sites, driveways=given.drop(columns="lon"))


def test_sites_far_from_any_road_are_named(town: tuple[Area, Place]) -> None:
    place = town[1]
    far = lots(place, (100, 15, 160, 60), (400, 400, 420, 420), (-420, 400, -400, 420))
    with pytest.raises(CaptureError) as caught:
        add_frontage(place, far)
    assert "L1" in str(caught.value)
    assert "L2" in str(caught.value)
    assert "L0" not in str(caught.value)


@pytest.mark.regression
def test_blank_names_take_the_id_and_blank_ids_the_row(town: tuple[Area, Place], tmp_path) -> None:
    _, place = town
    lat, lon = float(place.network.node_lat[0]), float(place.network.node_lon[0])
    text = f"id,name,lat,lon\na,,{lat},{lon}\n,,{lat},{lon}\n"
    sites = load_parcels(*town, _csv(tmp_path, text))
    assert sites.ids == ("a", "row 3")
    assert sites.names == ("a", "row 3")


def test_good_rows_are_read_and_each_bad_one_is_told_of(
    town: tuple[Area, Place], tmp_path: Path
) -> None:
    good = "".join(f"S{k},{spot(50 * k + 20, 10)}\n" for k in range(5))
    bad = f"X1,,\nX2,60,10\nS3,{spot(30, 10)}\nX4,{spot(420, 395)}\n"
    file = _csv(tmp_path, f"id,lat,lon\n{good}{bad}")
    with pytest.raises(CaptureError, match="row 7"):
        load_parcels(*town, file)
    sites = sift_parcels(*town, file)
    assert sites.ids == ("S0", "S1", "S2", "S3", "S4")
    told = sorted(sites.left_out)
    assert [text.split(":")[0] for text in told] == ["row 10, X4", "row 7", "row 8", "row 9"]
    assert "no usable place" in told[1]
    assert "outside the area" in told[2]
    assert "id 'S3' stands in row 5 already" in told[3]
    assert "public road must be within" in told[0]
    plain = load_parcels(*town, _csv(tmp_path, f"id,lat,lon\n{good}"))
    assert plain.left_out == ()
    np.testing.assert_array_equal(plain.x, sites.x)


def test_a_file_without_a_good_row_is_refused_all_the_same(
    town: tuple[Area, Place], tmp_path: Path
) -> None:
    with pytest.raises(CaptureError, match=r"row 2: has no usable place.*row 3: latitude 60"):
        sift_parcels(*town, _csv(tmp_path, "id,lat,lon\nX1,,\nX2,60,10\n"))
    with pytest.raises(CaptureError, match="public road must be within"):
        sift_parcels(*town, _csv(tmp_path, f"id,lat,lon\nX4,{spot(420, 395)}\n"))


def test_an_area_may_say_that_bad_rows_are_left_out(tmp_path: Path) -> None:
    for name in ("roads.osm", "parcels.geojson"):
        shutil.copyfile(find_extract("demo").parent / name, tmp_path / name)
    told = json.loads((tmp_path / "parcels.geojson").read_text(encoding="utf-8"))
    told["features"][0]["geometry"] = None
    (tmp_path / "parcels.geojson").write_text(json.dumps(told), encoding="utf-8")

    def open_with(setting: str) -> Area:
        lines = ("[layers.roads]", 'path = "roads.osm"', "[layers.parcels]",
                 'path = "parcels.geojson"', setting)  # fmt: skip
        text = "\n".join(lines)
        (tmp_path / "area.toml").write_text(text, encoding="utf-8")
        return open_area(tmp_path)

    area = open_with("")
    place = open_place(area)
    with pytest.raises(CaptureError, match="row 1: has no usable place"):
        find_sites(area, place, "parcel:P02")
    area = open_with('bad_rows = "leave out"')
    assert len(load_parcels(area, place)) == 39
    assert find_sites(area, place, "parcel:P02").ids == ("P02",)
    with pytest.raises(InputError, match="no parcel 'P01'"):
        find_sites(area, place, "parcel:P01")
    with pytest.raises(InputError, match="bad_rows of the parcels must be"):
        load_parcels(open_with('bad_rows = "hide"'), place)
