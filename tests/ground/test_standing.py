"""Do waiting cars stand inside their lanes, one in each place, and behind each other?"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
import shapely

from capture.basis import InputError
from capture.ground import VALUES, Needs, list_arrangements, list_places, place_site, stand_along

NEEDS = Needs(
    building_length_m=36.0, building_width_m=11.0, stacking_m=14 * 6.7056, lanes=3,
    vacuum_bays=10, vacuum_bays_least=4, bays=False,
)  # fmt: skip


@pytest.mark.property
@pytest.mark.parametrize("turn", [0.0, 33.0])
def test_every_place_lies_in_the_lanes_of_its_placement(turn):
    parcel = shapely.affinity.rotate(shapely.box(0, 0, 130, 75), turn)
    placements = place_site(parcel, NEEDS, most=6)
    assert len({one.arrangement for one in placements}) > 1
    for placement in placements:
        cars = list_places(placement, NEEDS, 14)
        assert len(cars) == 14
        lanes = shapely.union_all(
            [shape for name, shape in placement.parts.items() if "lanes" in name]
        )
        # a car that goes round a bend may hang over by a wheel, none by more
        assert max(car.difference(lanes).area for car in cars) < 0.25 * cars[0].area
        pay = placement.parts["pay lanes"]
        assert cars[0].distance(pay) < cars[-1].distance(pay)


def test_no_more_cars_stand_than_there_are_places_and_bays_have_none():
    placement = place_site(shapely.box(0, 0, 130, 75), NEEDS, most=1)[0]
    assert len(list_places(placement, NEEDS, 5)) == 5
    assert list_places(placement, NEEDS, 0) == ()
    bays = Needs(
        building_length_m=9.0, building_width_m=24.0, stacking_m=60.0, lanes=4, vacuum_bays=2,
        vacuum_bays_least=1, bays=True,
    )  # fmt: skip
    assert list_arrangements(bays)[0].name == "lanes straight behind"
    own = place_site(shapely.box(0, 0, 130, 75), bays, most=1)[0]
    assert list_places(own, bays, 5) == ()


def test_cars_stand_one_behind_the_other_and_stop_where_the_lane_ends():
    space = VALUES.value("car_space_m")
    cars = stand_along([(0, 0), (20, 0), (20, 40)], 30)
    assert len(cars) == int(60 // space)
    assert all(car.area == pytest.approx(5.8 * 2.1) for car in cars)
    assert cars[0].centroid.x == pytest.approx(space / 2)
    gaps = [a.centroid.distance(b.centroid) for a, b in pairwise(cars)]
    assert max(gaps) <= space + 1e-9
    assert np.sum(np.abs(np.array(gaps) - space) < 1e-6) >= len(gaps) - 2
    with pytest.raises(InputError, match="two points"):
        stand_along([(0, 0)], 3)
