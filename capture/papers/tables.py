"""How do rankings and layers leave as files that a spreadsheet or a map program opens?

Text cells never start a formula; numbers are rounded to six digits; the same content gives
the same bytes.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pandas as pd

from capture.basis import DataError, cell_text
from capture.papers.numbers import round_digits

if TYPE_CHECKING:
    import geopandas

#: version of GeoPackages written: one that older map programs take too
GEOPACKAGE: Final = "1.2"
FIXED_TIME: Final = "2000-01-01T00:00:00.000Z"


def make_safe_table(table: pd.DataFrame) -> pd.DataFrame:
    """Return a table whose text cells and column names are safe in a spreadsheet.

    Examples
    --------
    >>> make_safe_table(pd.DataFrame({"name": ["=1+1"]}))["name"].to_list()
    ["'=1+1"]
    """
    safe: dict[str, list[Any]] = {}
    for name in table.columns:
        column = table[name]
        if pd.api.types.is_bool_dtype(column):
            safe[name] = ["yes" if value else "no" for value in column.to_numpy(dtype=bool)]
        elif pd.api.types.is_float_dtype(column):
            safe[name] = [_float(value) for value in column.to_numpy(dtype=np.float64)]
        elif pd.api.types.is_numeric_dtype(column):
            safe[name] = column.to_list()
        else:
            safe[name] = [_text(value) for value in column]
    made = pd.DataFrame(safe, index=range(len(table)))
    made.columns = pd.Index([cell_text(name) for name in made.columns])
    return made


def _float(value: float) -> float | str | None:
    if math.isinf(value):
        return "never" if value > 0 else "less than any"
    return None if math.isnan(value) else round_digits(value)


def _text(value: Any) -> str:
    if value is None or value is pd.NA or (isinstance(value, float) and math.isnan(value)):
        return ""
    if isinstance(value, list | tuple | frozenset | set):
        return cell_text("; ".join(sorted(map(str, value))))
    return cell_text(value)


def render_csv(table: pd.DataFrame) -> str:
    """Render a table as CSV text with safe cells.

    Examples
    --------
    >>> print(render_csv(pd.DataFrame({"name": ["@x"], "n": [2]})), end="")
    name,n
    '@x,2
    """
    return str(make_safe_table(table).to_csv(index=False, lineterminator="\n"))


def write_geopackage(layers: Mapping[str, geopandas.GeoDataFrame], path: Path) -> None:
    """Write layers into one GeoPackage, replacing what was there.

    Parameters
    ----------
    layers : mapping of str to GeoDataFrame
        By name, each with its own CRS; a layer without rows is left out.
    path : Path
        Ends in ``.gpkg``.

    Raises
    ------
    DataError
        When nothing can be written there.
    """
    import pyogrio

    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": FIXED_TIME})
    fresh = path.with_name(path.name + ".part.gpkg")
    fresh.unlink(missing_ok=True)
    try:
        for name, frame in layers.items():
            if len(frame):
                pyogrio.write_dataframe(
                    _plain_frame(frame), fresh, layer=name, driver="GPKG", append=fresh.exists(),
                    dataset_options={"VERSION": GEOPACKAGE} if not fresh.exists() else None,
                )  # fmt: skip
        if fresh.exists():
            fresh.replace(path)
    except (OSError, pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError) as error:
        raise DataError(
            f"{path.name}: cannot be written ({error}); choose another folder"
        ) from None
    finally:
        fresh.unlink(missing_ok=True)
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": None})


def _plain_frame(frame: geopandas.GeoDataFrame) -> geopandas.GeoDataFrame:
    """Keep what a GeoPackage has a form for; endless numbers become empty."""
    import geopandas

    plain = {}
    for name in frame.columns:
        if name == frame.geometry.name:
            continue
        column = frame[name]
        if pd.api.types.is_float_dtype(column):
            values = column.to_numpy(dtype=np.float64)
            plain[str(name)] = np.where(np.isfinite(values), values, np.nan)
        elif pd.api.types.is_bool_dtype(column) or pd.api.types.is_numeric_dtype(column):
            plain[str(name)] = column.to_numpy()
        else:
            plain[str(name)] = np.array([_text(value) for value in column], dtype=object)
    return geopandas.GeoDataFrame(plain, geometry=list(frame.geometry), crs=frame.crs)


def make_ranking_frame(many: Any) -> geopandas.GeoDataFrame:
    """Return the ranking with each site's parcel, or its point, in degrees."""
    import geopandas
    import shapely

    projection = many.place.network.projection
    ranking = many.ranking
    index = {name: at for at, name in enumerate(many.sites.ids)}
    shapes = []
    for site in ranking.get("id", ranking.index):
        at = index[str(site)]
        polygon = many.sites.polygons[at]
        shapes.append(
            shapely.Point(many.sites.x[at], many.sites.y[at]) if polygon is None else polygon
        )
    frame = ranking.reset_index() if "id" not in ranking else ranking
    return geopandas.GeoDataFrame(frame.copy(), geometry=shapes, crs=projection.crs).to_crs(
        "EPSG:4326"
    )
