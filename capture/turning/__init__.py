"""Can they get in and out: gaps, waits, ways in, turning back, cautions."""

from capture.turning.driveways import DrivewayScan, lay_candidates, pick_best, scan_driveways
from capture.turning.gaps import (
    compute_blocked_share,
    compute_capacity,
    compute_delay,
    compute_platoon_capacity,
    compute_queue95,
    compute_two_stage_capacity,
    find_letter,
)
from capture.turning.headways import MOVEMENTS, Movement, compute_headways
from capture.turning.turning import Turning, add_turning, compute_slowing, make_wash_hours
from capture.turning.values import VALUES

__all__ = [
    "MOVEMENTS",
    "VALUES",
    "DrivewayScan",
    "Movement",
    "Turning",
    "add_turning",
    "compute_blocked_share",
    "compute_capacity",
    "compute_delay",
    "compute_headways",
    "compute_platoon_capacity",
    "compute_queue95",
    "compute_slowing",
    "compute_two_stage_capacity",
    "find_letter",
    "lay_candidates",
    "make_wash_hours",
    "pick_best",
    "scan_driveways",
]
