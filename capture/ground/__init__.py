"""Does it fit on the parcel: building, stacking, bays, turns, and what could sink it."""

from capture.ground.answers import AnswerBook, load_answers
from capture.ground.breakers import (
    DEAL_BREAKERS,
    STATUSES,
    Answer,
    DealBreaker,
    Finding,
    Status,
    judge_item,
    judge_parcel,
    weigh,
)
from capture.ground.checking import CAUTIONS, Ground, check_ground
from capture.ground.fitting import Shortfall, fit_site
from capture.ground.layout import Arrangement, Box, compute_area_needed, list_arrangements
from capture.ground.needs import Needs, read_needs
from capture.ground.placing import Placement, place_site
from capture.ground.searching import check_parcel, fits_core, pick_angles
from capture.ground.standing import list_places, stand_along
from capture.ground.values import VALUES

__all__ = [
    "CAUTIONS",
    "DEAL_BREAKERS",
    "STATUSES",
    "VALUES",
    "Answer",
    "AnswerBook",
    "Arrangement",
    "Box",
    "DealBreaker",
    "Finding",
    "Ground",
    "Needs",
    "Placement",
    "Shortfall",
    "Status",
    "check_ground",
    "check_parcel",
    "compute_area_needed",
    "fit_site",
    "fits_core",
    "judge_item",
    "judge_parcel",
    "list_arrangements",
    "list_places",
    "load_answers",
    "pick_angles",
    "place_site",
    "read_needs",
    "stand_along",
    "weigh",
]
