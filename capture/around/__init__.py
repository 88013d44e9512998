"""Who else washes, who lives and shops here? Rivals, people, attractions around each site."""

from capture.around.around import Around, add_around
from capture.around.attractions import count_attractions, list_attractions
from capture.around.bands import Bands, Homes, count_in_bands, time_homes
from capture.around.effect import RivalEffect, compare_rival
from capture.around.explain import explain_passed, explain_pull, tabulate_rivals
from capture.around.formats import (
    RIVAL_FORMATS,
    FormatTable,
    load_format_table,
    read_format,
    read_tags,
)
from capture.around.huff import compute_gravity, compute_huff_shares
from capture.around.people import JunctionPeople, spread_people, weigh_areas
from capture.around.pull import compute_pull, estimate_area_price, find_nearest_like
from capture.around.rivals import Rivals, apply_edits, load_rivals
from capture.around.values import VALUES
from capture.around.zones import Zones, load_zones

__all__ = [
    "RIVAL_FORMATS",
    "VALUES",
    "Around",
    "Bands",
    "FormatTable",
    "Homes",
    "JunctionPeople",
    "RivalEffect",
    "Rivals",
    "Zones",
    "add_around",
    "apply_edits",
    "compare_rival",
    "compute_gravity",
    "compute_huff_shares",
    "compute_pull",
    "count_attractions",
    "count_in_bands",
    "estimate_area_price",
    "explain_passed",
    "explain_pull",
    "find_nearest_like",
    "list_attractions",
    "load_format_table",
    "load_rivals",
    "load_zones",
    "read_format",
    "read_tags",
    "spread_people",
    "tabulate_rivals",
    "time_homes",
    "weigh_areas",
]
