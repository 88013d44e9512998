"""How is a census table without shapes tied to the shapes of its zones?

Surveys publish figures and boundaries apart: a table by area code and a file of shapes with
the same code. They are tied by that code; every row left over on either side is counted and
said. Assumes that a code ends in the same digits in both, since one side often carries a
prefix such as ``1500000US``.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

from capture.area import load_table
from capture.basis import DataError, plain_text

#: headings of an area code, most telling first, folded
CODE_NAMES: Final = (
    "geoid",
    "geoid20",
    "geoid10",
    "geoidfq",
    "affgeoid",
    "gisjoin",
    "code",
    "zone",
)
_PREFIX: Final = re.compile(r"^\d{7}us", re.IGNORECASE)


def fold_code(code: object) -> str:
    """Fold an area code to the part that shapes and tables share.

    Examples
    --------
    >>> fold_code("1500000US421010001001"), fold_code(421010001001.0)
    ('421010001001', '421010001001')
    """
    text = re.sub(r"\.0+$", "", str(code).strip())
    return _PREFIX.sub("", text).lstrip("0")


def find_code(names: list[str]) -> str | None:
    """Find the heading that holds an area code, None when there is none.

    Examples
    --------
    >>> find_code(["NAME", "GEO_ID", "B01003_001E"])
    'GEO_ID'
    """
    folded = {re.sub(r"[\W_]+", "", name.lower()): name for name in names}
    return next((folded[name] for name in CODE_NAMES if name in folded), None)


def join_table(
    shapes: Any, options: Mapping[str, Any], *, folder: Path, where: str
) -> tuple[Any, list[str]]:
    """Tie the table that the people layer names to its shapes.

    Parameters
    ----------
    shapes : GeoDataFrame
        The layer itself.
    options : mapping
        Of the layer: ``table`` names the file, ``table_key`` and ``key`` the columns of the
        code in the table and in the shapes, found by name when left out.
    folder : Path
        The area's folder, in which the table must lie.
    where : str
        Name of the layer's file, for messages.

    Returns
    -------
    tuple of (GeoDataFrame, list of str)
        Shapes with the table's columns, and what was left over; unchanged without a table.

    Raises
    ------
    DataError
        When the table is missing, has no code, names a code twice, or fits no shape.
    """
    name = options.get("table")
    if name is None:
        return shapes, []
    file = (folder / str(name)).resolve()
    if not file.is_file() or folder.resolve() not in file.parents:
        raise DataError(
            f"area.toml: people table {plain_text(name, most=80)!r} must be a file in the area's "
            "folder; mend its name"
        )
    table = load_table(file)
    left = _name_code(shapes, options.get("key"), where)
    right = _name_code(table, options.get("table_key"), file.name)
    rows = table[[bool(re.search(r"\d", str(code))) for code in table[right]]].copy()
    rows["_code"] = [fold_code(code) for code in rows[right]]
    twice = rows["_code"][rows["_code"].duplicated()]
    if len(twice):
        raise DataError(
            f"{file.name}: code {plain_text(twice.iloc[0], most=40)!r} stands twice; keep one row"
        )
    keep = [
        n for n in rows.columns if n not in {"row", "geometry", "_code", right} and n not in shapes
    ]
    joined = shapes.assign(_code=[fold_code(code) for code in shapes[left]])
    joined = joined.merge(rows[[*keep, "_code"]], on="_code", how="left")
    found = joined["_code"].isin(rows["_code"])
    if not found.any():
        raise DataError(
            f"{file.name}: none of its codes stands in {where}; name the columns with key and "
            "table_key"
        )
    spare = int((~rows["_code"].isin(joined["_code"])).sum())
    notes = [f"{file.name}: tied to {int(found.sum())} of {len(joined)} zones by {right}"]
    if spare:
        notes.append(f"{file.name}: {spare} rows have no shape in {where}")
    return joined.drop(columns="_code"), notes


def _name_code(table: Any, given: object, where: str) -> str:
    names = [str(name) for name in table.columns]
    code = str(given) if given is not None else find_code(names)
    if code is None or code not in names:
        raise DataError(
            f"{where}: no column of area codes such as GEOID is found; name it with key or "
            f"table_key, got columns {plain_text(', '.join(names))}"
        )
    return code
