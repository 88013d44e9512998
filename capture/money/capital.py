"""What must be spent before the first car: line, building, site works, land, soft costs, fees?

Reads a line's length and equipment price, a parcel's area and what its deal-breakers add.
Assumes one building per site.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray

from capture.basis import InputError, Offer, Sheet, Worlds
from capture.money.values import VALUES

FloatArray = NDArray[np.float64]
_MOST_USD = 1e12


class GroundLike(Protocol):
    """What money needs to know of a parcel."""

    @property
    def cost_low_usd(self) -> float:
        """Least that the parcel's asks cost."""

    @property
    def cost_high_usd(self) -> float:
        """Most that they cost."""

    @property
    def months_low(self) -> float:
        """Least delay they bring."""

    @property
    def months_high(self) -> float:
        """Most delay they bring."""

    @property
    def area_m2(self) -> float | None:
        """Area of the parcel, when its shape is known."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Capital:
    """Money spent by opening, USD, shape (S, n) or what broadcasts to it."""

    #: price of the land
    land_usd: FloatArray
    #: survey, title and such, share of the land's price
    closing_share: FloatArray
    #: building
    building_usd: FloatArray
    #: equipment, installed
    equipment_usd: FloatArray
    #: paving, drains, planting
    site_usd: FloatArray
    #: what the parcel's asks cost
    ground_usd: FloatArray
    #: design, permits, legal
    soft_usd: FloatArray
    #: water tap and impact fees
    fees_usd: FloatArray
    #: hiring, training, opening
    pre_opening_usd: FloatArray
    #: delay that the parcel's asks bring, whole months
    ground_months: FloatArray
    #: what is left of land, building, site works and equipment after ten years, less land
    works_kept_usd: FloatArray
    #: share of the land's price left then
    land_kept_share: FloatArray
    #: drawn inputs by name, for the tornado
    inputs: dict[str, FloatArray]

    @property
    def hard_usd(self) -> FloatArray:
        """Building, equipment, site works and the parcel's asks."""
        return np.asarray(self.building_usd + self.equipment_usd + self.site_usd + self.ground_usd)

    @property
    def total_usd(self) -> FloatArray:
        """Everything, land included."""
        return np.asarray(
            self.hard_usd
            + self.land_usd * (1.0 + self.closing_share)
            + self.soft_usd
            + self.fees_usd
            + self.pre_opening_usd
        )


def add_capital(
    lines: Any,
    offer: Offer,
    worlds: Worlds,
    site_ids: Sequence[str],
    *,
    land: ArrayLike | None = None,
    ground: Sequence[GroundLike] | None = None,
    values: Sheet = VALUES,
) -> Capital:
    """Draw what each site costs by opening.

    Parameters
    ----------
    lines : LineTable, Line or mapping
        With ``capital_usd``, ``length_m`` and ``building_area_m2`` (or a building length, or
        neither), each a number or of shape (S,) or (S, n).
    site_ids : sequence of str
        S stable ids.
    land : array_like of float, shape (S,) or (S, n), optional
        Land prices, USD; ``nan`` takes the default for that site.
    ground : sequence of Ground, optional
        One per site; their asks add cost and delay.

    Returns
    -------
    Capital

    Raises
    ------
    InputError
        When an array does not fit the sites and worlds or an amount is not usable.
    """
    shape = (len(site_ids), worlds.draws)
    drawn = {name: worlds.constant(values[name]) for name in _DRAWN}
    listed = read_column(lines, ("capital_usd",), shape, "equipment price")
    if ground is not None and len(ground) != shape[0]:
        raise InputError(
            f"ground: one entry per site is needed, got {len(ground)} for {shape[0]} sites"
        )
    area_m2 = _building_area(lines, offer, drawn, shape)
    site = drawn["site_works_usd"]
    if not offer.is_conveyor:
        site = site * drawn["bays_site_works_share"]
    building = np.asarray(area_m2 * drawn["building_usd_m2"])
    equipment = listed * drawn["equipment_spread"]
    asked, months = draw_ground(ground, worlds, site_ids)
    hard = building + equipment + site + asked
    price = price_land(lines, offer, worlds, site_ids, land=land, ground=ground, values=values)
    return Capital(
        land_usd=price,
        closing_share=drawn["closing_share"],
        building_usd=building,
        equipment_usd=equipment,
        site_usd=np.asarray(site),
        ground_usd=asked,
        soft_usd=np.asarray(hard * drawn["soft_share"]),
        fees_usd=drawn["fees_usd"],
        pre_opening_usd=drawn["pre_opening_usd"],
        ground_months=months,
        works_kept_usd=np.asarray(
            (building + site) * drawn["works_kept_share"]
            + equipment * drawn["equipment_kept_share"]
        ),
        land_kept_share=drawn["land_kept_share"],
        inputs={name: draws for name, draws in drawn.items() if values[name].is_uncertain},
    )


_DRAWN = (
    "building_usd_m2", "building_width_m", "building_extra_m", "bay_building_m2",
    "equipment_spread", "site_works_usd", "bays_site_works_share", "soft_share", "fees_usd",
    "pre_opening_usd", "closing_share", "land_kept_share", "works_kept_share",
    "equipment_kept_share",
)  # fmt: skip


