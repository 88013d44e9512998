"""What does the chain say of one site at once, before anything is simulated or piped?

The answer that a screen gives while somebody types: the chain with one row and the line
station by station. A :class:`~capture.chain.single.Study` adds what takes longer.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from capture.basis import Offer, Sheet, Worlds
from capture.chain.steps import Chain

if TYPE_CHECKING:
    from capture.area import Area
    from capture.around import Around, Rivals
    from capture.ground import Ground
    from capture.hours import BusyHour, YearShape
    from capture.line import Line, LineTable
    from capture.money import Money
    from capture.passing import Streams, Volumes
    from capture.place import Frontage, Place, Sites
    from capture.seeing import Seeing
    from capture.share import FactorTable, ShareDraws, ShareFit
    from capture.turning import Turning

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Brief:
    """The chain for one site and the line that its busiest hour needs."""

    #: the chain's results with one row
    chain: Chain
    #: line over the draws of the design hour, arrays of (n,)
    lines: LineTable
    #: the line itself, station by station
    line: Line

    @property
    def area(self) -> Area:
        """The area."""
        return self.chain.request.area

    @property
    def sites(self) -> Sites:
        """The site, a table of one row."""
        return self.chain.request.sites

    @property
    def offer(self) -> Offer:
        """What is to be built."""
        return self.chain.request.offer

    @property
    def worlds(self) -> Worlds:
        """The possible worlds."""
        return self.chain.request.worlds

    @property
    def numbers(self) -> Mapping[str, Sheet]:
        """Every room's built-in numbers, the user's own in them."""
        return self.chain.request.numbers

    @property
    def year(self) -> int:
        """Year looked at."""
        return self.chain.request.year

    @property
    def place(self) -> Place:
        """Roads and buildings."""
        return self.chain.place

    @property
    def volumes(self) -> Volumes:
        """Vehicles on every road."""
        return self.chain.volumes

    @property
    def frontage(self) -> Frontage:
        """Driveways."""
        return self.chain.frontage

    @property
    def streams(self) -> Streams:
        """Directions passing the driveways, R rows."""
        return self.chain.streams

    @property
    def vehicles(self) -> FloatArray:
        """Washable vehicles a day of each stream, (R, n)."""
        return self.chain.vehicles

    @property
    def passing(self) -> FloatArray:
        """Washable vehicles a day past the site, (n,)."""
        return np.asarray(self.chain.passing[0])

    @property
    def turning(self) -> Turning:
        """Delay turning in and out."""
        return self.chain.turning

    @property
    def seeing(self) -> Seeing:
        """Sight."""
        return self.chain.seeing

    @property
    def rivals(self) -> Rivals:
        """Other washes."""
        return self.chain.rivals

    @property
    def around(self) -> Around:
        """Pull, people, those who passed a rival first."""
        return self.chain.around

    @property
    def factors(self) -> FactorTable:
        """Factors of the share."""
        return self.chain.factors

    @property
    def fit(self) -> ShareFit:
        """The fitted regression."""
        return self.chain.fit

    @property
    def share(self) -> ShareDraws:
        """Share washed."""
        return self.chain.share

    @property
    def cars_per_year(self) -> FloatArray:
        """Cars a year that want to be washed, (n,)."""
        return np.asarray(self.chain.cars_per_year[0])

    @property
    def shape(self) -> YearShape:
        """How the year falls into hours."""
        return self.chain.shape

    @property
    def busy(self) -> BusyHour:
        """Busiest hours."""
        return self.chain.busy

    @property
    def design_hour_cars(self) -> float:
        """The hour that the line is sized for, headroom included."""
        return float(self.chain.design_hour_cars[0])

    @property
    def ground(self) -> Ground:
        """Fit on the parcel and deal-breakers."""
        return self.chain.ground[0]

    @property
    def money(self) -> Money:
        """Cash, returns, land price."""
        return self.chain.money


def make_brief(chain: Chain) -> Brief:
    """Lay out the line of a chain of one row."""
    from capture.line import size_line, size_lines

    ask = chain.request
    offer, values, pick = ask.offer, ask.numbers["line"], ask.line
    line = size_line(
        float(chain.design_hour_cars[0]), offer, package=pick.package, catalog=pick.catalog,
        circumstances=pick.circumstances, values=values,
    )  # fmt: skip
    lines = size_lines(
        np.asarray(chain.busy.cars[0]) * (1 + offer.headroom_share), offer, package=pick.package,
        catalog=pick.catalog, values=values,
    )  # fmt: skip
    return Brief(chain=chain, lines=lines, line=line)
