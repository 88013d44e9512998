"""Are roads without a count within what is said of them? Pooled over many invented towns."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from capture.area import open_area
from capture.passing.layers import load_area_counts
from capture.passing.spread import carry_counts, split_over_carriageways
from capture.passing.tie import make_index, tie_counts
from capture.passing.values import VALUES
from capture.passing.volumes import add_volumes, assemble_volumes
from capture.place import open_place

DEMO = Path(__file__).parents[2] / "data_public" / "demo"
TOWNS = 27
Z95 = 1.6448536269514722


def _write_town(seed, folder):
    if str(DEMO) not in sys.path:
        sys.path.insert(0, str(DEMO))
    import make_demo

    streets = make_demo.draw_streets(seed)
    daily = make_demo.make_traffic(streets, seed)
    folder.mkdir()
    make_demo.write_osm(folder / "roads.osm", streets, [])
    (folder / "counts.geojson").write_text(json.dumps(make_demo.make_counts(streets, daily, seed)))
    (folder / "people.geojson").write_text(json.dumps(make_demo.make_people(seed)))
    layers = "".join(
        f'[layers.{kind}]\npath = "{name}"\n'
        for kind, name in (
            ("roads", "roads.osm"),
            ("counts", "counts.geojson"),
            ("people", "people.geojson"),
        )
    )
    (folder / "area.toml").write_text(f'name = "town {seed}"\nstudy_year = 2024\n{layers}')
    return open_area(folder)


def _hold_out(area, place, through, seed):
    """Leave out three tenths of the counts, say every road anew, and look at those left out."""
    network = place.network
    loaded = load_area_counts(area, place, study_year=2024)
    index = make_index(network)
    ties = tie_counts(network, loaded.counts, index=index)
    ready = loaded.counts.merge(ties, on="count_id")
    ready["aged_vehicles_per_day"] = ready["vehicles_per_day"]
    ready["aged_log_sd"] = ready["log_sd"]
    out = np.random.default_rng(seed).random(len(ready)) < 0.3
    kept = ready[~out].reset_index(drop=True)
    carried, kept = carry_counts(network, kept)
    made = assemble_volumes(network, kept, carried, through, loaded, index=index, study_year=2024)
    rows = []
    for count in ready[out].to_dict("records"):
        for segment, volume, _, _ in split_over_carriageways(network, count, VALUES):
            off = np.log(volume) - np.log(made.vehicles_per_day[segment])
            spread = np.hypot(made.log_sd[segment], count["aged_log_sd"])
            rows.append((off / spread, bool(made.measured[segment])))
    return rows


@pytest.fixture(scope="module")
def towns(tmp_path_factory):
    folder = tmp_path_factory.mktemp("towns")
    misses, left_out = [], []
    for seed in range(500, 500 + TOWNS):
        area = _write_town(seed, folder / str(seed))
        place = open_place(area)
        volumes = add_volumes(area, place)
        misses.append(volumes.model.misses())
        left_out += _hold_out(area, place, volumes.through, seed)
    return np.concatenate(misses), pd.DataFrame(left_out, columns=["z", "measured"])


@pytest.mark.slow
def test_held_out_counts_lie_in_the_interval_as_often_as_said(towns):
    misses, _ = towns
    assert len(misses) >= 2000
    assert 0.85 < (np.abs(misses) < Z95).mean() < 0.95
    assert 0.38 < (np.abs(misses) < 0.6745).mean() < 0.68


@pytest.mark.slow
def test_counts_left_out_of_the_whole_walk_are_covered_too(towns):
    _, left_out = towns
    for _, part in left_out.groupby("measured"):
        assert len(part) > 100
        assert 0.82 < (part["z"].abs() < Z95).mean() < 0.98
