"""The whole chain, for one site or many: `study` and `many`; start reading in `steps`."""

from capture.chain.assumptions import ROOMS, Numbers, load_numbers, parse_replaced
from capture.chain.brief import Brief, make_brief
from capture.chain.line_choice import LineChoice
from capture.chain.memo import Memo
from capture.chain.request import Request
from capture.chain.screening import Many, many
from capture.chain.single import Study, complete_study, study
from capture.chain.steps import Chain, remember_chain, walk_chain
from capture.chain.whatif import Standing, WhatIf, compare, sum_up
from capture.chain.whatif_driveway import DrivewayProposal, propose_driveway, try_driveway
from capture.chain.whatif_factors import FactorChange
from capture.chain.whatif_market import (
    find_hope,
    try_format,
    try_formats,
    try_line_length,
    try_offer,
    try_price,
    try_rival,
    try_rival_closes,
    try_rival_opens,
)
from capture.chain.whatif_works import (
    list_screens,
    try_closing,
    try_cut,
    try_near_side_only,
    try_opening,
    try_sign,
)
from capture.chain.works import Works
from capture.chain.year_choice import MonthNormal, YearChoice

__all__ = [
    "ROOMS",
    "Brief",
    "Chain",
    "DrivewayProposal",
    "FactorChange",
    "LineChoice",
    "Many",
    "Memo",
    "MonthNormal",
    "Numbers",
    "Request",
    "Standing",
    "Study",
    "WhatIf",
    "Works",
    "YearChoice",
    "compare",
    "complete_study",
    "find_hope",
    "list_screens",
    "load_numbers",
    "make_brief",
    "many",
    "parse_replaced",
    "propose_driveway",
    "remember_chain",
    "study",
    "sum_up",
    "try_closing",
    "try_cut",
    "try_driveway",
    "try_format",
    "try_formats",
    "try_line_length",
    "try_near_side_only",
    "try_offer",
    "try_opening",
    "try_price",
    "try_rival",
    "try_rival_closes",
    "try_rival_opens",
    "try_sign",
    "walk_chain",
]
