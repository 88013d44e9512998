"""What everything stands on: sourced constants, units, errors, draws, the offer, safe text."""

from capture.basis.amounts import check_amount, say_amount_fault
from capture.basis.draws import Range, Worlds
from capture.basis.entries import chosen, fixed, remembered
from capture.basis.errors import (
    CaptureError,
    CaptureWarning,
    DataError,
    FitError,
    InputError,
    raise_gathered,
)
from capture.basis.offer import FORMAT_WORDS, FORMATS, Format, Offer, load_offer
from capture.basis.permitted import find_permitted
from capture.basis.projection import LocalProjection
from capture.basis.sourced import GRADES, Grade, Sheet, Sourced, practice
from capture.basis.text import cell_text, escape_text, plain_text
from capture.basis.units import UnitSystem, convert_in, convert_out

__all__ = [
    "FORMATS",
    "FORMAT_WORDS",
    "GRADES",
    "CaptureError",
    "CaptureWarning",
    "DataError",
    "FitError",
    "Format",
    "Grade",
    "InputError",
    "LocalProjection",
    "Offer",
    "Range",
    "Sheet",
    "Sourced",
    "UnitSystem",
    "Worlds",
    "cell_text",
    "check_amount",
    "chosen",
    "convert_in",
    "convert_out",
    "escape_text",
    "find_permitted",
    "fixed",
    "load_offer",
    "plain_text",
    "practice",
    "raise_gathered",
    "remembered",
    "say_amount_fault",
]