def read_column(lines: Any, names: Sequence[str], shape: tuple[int, int], what: str) -> FloatArray:
    """Read one column of a line table as an array that broadcasts to (S, n).

    Raises
    ------
    InputError
        When none of the names is there, the shape does not fit or an amount is not usable.
    """
    found = None
    for name in names:
        found = lines.get(name) if isinstance(lines, Mapping) else getattr(lines, name, None)
        if found is not None:
            break
    if found is None:
        raise InputError(f"lines: {what} is missing (looked for {', '.join(names)}); size the line")
    return fit_rows(found, shape, what)


def _has(lines: Any, name: str) -> bool:
    found = lines.get(name) if isinstance(lines, Mapping) else getattr(lines, name, None)
    return found is not None


def fit_rows(amount: ArrayLike, shape: tuple[int, int], what: str) -> FloatArray:
    """Make a number, (S,) or (S, n) broadcast to (S, n), refusing what is not usable.

    Examples
    --------
    >>> fit_rows([1.0, 2.0], (2, 3), "land").shape
    (2, 1)
    """
    array = np.asarray(amount, dtype=np.float64)
    if array.ndim == 0:
        array = array.reshape(1, 1)
    elif array.shape == (shape[0],):
        array = array[:, None]
    if array.shape not in {(1, 1), (shape[0], 1), shape, (1, shape[1])}:
        raise InputError(
            f"{what}: must be one number, one a site or one a site and draw {shape}, "
            f"got shape {array.shape}; check the sites"
        )
    if not np.isfinite(array).all() or (array < 0).any() or (array > _MOST_USD).any():
        raise InputError(f"{what} must be 0 to 1e12 and finite for every site; check the numbers")
    return array


def _building_area(
    lines: Any, offer: Offer, drawn: dict[str, FloatArray], shape: tuple[int, int]
) -> FloatArray:
    if _has(lines, "building_area_m2"):
        return read_column(lines, ("building_area_m2",), shape, "building area")
    if not offer.is_conveyor:
        return np.asarray(offer.bays * drawn["bay_building_m2"])
    if _has(lines, "building_length_m"):
        length = read_column(lines, ("building_length_m",), shape, "building length")
    else:
        conveyor = read_column(lines, ("length_m",), shape, "line length")
        length = np.asarray(conveyor + drawn["building_extra_m"])
    return np.asarray(length * drawn["building_width_m"])


def draw_ground(
    ground: Sequence[GroundLike] | None, worlds: Worlds, site_ids: Sequence[str]
) -> tuple[FloatArray, FloatArray]:
    """Draw cost and delay of each parcel's asks, evenly between low and high, keyed by site.

    Returns
    -------
    tuple of (ndarray, ndarray)
        USD and whole months, shape (S, n), or (1, 1) zeros without ground.
    """
    if ground is None:
        return np.zeros((1, 1)), np.zeros((1, 1))
    cost = np.array([(g.cost_low_usd, g.cost_high_usd) for g in ground], dtype=np.float64)
    months = np.array([(g.months_low, g.months_high) for g in ground], dtype=np.float64)
    spread = worlds.uniform("ground asks", site_ids)
    usd = cost[:, :1] + spread * (cost[:, 1:] - cost[:, :1])
    late = np.rint(months[:, :1] + spread * (months[:, 1:] - months[:, :1]))
    return usd, late


def price_land(
    lines: Any,
    offer: Offer,
    worlds: Worlds,
    site_ids: Sequence[str],
    *,
    land: ArrayLike | None,
    ground: Sequence[GroundLike] | None,
    values: Sheet = VALUES,
) -> FloatArray:
    """Return each site's land price: yours, the offer's, or area x default price.

    Returns
    -------
    ndarray of float
        Broadcasts to (S, n), USD.
    """
    shape = (len(site_ids), worlds.draws)
    given: FloatArray | None = None
    if land is not None:
        given = np.asarray(land, dtype=np.float64)
    elif offer.land_cost_usd is not None:
        given = np.asarray(float(offer.land_cost_usd))
    if given is not None and not np.isnan(given).any():
        return fit_rows(given, shape, "land price")
    area = _land_area(lines, offer, worlds, shape, ground, values)
    usual = area * worlds.constant(values["land_usd_m2"])
    if given is None:
        return usual
    known = fit_rows(np.nan_to_num(given, nan=0.0), shape, "land price")
    return np.where(fit_rows(np.isnan(given), shape, "land price") > 0, usual, known)


def _land_area(
    lines: Any,
    offer: Offer,
    worlds: Worlds,
    shape: tuple[int, int],
    ground: Sequence[GroundLike] | None,
    values: Sheet,
) -> FloatArray:
    short, long = (worlds.constant(values[name]) for name in ("land_short_m2", "land_long_m2"))
    usual = short
    if offer.is_conveyor:
        length = read_column(lines, ("length_m", "building_length_m"), shape, "line length")
        span = values.value("long_line_m") - values.value("short_line_m")
        at = np.clip((length - values.value("short_line_m")) / span, -0.25, 2.0)
        usual = short * np.exp(at * np.log(long / short))
    if ground is None:
        return np.broadcast_to(usual, shape)
    known = np.array([np.nan if g.area_m2 is None else g.area_m2 for g in ground])[:, None]
    return np.where(np.isnan(known), usual, known)
