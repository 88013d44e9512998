"""Who drives past, in which direction, when? Counts, what they mean for each road, streams."""

from capture.passing.decisions import TieDecisions, make_key
from capture.passing.load import CountFile, load_counts
from capture.passing.memory import ColumnMemory
from capture.passing.service import fetch_counts, save_counts
from capture.passing.service_layer import describe_layer
from capture.passing.streams import Streams, add_streams, draw_vehicles
from capture.passing.tie import tie_counts
from capture.passing.values import VALUES
from capture.passing.volumes import Volumes, add_volumes
from capture.passing.works import RoadNote

__all__ = [
    "VALUES",
    "ColumnMemory",
    "CountFile",
    "RoadNote",
    "Streams",
    "TieDecisions",
    "Volumes",
    "add_streams",
    "add_volumes",
    "describe_layer",
    "draw_vehicles",
    "fetch_counts",
    "load_counts",
    "make_key",
    "save_counts",
    "tie_counts",
]
