"""Writes what each field of a study's file means into its schema, from the code itself.

Run ``python tests/support/describe_study_file.py`` after a field was added or renamed. The
words are the lines ``#:`` above the fields, the meanings of built-in numbers, and units.
"""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import capture
from capture.basis import Offer
from capture.chain import load_numbers, study
from capture.papers.study_json import list_units, make_study_dict
from capture.papers.telling import guess_unit
from capture.papers.withheld import WITHHELD
from siteapp.reference import read_field_words

ROOT = Path(__file__).resolve().parents[2]
DEMO = ROOT / "data_public" / "demo"
SCHEMA = Path(capture.__file__).parent / "papers" / "schema" / "study.schema.json"
#: parts of the file that are told from a room's result, field by field
PARTS = ("offer", "line", "queue", "utilities", "ground", "money")
#: what the other fields mean, by their place in the file; ``[]`` is any row of a list
WORDS = {
    "schema": "Which layout this file has.",
    "program": "What made the file.",
    "program.name": "Its name.",
    "program.version": "Its version.",
    "seed": "Seed of the draws; the same seed gives the same numbers.",
    "draws": "Number of possible worlds.",
    "area": "The area and its data.",
    "area.name": "What people call it.",
    "area.invented": "Whether it is made up.",
    "area.driving_side": "Side of the road that people drive on.",
    "area.time_zone": "IANA name of its time zone.",
    "area.layers": "Sources of knowledge about the area.",
    "area.layers[].kind": "What the layer holds.",
    "area.layers[].source": "Id of its entry of sources.",
    "area.layers[].licence": "Licence that it comes under, in words.",
    "area.layers[].status": "Whether the data are as delivered or invented.",
    "site": "The place that was studied.",
    "site.id": "Its id in the area.",
    "site.name": "What people call it.",
    "site.lat": "Latitude of its middle [degrees north, WGS 84].",
    "site.lon": "Longitude of its middle [degrees east, WGS 84].",
    "site.area_m2": "Area of the parcel; null for a point [m2].",
    "site.driveways": "Its driveways, each on one road.",
    "site.driveways[].id": "Its id, unique at the site.",
    "site.driveways[].road": "Name of the road that it meets, empty for none.",
    "site.driveways[].lat": "Latitude of its mouth [degrees north, WGS 84].",
    "site.driveways[].lon": "Longitude of its mouth [degrees east, WGS 84].",
    "site.driveways[].proposed": "Whether it was proposed here rather than given.",
    "offer": "What is to be built and sold.",
    "streams[].id": "Id of the stream, also of its entry of sources.",
    "streams[].road": "Name of the road, empty for none.",
    "streams[].direction_deg": "Way that it drives past, clockwise from north [degrees].",
    "streams[].vehicles_per_day": "Washable vehicles in this direction [vehicles/day].",
    "streams[].side": "Whether the site lies on its near or far side.",
    "streams[].measured": "Whether somebody counted it; estimated otherwise.",
    "streams[].year": "Year of the count; null when not counted.",
    "streams[].speed_mps": "Speed of the road [m/s].",
    "streams[].lanes": "Lanes in this direction.",
    "streams[].delay_s": "Time lost by turning in and out [s].",
    "streams[].way_in": "How drivers get in.",
    "streams[].way_out": "How drivers get out.",
    "streams[].queue95_veh": "Vehicles waiting to turn in that are exceeded 5 % of the time.",
    "streams[].sight": "Seen over needed distance, at most 1 [share].",
    "streams[].seen_m": "From how far the site is seen [m].",
    "streams[].needed_m": "From how far it must be seen to slow and turn in [m].",
    "streams[].source": "Id of its entry of sources.",
    "rivals[].id": "Id of the table, else of the map.",
    "rivals[].name": "Its name, empty for none.",
    "rivals[].format": "What kind of wash it is.",
    "rivals[].minutes": "Drive time to it; null when it cannot be reached [min].",
    "rivals[].likeness": "How like the offer it is, 0 to 1 [share].",
    "rivals[].lat": "Latitude [degrees north, WGS 84].",
    "rivals[].lon": "Longitude [degrees east, WGS 84].",
    "rivals[].source": "Id of its entry of sources.",
    "people": "Who lives within reach; the unit stands in each number.",
    "people.source": "Id of the entry of sources that these come from.",
    "capture_rate": "Share of washable vehicles passing that is washed.",
    "capture_rate.meaning": "What it is a share of.",
    "capture_rate.base": "Share at the reference site [share].",
    "capture_rate.rejected_share": "Part of the draws that were drawn again [share].",
    "capture_rate.known_sites": "Number of washes with known cars in the regression.",
    "capture_rate.multipliers[].name": "Name of the factor.",
    "capture_rate.multipliers[].x": "The factor's value at the site, in its own unit.",
    "capture_rate.multipliers[].missing": "Whether the site does not tell it.",
    "cars_per_year": "Cars that want to be washed [cars/year].",
    "cars_per_day": "The same, a 365th of it [cars/day].",
    "busy_hour_cars": "Cars in the busy hour of next year [cars/h].",
    "busy_hour_cars.rank": "Which busiest hour of the year it is; 1 is the busiest.",
    "busy_hour_cars.expected_only": "The same without chance between hours [cars/h].",
    "busy_hour_cars.busiest_day": "Cars on the busiest day of next year [cars/day].",
    "line": "The line, station by station.",
    "queue": "Waiting cars over many simulated days.",
    "utilities": "Water, power and air.",
    "ground": "Fit on the parcel, and what may sink it.",
    "money": "Cash, returns and the price of land.",
    "cautions": "What a reader must be told, the most pressing first.",
    "sources": "Everything that the numbers stand on.",
}
#: what the fields of a number and of a source mean
DEFINED = {
    "number": {
        "value": "Middle of the draws (median).",
        "low": "5th percentile.",
        "high": "95th percentile.",
        "mean": "Mean of the draws.",
        "unit": "Unit of all four.",
        "source": "Id of the entry of sources that it comes from.",
        "words": "What the numbers cannot say.",
    },
    "source": {
        "id": "Its id.",
        "title": "Title and year, or who says so.",
        "locator": "Table, equation or section; a road for a stream.",
        "grade": "How far it can be trusted.",
        "meaning": "What it means, one sentence.",
        "value_used": "The number that was used, if it is one.",
        "low": "5th percentile.",
        "high": "95th percentile.",
        "unit": "Unit of the number.",
        "made_from": "Ids of the entries that it stands on in turn.",
    },
}
ORDER = ("description", "type", "required", "properties", "additionalProperties")
#: fields that are made for the file itself
OWN_WORDS = {
    "source": "Id of the entry of sources that its numbers come from.",
    "source_in_words": "Whose figures these are.",
    "figures": "Figures of pipes and wires by name, each with its range and caution.",
}
NUMBER = {"$ref": "#/$defs/number"}
AMOUNT = {"$ref": "#/$defs/amount"}


