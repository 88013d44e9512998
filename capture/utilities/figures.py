"""How is one utility figure said: its range, whose approval it needs, how it came about?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from capture.basis import Range

#: topic -> whose approval the figure needs
CAUTIONS: Final[Mapping[str, str]] = {
    "water": "Planning figure: the water utility sets tap, meter and drought limits.",
    "plumbing": "Planning figure: plumbing and backflow protection follow local code and a "
    "licensed plumber or engineer.",
    "discharge": "Planning figure: the sewer authority sets discharge limits, sampling and "
    "permit; sludge needs a licensed hauler.",
    "power": "Planning figure, not an electrical design: service, feeders and disconnects "
    "follow the adopted electrical code and a licensed electrical engineer.",
    "heat": "Planning figure: heaters and fuel piping follow mechanical and gas codes.",
    "air": "Planning figure: pressure vessels and guards follow machine-safety rules.",
    "noise": "A caution, not a noise study: walls, ground and other sources change the level; "
    "local ordinance and a measurement decide.",
    "chemicals": "Storage and handling of wash chemicals follow their safety data sheets and "
    "local fire code.",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """One utility figure with what a reader must know of it."""

    #: short name with SI unit
    name: str
    #: plain words
    label: str
    #: key of :data:`CAUTIONS`
    topic: str
    #: median, 5th and 95th percentile, mean, SI unit
    range: Range
    #: how it came about
    source: str

    @property
    def caution(self) -> str:
        """Whose approval it needs."""
        return CAUTIONS[self.topic]


def make_figure(
    name: str, label: str, topic: str, draws: ArrayLike, unit: str, source: str
) -> Figure:
    """Sum up draws, or a number without spread, as a figure."""
    array = np.asarray(draws, dtype=np.float64)
    said = Range.exactly(float(array), unit) if array.ndim == 0 else Range.of(array, unit)
    return Figure(name=name, label=label, topic=topic, range=said, source=source)
