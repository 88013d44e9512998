"""Does the worst Saturday's queue stand where the simulation and the parcel say?"""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
import shapely

from capture.papers.figures import draw_parcel, say_parcel
from capture.papers.layers_out import make_layers_out
from capture.papers.queue_layer import make_queue_layer, say_queue, stand_queue

DEMO = Path(__file__).resolve().parents[2] / "data_public" / "demo"


@pytest.fixture(scope="module")
def fitting() -> Any:
    """A study whose parcel holds the wash."""
    from capture.chain import study

    return study(DEMO, "parcel:P01", draws=200, year=2024)


def more_cars(study: Any, cars: int) -> Any:
    """Return the study with so many cars on its worst Saturday."""
    worst = replace(study.queue.worst_saturday, cars=cars)
    return replace(study, queue=replace(study.queue, worst_saturday=worst))


def test_every_car_stands_on_the_parcel_or_in_the_street(fitting) -> None:
    places = int(fitting.queue.stacking_places)
    held = round(fitting.ground.needs.stacking_m / fitting.numbers["ground"].value("car_space_m"))
    assert places == held
    standing = stand_queue(more_cars(fitting, places + 7))
    assert (len(standing.waiting), len(standing.free), len(standing.street)) == (places, 0, 7)
    parcel = fitting.sites.polygons[0]
    assert all(parcel.covers(car) for car in standing.waiting)
    assert not any(parcel.intersects(car) for car in standing.street)
    network = fitting.place.network
    row = fitting.frontage.driveway.index(standing.driveway)
    road = shapely.LineString(network.segment_line(int(fitting.frontage.segment[row])))
    assert network.segment_name[int(fitting.frontage.segment[row])] == standing.road
    assert standing.street[0].distance(road) < 10.0
    mouth = shapely.Point(fitting.frontage.x[row], fitting.frontage.y[row])
    far = [mouth.distance(car) for car in standing.street]
    assert far == sorted(far)
    few = stand_queue(more_cars(fitting, 3))
    assert (len(few.waiting), len(few.free), len(few.street)) == (3, places - 3, 0)
    assert few.line is None


def test_sentence_says_how_many_how_long_and_how_often(fitting) -> None:
    places = int(fitting.queue.stacking_places)
    said = say_queue(more_cars(fitting, places + 5))
    assert re.search(rf"{places + 5} cars wait: {places} in the lanes, and 5 stand in the", said)
    assert re.search(r"for \d+ (hours?|minutes?).* of that day, and on .* days a year", said)
    assert " ft of it" in said
    assert " m of it" in say_queue(more_cars(fitting, places + 5), "metric")
    assert "all find one of the" in say_queue(more_cars(fitting, 3))


def test_without_a_shape_or_room_it_says_so_and_draws_nothing(fitting) -> None:
    ground = replace(fitting.ground, placements=())
    full = replace(fitting, chain=replace(fitting.chain, ground=(ground,)))
    assert stand_queue(full) is None
    assert make_queue_layer(full) is None
    assert "do not fit on the parcel" in say_queue(full)
    sites = replace(fitting.sites, polygons=(None,))
    chain = replace(
        fitting.chain, request=replace(fitting.chain.request, sites=sites), ground=(ground,)
    )
    bare = replace(fitting, chain=chain)
    assert "shape is not known" in say_queue(bare)
    assert draw_parcel(bare) == ""
    bays = replace(fitting, queue=replace(fitting.queue, worst_saturday=None))
    assert "drives on" in say_queue(bays)
    assert make_queue_layer(bays) is None


def test_layer_and_picture_tell_the_street_apart_without_colour(fitting) -> None:
    places = int(fitting.queue.stacking_places)
    full = more_cars(fitting, places + 4)
    marks = make_queue_layer(full).marks
    looks = [mark.look for mark in marks]
    assert looks.count("queue-car") == places
    assert looks.count("queue-street") == looks.count("queue-bar") == 4
    assert [mark.label for mark in marks if mark.label] == ["4 cars in the street"]
    assert all(mark.fine for mark in marks if mark.kind != "point")
    drawn = draw_parcel(full)
    assert "4 in the street" in drawn
    assert drawn.count("<polyline") >= 8
    assert "barred boxes" in say_parcel(full, "us")
    frame = make_layers_out(full)["queue"]
    assert frame["what"].value_counts()["car with no place, in the street"] == 4
    assert len(frame) == places + 4
