"""How full is each hour of the year, how does a young wash grow, and how often may it be full?

The duration curve ranks the hours of next year from the busiest on. The hour that a line
is sized for is the planner's choice: whoever is content to be full in n hours a year
sizes for the nth busiest one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import PchipInterpolator
from scipy.special import ndtr, ndtri

from capture.basis import InputError, Range, Sheet, Worlds
from capture.basis.draws import Z95
from capture.hours.busy import check_cars, compute_peak_factor, compute_year_factor
from capture.hours.lookup import compute_hour_peak
from capture.hours.noise import make_noisy_year
from capture.hours.values import VALUES
from capture.hours.year import YearShape

FloatArray = NDArray[np.float64]

#: what a planner may be content with: words and hours a year
FULL_CHOICES: Final[tuple[tuple[str, int], ...]] = (
    ("in one hour a year", 1),
    ("in about an hour a month", 12),
    ("in thirty hours a year", 30),
    ("in about an hour a week", 52),
    ("in a hundred hours a year", 100),
    ("in two hundred hours a year", 200),
)
USUAL_RANKS: Final = (1, 2, 5, 10, 20, 30, 50, 100, 200, 500, 1000)
_LEVELS: Final = 45
_THRESHOLDS: Final = 40


@dataclass(frozen=True, slots=True, kw_only=True)
class DurationRow:
    """One point of the duration curve."""

    #: n of the nth busiest hour
    rank: int
    #: cars in that hour of next year
    cars: Range


def compute_duration_curve(
    cars_per_year: ArrayLike,
    shape: YearShape,
    worlds: Worlds,
    site_id: str,
    *,
    ranks: Sequence[int] = USUAL_RANKS,
    values: Sheet = VALUES,
) -> list[DurationRow]:
    """Rank next year's hours from the busiest on, each with its range.

    Parameters
    ----------
    cars_per_year : array_like of float, shape (n,)
        Expected cars a year in each world.
    shape : YearShape
    worlds : Worlds
    site_id : str
        Key of the site's own draws.
    ranks : sequence of int
        Which hours; those beyond the open hours are left out.

    Returns
    -------
    list of DurationRow

    Raises
    ------
    InputError
        When the shape of the draws or a rank does not fit.

    Notes
    -----
    The year's level (cars x weather x shape's own spread) is cut into 45 equal parts;
    in each, the chance of fewer than n hours above a threshold is that of
    :mod:`capture.hours.noise`; their mean over parts is inverted at 5, 50 and 95 %.
    """
    cars = check_cars(np.asarray(cars_per_year, dtype=np.float64))
    if cars.shape != (worlds.draws,):
        raise InputError(f"cars_per_year must be {worlds.draws} draws, got shape {cars.shape}")
    if any(not 1 <= rank <= shape.share.size for rank in ranks):
        raise InputError("ranks must be 1 to 8760 (nth busiest hour); mend them")
    level = cars * compute_year_factor(worlds, values)
    level = level * compute_peak_factor(shape, worlds, [site_id])[0]
    parts = np.quantile(level, (np.arange(_LEVELS) + 0.5) / _LEVELS)
    if parts[0] <= 0:
        raise InputError("cars_per_year must be above 0 in most worlds for a duration curve")
    ordered = np.sort(shape.share)[::-1]
    kept = [rank for rank in sorted(set(ranks)) if ordered[rank - 1] > 0]
    lowest = parts[0] * float(ordered[kept[-1] - 1]) / 3 if kept else 0.0
    highest = parts[-1] * float(ordered[0]) * 4 + 8
    thresholds = np.geomspace(max(0.05, lowest), highest, _THRESHOLDS)
    one_car = make_noisy_year(shape)
    years = [one_car.scale(float(part)) for part in parts]
    moments = [[year.count_exceeding(float(x)) for x in thresholds] for year in years]
    return [DurationRow(rank=rank, cars=_invert(moments, thresholds, rank)) for rank in kept]


def _invert(moments: list[list[tuple[float, float]]], thresholds: FloatArray, rank: int) -> Range:
    from capture.hours.noise import compute_fewer_chance

    chance = np.array(
        [[compute_fewer_chance(mean, var, rank) for mean, var in part] for part in moments]
    ).mean(axis=0)
    score = np.maximum.accumulate(np.clip(ndtri(chance), -9.0, 9.0))
    apart = np.concatenate([[True], np.diff(score) > 1e-9])
    curve = PchipInterpolator(score[apart], np.log(thresholds[apart]))
    at = np.clip(np.linspace(-3.0, 3.0, 121), score[0], score[-1])
    drawn = np.maximum(np.exp(curve(at)) - 0.5, 0.0)
    weight = np.exp(-0.5 * np.linspace(-3.0, 3.0, 121) ** 2)
    low, value, high = np.interp([-Z95, 0.0, Z95], np.linspace(-3.0, 3.0, 121), drawn)
    return Range(
        value=float(value),
        low=float(low),
        high=float(high),
        mean=float(drawn @ weight / weight.sum()),
        unit="cars/h",
    )


def list_full_choices(
    cars_per_year: float, shape: YearShape, *, choices: Sequence[tuple[str, int]] = FULL_CHOICES
) -> list[dict[str, float | str]]:
    """List what each answer to *how often are you content to be full?* means in cars an hour.

    Returns
    -------
    list of dict
        ``words``, ``hours_a_year``, ``cars_per_hour`` (noise at its middle), ``low`` and
        ``high`` (noise alone, 5 and 95 %).

    Examples
    --------
    >>> from capture.basis import Offer
    >>> from capture.hours import make_year_shape
    >>> rows = list_full_choices(90_000, make_year_shape(Offer()), choices=FULL_CHOICES[1:3])
    >>> rows[0]["cars_per_hour"] > rows[1]["cars_per_hour"]
    True
    """
    rows: list[dict[str, float | str]] = []
    for words, hours in choices:
        low, middle, high = compute_hour_peak(
            cars_per_year, shape, rank=hours, noise=[-Z95, 0.0, Z95]
        )
        rows.append(
            {
                "words": words,
                "hours_a_year": float(hours),
                "cars_per_hour": float(middle),
                "low": float(low),
                "high": float(high),
            }
        )
    return rows


def compute_ramp_share(
    months: ArrayLike, *, worlds: Worlds | None = None, values: Sheet = VALUES
) -> FloatArray:
    """Compute what share of its mature cars a young wash has in each month.

    Parameters
    ----------
    months : array_like of int, shape (m,)
        Months since opening, 0 being the first.
    worlds : Worlds, optional
        When given, the ramp is drawn, better years going with better years.

    Returns
    -------
    ndarray of float, shape (m,) or (m, n)

    Raises
    ------
    InputError
        When a month is negative.

    Notes
    -----
    Cumulative cars pass through the yearly means exactly; between, a monotone cubic. From
    the fourth year on the share is 1.

    Examples
    --------
    >>> share = compute_ramp_share(range(12))
    >>> float(np.round(share.mean(), 6)), bool((np.diff(share) > 0).all())
    (0.58, True)
    """
    month = np.asarray(list(np.atleast_1d(np.asarray(months))), dtype=np.float64)
    if (month < 0).any():
        raise InputError("months since opening must be 0 or more; the first is 0")
    names = ("ramp_year_1", "ramp_year_2", "ramp_year_3")
    if worlds is None:
        years = np.array([[values.value(name)] for name in names])
    else:
        score = ndtr(worlds.normal("ramp of a young wash")[0])
        years = np.stack([_at_quantile(values, name, score) for name in names])
        years = np.minimum(np.maximum.accumulate(years, axis=0), 1.0)
    total = np.concatenate([np.zeros_like(years[:1]), np.cumsum(years, axis=0)])
    total = np.concatenate([total, total[-1:] + 1.0, total[-1:] + 2.0])
    curve = PchipInterpolator(np.arange(6.0), total, axis=0)
    early = np.clip(month, 0, 47)
    share = 12.0 * (curve((early + 1) / 12) - curve(early / 12))
    share = np.where((month >= 36)[:, None], 1.0, share)
    return np.asarray(share[:, 0] if worlds is None else share)


def _at_quantile(values: Sheet, name: str, chance: FloatArray) -> FloatArray:
    entry = values[name]
    return np.interp(
        chance, [0.0, 0.05, 0.5, 0.95, 1.0],
        [entry.low, entry.low, entry.value, entry.high, entry.high],
    )  # fmt: skip
