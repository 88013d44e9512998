"""What did every step of the chain make?

One frozen table of results for all sites at once; rows are sites or streams, and draws run
along the last axis, where draw i is the same possible world in every field.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from capture.chain.request import Request

if TYPE_CHECKING:
    from capture.around import Around, Rivals
    from capture.ground import Ground
    from capture.hours import BusyHour, YearShape
    from capture.line import LineTable
    from capture.money import Money
    from capture.passing import Streams, Volumes
    from capture.place import Frontage, Place
    from capture.seeing import Seeing
    from capture.share import FactorTable, ShareDraws, ShareFit
    from capture.turning import Turning

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Chain:
    """What every step made, for S sites, R streams and n worlds."""

    #: what was asked
    request: Request
    #: roads and buildings
    place: Place
    #: vehicles on every road
    volumes: Volumes
    #: driveways
    frontage: Frontage
    #: directions passing the driveways
    streams: Streams
    #: washable vehicles a day of each stream, (R, n)
    vehicles: FloatArray
    #: washable vehicles a day past each site, (S, n)
    passing: FloatArray
    #: delay turning in and out
    turning: Turning
    #: sight
    seeing: Seeing
    #: other washes
    rivals: Rivals
    #: pull, people, those who passed a rival first
    around: Around
    #: factors of the share
    factors: FactorTable
    #: the fitted regression
    fit: ShareFit
    #: share washed
    share: ShareDraws
    #: cars a year that want to be washed, (S, n)
    cars_per_year: FloatArray
    #: how the year falls into hours
    shape: YearShape
    #: busiest hours
    busy: BusyHour
    #: the hour that the line is sized for, headroom included, (S,)
    design_hour_cars: FloatArray
    #: lines at the design hour, arrays of (S,)
    lines: LineTable
    #: share of the year's cars that the line turns away for good, (S, n)
    lost_share: FloatArray
    #: fit on the parcel and deal-breakers, S of them
    ground: tuple[Ground, ...]
    #: cash, returns, land price
    money: Money
