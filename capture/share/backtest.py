"""Is the model right about the site I know, and what does that say of my next one?

The known site is told from all the others and compared with what it did wash, by year and
by month. What is left over is parted by the regression between the operator, whose part is
carried to the next site, and the place, whose part is not (partial pooling). Assumes the
site's own count may be off as much as its table says.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from capture.basis import DataError, FitError, Range, Worlds
from capture.share.check import leave_out
from capture.share.design import make_rows
from capture.share.factors import FloatArray
from capture.share.fit import ShareFit
from capture.share.known import DAYS_PER_YEAR
from capture.share.predict import draw_operator, predict_share

MONTHS: Final = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class BackTest:
    """One known site told from the others."""

    #: name of the site
    id: str
    #: its operator, "" where not told
    operator: str
    #: cars a year that it did wash
    observed_cars: float
    #: cars a year told from the other sites
    predicted: Range
    #: where it fell in that prediction, 0-1
    rank_share: float
    #: cars in each month: observed (NaN where not known), predicted median, 5th and 95th
    #: percentile, shape (12, 4); None without months
    months: FloatArray | None
    #: multiplier of its operator, learned with this site in; carried to the next site
    carried: Range
    #: multiplier of the place that no factor tells, which stays with it
    stays: Range
    #: part of the left-over (on the log scale) that is carried, 0-1
    carried_share: float
    #: one plain paragraph
    words: str


def back_test(
    fit: ShareFit,
    site_id: str,
    worlds: Worlds,
    *,
    months: ArrayLike | None = None,
    month_share: ArrayLike | None = None,
    month_error_log: float | None = None,
) -> BackTest:
    """Tell a known site from the others, compare, and part what is left over.

    Parameters
    ----------
    fit : ShareFit
        Fitted to all known sites, holding them.
    site_id : str
        Which known site.
    worlds : Worlds
        n draws.
    months : array_like, shape (12,), optional
        Its cars by month, NaN where not known.
    month_share : array_like, shape (12,), optional
        Part of a year's cars in each month; by days when left out.
    month_error_log : float, optional
        Spread of a month against its part; the sheet's when left out.

    Returns
    -------
    BackTest

    Raises
    ------
    DataError
        When there is no such site, its line was full, or months are not twelve.
    FitError
        When the fit was kept without its known sites.
    """
    if fit.known is None:
        raise FitError("the fit was kept without its known sites; load it with them")
    if site_id not in fit.known.ids:
        raise DataError(f"known sites: there is no row {site_id!r} to test")
    place = fit.known.ids.index(site_id)
    site = fit.known.take([place])
    if site.at_capacity[0]:
        raise DataError(f"{site_id}: its line was full, so its demand is not known; pick another")
    cars = _predict_known(leave_out(fit, [site_id]), fit, place, worlds)
    observed = float(site.cars_per_year[0])
    # a site whose own figure is off may rank high or low for that alone
    seen = cars * np.exp(site.cars_cv[0] * worlds.normal("share back test cars", [site_id])[0])
    effect, left = _part(fit, place, worlds)
    total = float(np.log(observed / np.median(cars)))
    whole = effect.mean() + left.mean()
    carried = 0.0 if whole == 0 else float(np.clip(effect.mean() / whole, 0, 1))
    table = None
    if months is not None:
        error = fit.values.value("month_error_log") if month_error_log is None else month_error_log
        table = _compare_months(cars, months, month_share, error, worlds, site_id)
    predicted = Range.of(cars, "cars/year")
    return BackTest(
        id=site_id,
        operator=site.operators[0],
        observed_cars=observed,
        predicted=predicted,
        rank_share=float((seen < observed).mean()),
        months=table,
        carried=Range.of(np.exp(effect), "1"),
        stays=Range.of(np.exp(left), "1"),
        carried_share=carried,
        words=_say(site_id, observed, predicted, total, float(np.exp(effect.mean()))),
    )


def _predict_known(others: ShareFit, fit: ShareFit, place: int, worlds: Worlds) -> FloatArray:
    """Return draws of a built site's cars a year, its count's error in."""
    if fit.known is None:
        raise FitError("the fit was kept without its known sites; load it with them")
    site = fit.known.take([place])
    draws = predict_share(
        others,
        site.factors,
        worlds,
        format=site.formats[0],
        bays=int(site.bays[0]),
        operator=site.operators[0] or None,
    )
    # the site was built and survived, so there is no discount for untried ground
    error = site.vehicles_cv[0] * worlds.normal("share back test vehicles", site.ids)[0]
    vehicles = site.vehicles_veh_day[0] * np.exp(error)
    return np.asarray(DAYS_PER_YEAR * vehicles * draws.rate[0] / draws.selection)


def _part(fit: ShareFit, place: int, worlds: Worlds) -> tuple[FloatArray, FloatArray]:
    """Draw the operator's log effect and what the place itself keeps, both of shape (n,)."""
    own = fit.draw(worlds)
    rows, _ = make_rows(fit.known, fit.names, values=fit.values)
    name = fit.known.operators[place] if fit.known is not None else ""
    effect = draw_operator(fit, own, worlds, name or None)
    left = rows.target[place] - own.value @ rows.design[place]
    variance, extra = rows.variance[place], own.sigma**2
    if not name:
        # with no operator told, what is left is parted by the priors alone
        share = fit.mixture.prior.group_sd**2 / (fit.mixture.prior.group_sd**2 + extra + variance)
        own_sd = fit.mixture.prior.group_sd * np.sqrt(1 - share)
        effect = share * left + own_sd * worlds.normal("share operator alone")[0]
    kept = extra / (extra + variance)
    noise = worlds.normal("share back test place", [str(place)])[0] * np.sqrt(kept * variance)
    return effect, np.asarray(kept * (left - effect) + noise)


