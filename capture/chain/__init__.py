"""The whole chain, for one site or many: `study` and `many`; start reading in `steps`."""

from capture.chain.assumptions import ROOMS, Numbers, load_numbers, parse_replaced
from capture.chain.memo import Memo
from capture.chain.screening import Many, many
from capture.chain.single import Study, complete_study, study
from capture.chain.steps import Chain, Request, walk_chain

__all__ = [
    "ROOMS",
    "Chain",
    "Many",
    "Memo",
    "Numbers",
    "Request",
    "Study",
    "complete_study",
    "load_numbers",
    "many",
    "parse_replaced",
    "study",
    "walk_chain",
]
