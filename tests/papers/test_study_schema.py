"""Does the published schema describe every field of a study's file, its unit with it?"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from typing import Any

import jsonschema
import pytest
from describe_study_file import SCHEMA, make_schema, make_studies, spread

from capture.basis import Offer
from capture.chain import study
from capture.papers import load_schema, render_study


@pytest.fixture(scope="module")
def studies() -> Any:
    return make_studies()


def resolve(schema: dict[str, Any]) -> dict[str, Any]:
    ref = schema.get("$ref")
    return {**load_schema()["$defs"][ref.rsplit("/", 1)[-1]], **schema} if ref else schema


def walk(told: Any, schema: dict[str, Any], path: str) -> Iterator[tuple[str, Any, dict[str, Any]]]:
    """Yield place, value and schema of every field in a file that has a schema of its own."""
    parts = [resolve(part) for part in spread(resolve(schema))]
    if isinstance(told, dict):
        for name, value in told.items():
            found = [
                part["properties"][name] for part in parts if name in part.get("properties", {})
            ]
            if found:
                yield f"{path}.{name}", value, found[0]
                yield from walk(value, found[0], f"{path}.{name}")
    elif isinstance(told, list):
        for row in told:
            for part in parts:
                if "items" in part:
                    yield from walk(row, part["items"], f"{path}[]")


def test_schema_is_what_the_code_says(studies) -> None:
    assert SCHEMA.read_text("utf-8") == make_schema(studies), (
        "run python tests/support/describe_study_file.py"
    )


@pytest.mark.parametrize(
    ("site", "offer"),
    [
        ("parcel:P03", Offer(format="full_service")),
        ("parcel:P18", Offer(format="exterior", land_cost_usd=1.5e6)),
        ("parcel:P07", Offer(format="flex", plan_offered=False)),
        ("43.61,-87.30", Offer(format="in_bay", bays=3)),
    ],
)
def test_files_of_other_studies_keep_to_it(site, offer, studies) -> None:
    made = study(studies[0][0].area, site, offer, draws=20, year=2024)
    told = json.loads(render_study(made))
    faults = jsonschema.Draft202012Validator(load_schema()).iter_errors(told)
    assert [f"{fault.json_path}: {fault.message[:90]}" for fault in faults] == []


def test_every_field_is_described(studies) -> None:
    silent = {
        path
        for _, told in studies
        for path, _, schema in walk(told, load_schema(), "$")
        if not schema.get("description") and "$ref" not in schema
    }
    assert silent == set()


@pytest.mark.property
def test_units_told_are_the_units_written(studies) -> None:
    wrong, seen = set(), 0
    for _, told in studies:
        for path, value, schema in walk(told, load_schema(), "$"):
            spread_out = isinstance(value, dict) and {"value", "low", "high", "unit"} <= set(value)
            said = re.search(r"\[([^]]+)\]\.?$", schema.get("description", ""))
            if spread_out and said:
                seen += 1
                if said[1] != value["unit"]:
                    wrong.add((path, said[1], value["unit"]))
    assert wrong == set()
    assert seen > 200


def test_a_field_that_nobody_described_is_refused(studies) -> None:
    told = json.loads(json.dumps(studies[0][1], default=str))
    told["money"]["surprise_usd"] = 1.0
    faults = list(jsonschema.Draft202012Validator(load_schema()).iter_errors(told))
    assert any("surprise_usd" in fault.message for fault in faults)
