"""Which of the things said about a study are cautions, and which are only notes on its data?

A caution tells what may be wrong or must be asked. A note tells how many rows were read and
what was done to them; it is listed apart, so that it does not drown the cautions.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from capture.basis import UnitSystem
from capture.papers.words import say_lengths


def list_cautions(study: Any, system: UnitSystem = "us") -> tuple[str, ...]:
    """List a study's cautions in the reader's units, each once, the most pressing first."""
    notes = set(_read_remarks(study))
    return _say_all((text for text in study.cautions if text not in notes), system)


def list_notes(study: Any, system: UnitSystem = "us") -> tuple[str, ...]:
    """List what was read and done to the data, in the reader's units, each once."""
    said = set(study.cautions)
    return _say_all((text for text in _read_remarks(study) if text in said), system)


def _read_remarks(study: Any) -> tuple[str, ...]:
    remarks = study.volumes.remarks
    return (remarks,) if isinstance(remarks, str) else tuple(remarks or ())


def _say_all(texts: Iterable[str], system: UnitSystem) -> tuple[str, ...]:
    told = (say_lengths(text, system) for text in dict.fromkeys(texts) if text)
    return tuple(text[:1].upper() + text[1:] for text in told)