def _compare_months(
    cars: FloatArray,
    months: ArrayLike,
    month_share: ArrayLike | None,
    error: float,
    worlds: Worlds,
    site_id: str,
) -> FloatArray:
    seen = np.asarray(months, dtype=np.float64)
    days = np.array([31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31]) / DAYS_PER_YEAR
    share = days if month_share is None else np.asarray(month_share, dtype=np.float64)
    if seen.shape != (MONTHS,) or share.shape != (MONTHS,) or not (share > 0).all():
        raise DataError("months and month_share must each be twelve numbers; mend them")
    share = share / share.sum()
    noise = worlds.normal("share back test month", [f"{site_id} {m}" for m in range(MONTHS)])
    drawn = cars * share[:, None] * np.exp(error * noise)
    low, middle, high = np.quantile(drawn, [0.05, 0.5, 0.95], axis=1)
    return np.column_stack([seen, middle, low, high])


def _say(name: str, observed: float, predicted: Range, total: float, carried: float) -> str:
    inside = predicted.low <= observed <= predicted.high
    way = "more" if total > 0 else "less"
    said = (
        f"Told from the other sites, {name} would wash {predicted.value:,.0f} cars a year "
        f"({predicted.low:,.0f} to {predicted.high:,.0f}); it did wash {observed:,.0f}, "
        f"{abs(np.expm1(total)):.0%} {way}, {'inside' if inside else 'outside'} the range."
    )
    return (
        f"{said} Of that, the operator is given a multiplier of {carried:.2f}, which goes with "
        "them to the next site; the rest stays with the place."
    )


def find_bad_months(tested: BackTest) -> Sequence[int]:
    """Return the months, 1-12, that fell outside their range."""
    if tested.months is None:
        return []
    seen, _, low, high = tested.months.T
    with np.errstate(invalid="ignore"):
        outside = (seen < low) | (seen > high)
    return [int(month) + 1 for month in np.flatnonzero(outside)]
