"""How high is the ground, and does a hill hide the wash?

Reads a raster of ground heights: an ESRI ASCII grid with numpy alone, or any raster that
the optional library rasterio can open. The raster is sampled once onto a grid in the
area's own metres; between its points heights are straight lines. Holes take the nearest
height that is known.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from capture.basis import DataError, InputError, LocalProjection

FloatArray = NDArray[np.float64]
#: turns metres of the area into column and row of a raster, south first
ToCells = Callable[[FloatArray, FloatArray], tuple[FloatArray, FloatArray]]
MOST_BYTES: Final = 400_000_000
MOST_CELLS: Final = 40_000_000
_HEADER: Final = ("ncols", "nrows", "xllcorner", "yllcorner", "xllcenter", "yllcenter",
                  "cellsize", "nodata_value")  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Terrain:
    """Heights on an even grid in the area's metres.

    Raises
    ------
    InputError
        When the grid is smaller than 2 by 2, a height is missing or the cell is not positive.
    """

    #: heights, metres (rows north, columns east)
    height_m: FloatArray
    #: position of the first height, metres
    west: float
    south: float
    #: spacing, metres
    cell_m: float

    def __post_init__(self) -> None:
        if self.height_m.ndim != 2 or min(self.height_m.shape) < 2 or not self.cell_m > 0:
            raise InputError(
                "terrain must be a grid of at least 2 by 2 heights with a positive cell, got "
                f"shape {self.height_m.shape}, cell {self.cell_m} m; check the raster"
            )
        if not np.isfinite(self.height_m).all():
            raise InputError("terrain: every height must be a number; fill the holes first")

    def sample(self, x: ArrayLike, y: ArrayLike) -> FloatArray:
        """Return the ground's height at x, y (metres); beyond the edge, the edge's.

        Examples
        --------
        >>> slope = Terrain(height_m=np.array([[0.0, 10.0], [0.0, 10.0]]), west=0.0, south=0.0,
        ...                 cell_m=100.0)
        >>> float(slope.sample(25.0, 50.0))
        2.5
        """
        rows, columns = self.height_m.shape
        u = np.clip((np.asarray(x, dtype=np.float64) - self.west) / self.cell_m, 0, columns - 1)
        v = np.clip((np.asarray(y, dtype=np.float64) - self.south) / self.cell_m, 0, rows - 1)
        i, j = np.minimum(u.astype(int), columns - 2), np.minimum(v.astype(int), rows - 2)
        fu, fv = u - i, v - j
        h = self.height_m
        low = h[j, i] * (1 - fu) + h[j, i + 1] * fu
        high = h[j + 1, i] * (1 - fu) + h[j + 1, i + 1] * fu
        return np.asarray(low * (1 - fv) + high * fv)

    def trace(self, eyes: FloatArray, count: NDArray[np.int64], targets: FloatArray
              ) -> NDArray[np.bool_]:  # fmt: skip
        """Find which targets no hill hides.

        Parameters
        ----------
        eyes : ndarray of float, shape (R, K, 3)
            x, y and absolute height.
        count : ndarray of int, shape (R,)
            Eye points of each stream.
        targets : ndarray of float, shape (R, T, 3)
            x, y and absolute height.

        Returns
        -------
        ndarray of bool, shape (R, T, K)
        """
        from capture.seeing.kernels import trace_ground

        made: NDArray[np.bool_] = trace_ground(
            eyes, count, targets, np.ascontiguousarray(self.height_m), self.west, self.south,
            self.cell_m,
        )  # fmt: skip
        return made


def load_terrain(
    path: Path, projection: LocalProjection, *, extent_m: tuple[float, float, float, float],
    cell_m: float | None = None,
) -> Terrain:  # fmt: skip
    """Read a raster of ground heights and lay it on the area's metres.

    Parameters
    ----------
    path : Path
        An ESRI ASCII grid (``.asc``) in degrees or in the area's metres, else any raster
        for which rasterio is installed.
    projection : LocalProjection
        The area's metres.
    extent_m : tuple of float
        West, south, east, north of what is wanted, metres.
    cell_m : float, optional
        Spacing wanted; the raster's own where left out.

    Raises
    ------
    DataError
        When the file cannot be read, is too large, holds no height inside the extent, or
        needs rasterio and that is not installed.
    """
    to_column: ToCells | None
    if path.suffix.lower() in (".asc", ".txt"):
        heights, west, south, cell = _read_ascii(path)
        degrees = abs(west) <= 180 and abs(south) <= 90 and cell < 0.1
        to_column = _degrees_to_cells(projection, west, south, cell) if degrees else None
        own_m = cell * 111_320.0 if degrees else cell
    else:
        heights, to_column, own_m = _read_raster(path, projection)
        west = south = 0.0
        cell = 1.0
    step = float(cell_m or own_m)
    x = np.arange(extent_m[0], extent_m[2] + step, step)
    y = np.arange(extent_m[1], extent_m[3] + step, step)
    if x.size * y.size > MOST_CELLS:
        raise DataError(f"{path.name}: {x.size} x {y.size} heights are too many; give a coarser "
                        "spacing")  # fmt: skip
    gx, gy = np.meshgrid(x, y)
    if to_column is None:
        u, v = (gx - west) / cell, (gy - south) / cell
    else:
        u, v = to_column(gx.ravel(), gy.ravel())
        u, v = u.reshape(gx.shape), v.reshape(gx.shape)
    rows, columns = heights.shape
    inside = (u >= -0.5) & (u <= columns - 0.5) & (v >= -0.5) & (v <= rows - 0.5)
    if not inside.any():
        raise DataError(f"{path.name}: the raster does not cover the area; check its position")
    i = np.clip(np.rint(u), 0, columns - 1).astype(int)
    j = np.clip(np.rint(v), 0, rows - 1).astype(int)
    return Terrain(
        height_m=_fill(np.where(inside, heights[j, i], np.nan), path.name),
        west=float(x[0]), south=float(y[0]), cell_m=step,
    )  # fmt: skip


def _read_ascii(path: Path) -> tuple[FloatArray, float, float, float]:
    """Read an ESRI ASCII grid: heights south first, centre of the first cell, cell size."""
    try:
        if path.stat().st_size > MOST_BYTES:
            raise DataError(f"{path.name}: a grid may have {MOST_BYTES // 10**6} MB; cut it")
        with path.open(encoding="ascii", errors="strict") as file:
            head: dict[str, float] = {}
            while len(head) < 6:
                at = file.tell()
                parts = file.readline().split()
                if len(parts) != 2 or parts[0].lower() not in _HEADER:
                    file.seek(at)
                    break
                head[parts[0].lower()] = float(parts[1])
            columns, rows = int(head["ncols"]), int(head["nrows"])
            if not 1 < columns * rows <= MOST_CELLS or min(columns, rows) < 2:
                raise DataError(f"{path.name}: {columns} x {rows} heights cannot be used; cut it")
            flat = np.array(file.read().split(), dtype=np.float64)
    except OSError as error:
        raise DataError(f"{path}: the terrain file cannot be read ({error.strerror})") from None
    except (KeyError, ValueError, UnicodeDecodeError) as error:
        raise DataError(f"{path.name}: not an ESRI ASCII grid ({error}); check the file") from None
    if flat.size != columns * rows:
        raise DataError(
            f"{path.name}: {columns} x {rows} heights were announced, {flat.size} stand there; "
            "the file is cut short or damaged"
        )
    heights = flat.reshape(rows, columns)[::-1]
    heights = np.where(heights == head.get("nodata_value", -9999.0), np.nan, heights)
    cell = head["cellsize"]
    west = head.get("xllcenter", head.get("xllcorner", 0.0) + cell / 2)
    south = head.get("yllcenter", head.get("yllcorner", 0.0) + cell / 2)
    return heights, west, south, cell


def _degrees_to_cells(
    projection: LocalProjection, west: float, south: float, cell: float
) -> ToCells:
    def convert(x: FloatArray, y: FloatArray) -> tuple[FloatArray, FloatArray]:
        lat, lon = projection.to_latlon(x, y)
        return (lon - west) / cell, (lat - south) / cell

    return convert


def _read_raster(path: Path, projection: LocalProjection) -> tuple[FloatArray, ToCells, float]:
    try:
        rasterio = import_module("rasterio")
        warp = import_module("rasterio.warp").transform
    except ImportError:
        raise DataError(
            f"{path.name}: this kind of raster needs the library rasterio, which is not "
            "installed; install it or save the raster as an ESRI ASCII grid (.asc)"
        ) from None
    with path.open("rb") as opened:
        if opened.read(256).lstrip().startswith((b"<", b"{")):
            raise DataError(f"{path.name}: only points at heights kept elsewhere; save the raster "
                            "itself")  # fmt: skip
    try:
        with rasterio.open(path) as raster:
            if raster.width * raster.height > MOST_CELLS:
                raise DataError(f"{path.name}: {raster.width} x {raster.height} heights are too "
                                "many; cut it")  # fmt: skip
            heights = raster.read(1, masked=True).astype(np.float64).filled(np.nan)
            inverse, crs = ~raster.transform, raster.crs
            across = abs(raster.transform.a)
            metres = across * 111_320.0 if crs and crs.is_geographic else across
    except rasterio.errors.RasterioError as error:
        raise DataError(f"{path.name}: the raster cannot be read ({error})") from None
    rows = heights.shape[0]

    def convert(x: FloatArray, y: FloatArray) -> tuple[FloatArray, FloatArray]:
        there_x, there_y = warp(projection.crs, crs, x.tolist(), y.tolist())
        column, row = inverse * (np.asarray(there_x), np.asarray(there_y))
        return column - 0.5, rows - 0.5 - row

    return heights[::-1], convert, metres


def _fill(heights: FloatArray, name: str) -> FloatArray:
    from scipy.ndimage import distance_transform_edt

    holes = np.isnan(heights)
    if holes.all():
        raise DataError(f"{name}: no height is known inside the area; check the raster")
    if not holes.any():
        return heights
    nearest = distance_transform_edt(holes, return_distances=False, return_indices=True)
    return np.asarray(heights[tuple(nearest)])