def make_studies() -> list[tuple[Any, dict[str, Any]]]:
    """Make studies that between them fill every field: a conveyor, bays, a site with no parcel."""
    made = [
        study(DEMO, "parcel:P04", draws=20, year=2024),
        study(DEMO, "parcel:P01", Offer(format="self_service", bays=4), draws=20, year=2024),
        study(DEMO, "parcel:P02", Offer(format="in_bay", bays=2), draws=20, year=2024),
        study(DEMO, "43.6058,-87.3080", Offer(land_cost_usd=5e5), draws=20, year=2024),
    ]
    return [(one, make_study_dict(one)) for one in made]


class Writer:
    """Describes parts of a study's file."""

    def __init__(self) -> None:
        numbers = load_numbers()
        self.units = list_units(numbers)
        self.meanings = {n.name: n.meaning for sheet in numbers.values() for n in sheet.values()}

    def describe(self, thing: Any, told: Mapping[str, Any], schema: dict[str, Any]) -> None:
        """Add to an object's schema what its fields mean."""
        words = read_field_words(type(thing)) if dataclasses.is_dataclass(thing) else {}
        schema["type"] = "object"
        schema["additionalProperties"] = False
        properties = schema.setdefault("properties", {})
        for name, value in told.items():
            part = properties.setdefault(name, {})
            held = "source" if name == "source_in_words" else name
            inner = thing.get(held) if isinstance(thing, Mapping) else getattr(thing, held, None)
            said = OWN_WORDS.get(name) or words.get(name) or self.meanings.get(name)
            if not said and isinstance(thing, Mapping):
                said = name.replace("_", " ")
            assert said, f"{type(thing).__name__}.{name} has no words; write its line #:"
            self.fill(name, inner, value, part, said)

    def fill(self, name: str, thing: Any, value: Any, part: dict[str, Any], said: str) -> None:
        number = isinstance(value, int | float) and not isinstance(value, bool)
        spread = isinstance(value, dict) and {"value", "low", "high", "unit"} <= set(value)
        if number or spread:
            unit = self.units.get(name) or guess_unit(name)
            allow(part, AMOUNT)
            said = f"{said} [{value['unit'] if spread else unit}]"
        elif isinstance(value, dict):
            self.describe(thing, value, part)
        elif isinstance(value, list):
            part["type"] = "array"
            part.pop("anyOf", None)
            rows = zip(thing, value, strict=False) if thing is not None else ()
            for one, row in rows:
                if isinstance(row, dict) and not {"value", "unit"} <= set(row):
                    self.describe(one, row, part.setdefault("items", {}))
        else:
            kind = {str: "string", bool: "boolean", type(None): "null"}[type(value)]
            allow(part, {"type": kind})
        part["description"] = said[0].upper() + said[1:]


