"""What do we know about this place? `area.toml` to an `Area` whose layers load lazily."""

from capture.area.area import LAYER_KINDS, LAYER_OPTIONS, Area, Layer, open_area
from capture.area.tables import load_table
from capture.area.unpack import Laid, lay_files

__all__ = [
    "LAYER_KINDS",
    "LAYER_OPTIONS",
    "Area",
    "Laid",
    "Layer",
    "lay_files",
    "load_table",
    "open_area",
]
