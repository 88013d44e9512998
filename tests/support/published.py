"""Printed figures to check against: reads ``tests/published/*.csv`` and compares one row."""

from __future__ import annotations

import csv
import json
from pathlib import Path
from typing import Any

FOLDER = Path(__file__).parent.parent / "published"


def load_rows(room: str) -> list[dict[str, Any]]:
    """Return the rows of one room, ``inputs`` parsed and numbers as floats."""
    with (FOLDER / f"{room}.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    for row in rows:
        row["inputs"] = json.loads(row["inputs"])
        row["printed"] = float(row["printed"])
        row["tolerance"] = float(row["tolerance"])
    return rows


def name_row(row: dict[str, Any]) -> str:
    """Return a readable test id."""
    return f"{row['check']}-{'-'.join(str(v) for v in row['inputs'].values())}"


def assert_printed(row: dict[str, Any], got: float) -> None:
    """Fail with the source when a figure is off by more than its tolerance."""
    assert abs(got - row["printed"]) <= row["tolerance"], (
        f"{row['check']}({row['inputs']}) = {got}, printed {row['printed']} {row['unit']} "
        f"in {row['source']}, {row['locator']}"
    )