def allow(part: dict[str, Any], *forms: dict[str, Any]) -> None:
    """Let a field have further forms besides those that it has."""
    held = part.setdefault("anyOf", [])
    held += [form for form in forms if form not in held]


def find(schema: dict[str, Any], path: str) -> dict[str, Any]:
    """Find the schema of a field by its place in the file."""
    at = schema
    for step in path.split("."):
        name, rows, _ = step.partition("[]")
        at = next(one for one in spread(at) if name in one.get("properties", {}))["properties"][
            name
        ]
        at = at["items"] if rows else at
    return at


def spread(schema: dict[str, Any]) -> list[dict[str, Any]]:
    """List a schema and those that hold together with it."""
    return [schema, *(part for one in schema.get("allOf", ()) for part in spread(one))]


def make_schema(studies: list[tuple[Any, dict[str, Any]]]) -> str:
    """Return the schema's text with every field of some studies described."""
    schema = json.loads(SCHEMA.read_text(encoding="utf-8"))
    writer = Writer()
    for part in PARTS:
        kept = schema["properties"][part]
        figures = kept.get("properties", {}).get("figures")
        kept.pop("properties", None)
        for made, told in studies:
            own = {name: value for name, value in told[part].items() if name != "figures"}
            writer.describe(getattr(made, part), own, kept)
        everywhere = set.intersection(*(set(told[part]) for _, told in studies))
        kept["required"] = sorted(everywhere)
        kept["description"] = WORDS[part]
        if figures is not None:
            kept["properties"]["figures"] = figures | {"description": OWN_WORDS["figures"]}
        schema["properties"][part] = {name: kept[name] for name in ORDER if name in kept}
    schema["$defs"]["amount"] = {
        "description": "A number that is certain, or an object where it has no end or a spread; "
        "the word withheld where it is the client's own and was left out.",
        "anyOf": [{"type": "number"}, NUMBER, {"const": WITHHELD}],
    }
    for path, said in WORDS.items():
        find(schema, path)["description"] = said
    for kind, fields in DEFINED.items():
        for name, said in fields.items():
            schema["$defs"][kind]["properties"][name]["description"] = said
    return json.dumps(schema, indent=2, ensure_ascii=False) + "\n"


if __name__ == "__main__":
    SCHEMA.write_text(make_schema(make_studies()), encoding="utf-8")
    print(f"wrote {SCHEMA.relative_to(ROOT)}")
