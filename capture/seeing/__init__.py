"""Do they see it in time: approaches, obstacles, distances needed, sight triangles."""

from capture.seeing.distances import (
    compute_gap_distance,
    compute_letter,
    compute_needed,
    compute_readable,
    compute_stopping,
)
from capture.seeing.seeing import RAY_COLUMNS, Seeing, add_seeing
from capture.seeing.stretch import compute_off_axis, compute_stretch
from capture.seeing.strip import describe_strip, make_strip
from capture.seeing.sun import Glare, describe_glare, find_glare
from capture.seeing.targets import TARGETS
from capture.seeing.terrain import Terrain, load_terrain
from capture.seeing.values import VALUES
from capture.seeing.walls import Walls, find_clear, gather_walls, make_walls

__all__ = [
    "RAY_COLUMNS",
    "TARGETS",
    "VALUES",
    "Glare",
    "Seeing",
    "Terrain",
    "Walls",
    "add_seeing",
    "compute_gap_distance",
    "compute_letter",
    "compute_needed",
    "compute_off_axis",
    "compute_readable",
    "compute_stopping",
    "compute_stretch",
    "describe_glare",
    "describe_strip",
    "find_clear",
    "find_glare",
    "gather_walls",
    "load_terrain",
    "make_strip",
    "make_walls",
]
