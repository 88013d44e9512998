"""Do known sites on the map get the factors that a study of the same spot gets?"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from capture.area import open_area
from capture.around import add_around, load_rivals
from capture.basis import Offer
from capture.passing import add_streams, add_volumes
from capture.place import add_frontage, find_sites, open_place
from capture.seeing import add_seeing
from capture.share import check_known_sites, compute_factors
from capture.share.from_map import measure_known
from capture.turning import add_turning

DEMO = Path(__file__).parents[2] / "data_public" / "demo"


@pytest.mark.slow
def test_known_sites_on_the_map() -> None:
    area = open_area(DEMO)
    place = open_place(area)
    volumes = add_volumes(area, place)
    rivals = load_rivals(area, place, on_year=2026.5)
    own = int(np.flatnonzero([kind == "exterior" for kind in rivals.formats])[0])
    lat, lon = float(rivals.lat[own]), float(rivals.lon[own])
    table = pd.DataFrame(
        {
            "id": ["mine", "told", "far"],
            "format": ["exterior", "exterior", "exterior"],
            "cars_per_year": ["90000", "80000", "70000"],
            "aadt_veh_day": ["", "21000", "20000"],
            "delay_s": ["", "12.5", ""],
            "ticket_price_usd": ["15", "", ""],
            "lat": [str(lat), str(lat), "10"],
            "lon": [str(lon), str(lon), "10"],
        }
    )
    filled = measure_known(area, place, volumes, rivals, table)
    assert any(note.startswith("far was not measured on the map") for note in filled.notes)
    known = check_known_sites(filled.table)

    site = find_sites(area, place, f"{lat},{lon}")
    frontage = add_frontage(place, site)
    streams = add_streams(area, place, volumes, frontage)
    offer = Offer(ticket_price_usd=15)
    side = area.driving_side
    others = rivals.take(np.arange(len(rivals)) != own)
    table = compute_factors(
        streams,
        add_turning(place, volumes, streams, frontage, driving_side=side),
        add_seeing(place, streams, frontage, offer=offer, driving_side=side),
        add_around(area, place, volumes, streams, site, others, offer=offer, driving_side=side),
        offer,
        ids=["mine"],
    )
    for name in ("log_vehicles", "delay", "sight", "pull", "passed_first", "log_people"):
        column = table.names.index(name)
        assert known.factors.x[0, column] == pytest.approx(table.x[0, column], abs=1e-9), name
    price = table.names.index("log_price")
    assert known.factors.x[0, price] == pytest.approx(table.x[0, price])
    assert known.factors.missing[1, price]
    assert known.factors.missing[0, table.names.index("plan")]
    assert known.factors.x[1, table.names.index("delay")] == 12.5
    assert known.vehicles_veh_day[1] == 21_000
    assert known.vehicles_cv[1] == pytest.approx(0.15)
    assert 0 < known.vehicles_cv[0] < 1
    assert known.factors.missing[2, 1:].all()
