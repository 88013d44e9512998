"""What line does the busy hour need: stations, order, speed, length, queue, bays."""

from capture.line.bays import (
    compute_erlang_b,
    compute_erlang_c,
    count_bays_needed,
    size_bays,
)
from capture.line.choices import compare_design_hours, compute_queue_sensitivity, list_frontier
from capture.line.drawing import render_line
from capture.line.frontier import Frontier, StationSet, compute_chain_rate, make_frontier
from capture.line.line import Line, PlacedStation, lay_out_line, size_line
from capture.line.lost import compute_balk_share, compute_lost_share
from capture.line.queue import Queue, simulate_queue
from capture.line.reading import load_catalog, usual_catalog
from capture.line.rules import Rule, RuleBreak, check_rules, load_rules, usual_rules
from capture.line.schedule import list_assumptions, list_schedule
from capture.line.sizing import LineTable, size_lines
from capture.line.stacking import estimate_stacking_cars
from capture.line.stations import Catalog, Package, Station
from capture.line.values import VALUES
from capture.line.worst_day import WorstDay, compute_over_s, find_peak_s, find_worst

__all__ = [
    "VALUES",
    "Catalog",
    "Frontier",
    "Line",
    "LineTable",
    "Package",
    "PlacedStation",
    "Queue",
    "Rule",
    "RuleBreak",
    "Station",
    "StationSet",
    "WorstDay",
    "check_rules",
    "compare_design_hours",
    "compute_balk_share",
    "compute_chain_rate",
    "compute_erlang_b",
    "compute_erlang_c",
    "compute_lost_share",
    "compute_over_s",
    "compute_queue_sensitivity",
    "count_bays_needed",
    "estimate_stacking_cars",
    "find_peak_s",
    "find_worst",
    "lay_out_line",
    "list_assumptions",
    "list_frontier",
    "list_schedule",
    "load_catalog",
    "load_rules",
    "make_frontier",
    "render_line",
    "simulate_queue",
    "size_bays",
    "size_line",
    "size_lines",
    "usual_catalog",
    "usual_rules",
]
