"""Make the demo area: an invented town with everything that a study can use.

    python data_public/demo/make_demo.py [--seed N] [--out DIR]

The same seed gives the same bytes. ``make_town`` writes a whole town into a folder,
``make_known_sites`` only makes the table of known sites with its true rule, which is
quick, so that hundreds of sets can be made in a test.
"""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import Any

import pandas as pd

HERE = Path(__file__).resolve().parent
if str(HERE) not in sys.path:
    sys.path.insert(0, str(HERE))

from demo_counts import make_counts, make_hourly, make_short  # noqa: E402
from demo_features import draw_things, place_parcels  # noqa: E402
from demo_known import make_known_sites, write_truth  # noqa: E402
from demo_layers import make_parcels, make_people, make_weather  # noqa: E402
from demo_osm import write_osm  # noqa: E402
from demo_roads import draw_streets  # noqa: E402
from demo_traffic import make_traffic  # noqa: E402
from demo_washes import make_rivals, place_washes  # noqa: E402

__all__ = ["main", "make_known_sites", "make_town"]

TOWN = "Harrowmere"
#: the town that is kept in the repository
DEFAULT_SEED = 17
AREA_TOML = """\
# Invented town for demonstration. It is drawn on open water in the middle of Lake Michigan,
# far from every shore, so that nothing in it can be taken for a real place.
name = "{town} (invented)"
invented = true
driving_side = "right"
units = "us"
time_zone = "America/Chicago"
study_year = 2026
note = "An invented town, 6 x 6 km, drawn on open water; seed {seed}"

[layers.roads]
path = "roads.osm"
{made}
note = "streets, buildings, trees and shops in the open street map's XML form"

[layers.counts]
path = "counts.geojson"
short_counts = "count_48h.csv"
{made}
note = "vehicles a day in 2022 and 2024, and one 48-hour count"

[layers.hourly_counts]
path = "hourly_counts.csv"
{place}
{made}
note = "one year of hours by local clock; three days lost; the clock change is left out"

[layers.rivals]
path = "rivals.csv"
{made}
note = "twelve washes, one planned, one closed; seven stand on the map as well"

[layers.parcels]
path = "parcels.geojson"
{made}
note = "forty parcels; P01 is a corner on an arterial"

[layers.people]
path = "people.geojson"
{made}
note = "households, people, vehicles and summed income by zone of a kilometre"

[layers.weather]
path = "weather.csv"
temperature_unit = "degC"
rain_unit = "mm"
snow_unit = "mm"
{made}
note = "one year of days: TMAX and TMIN in deg C, PRCP and new SNOW in mm"

[layers.known_sites]
path = "known_sites.csv"
true_model = "true_model.toml"
{made}
note = "forty washes in other invented towns, drawn from the rule in true_model.toml"
"""
MADE = (
    'source = "invented by make_demo.py, seed {seed}"\nlicence = "CC0 1.0, invented data"\n'
    "invented = true"
)


def make_town(seed: int, folder: Path | str) -> Path:
    """Write every file of one invented town into a folder, which is made when missing."""
    out = Path(folder)
    out.mkdir(parents=True, exist_ok=True)
    streets = draw_streets(seed)
    daily = make_traffic(streets, seed)
    washes = place_washes(streets)
    parcels = place_parcels(streets, seed, washes)
    write_osm(out / "roads.osm", streets, draw_things(streets, parcels, washes, seed))
    hourly, place = make_hourly(streets, daily, seed)
    known, truth = make_known_sites(seed)
    _write_json(out / "counts.geojson", make_counts(streets, daily, seed))
    _write_json(out / "parcels.geojson", make_parcels(parcels))
    _write_json(out / "people.geojson", make_people(seed))
    _write_csv(out / "count_48h.csv", make_short(streets, daily, seed))
    _write_csv(out / "hourly_counts.csv", hourly)
    _write_csv(out / "rivals.csv", make_rivals(washes))
    _write_csv(out / "weather.csv", make_weather(seed))
    _write_csv(out / "known_sites.csv", known)
    _write_text(out / "true_model.toml", write_truth(truth, seed))
    place_lines = "\n".join(f"{k} = {json.dumps(v)}" for k, v in place.items())
    made = MADE.format(seed=seed)
    text = AREA_TOML.format(town=TOWN, seed=seed, made=made, place=place_lines)
    _write_text(out / "area.toml", text)
    return out


def _write_text(path: Path, text: str) -> None:
    path.write_text(text, encoding="utf-8", newline="\n")


def _write_json(path: Path, collection: dict[str, Any]) -> None:
    """Write one feature a line, so that differences can be read."""
    head = {k: v for k, v in collection.items() if k != "features"}
    lines = ",\n".join(json.dumps(feature) for feature in collection["features"])
    _write_text(path, json.dumps(head)[:-1] + ', "features": [\n' + lines + "\n]}\n")


def _write_csv(path: Path, table: pd.DataFrame) -> None:
    _write_text(path, table.to_csv(index=False, lineterminator="\n"))


def main(arguments: list[str] | None = None) -> int:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description="Make the invented demo town.")
    parser.add_argument("--seed", type=int, default=DEFAULT_SEED, help="another seed, another town")
    parser.add_argument("--out", type=Path, default=HERE, help="folder to write into")
    chosen = parser.parse_args(arguments)
    folder = make_town(chosen.seed, chosen.out)
    print(f"{TOWN} (invented), seed {chosen.seed}, written to {folder.name}")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
