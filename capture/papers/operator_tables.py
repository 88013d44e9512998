"""Which tables lie behind an operator's part of the share: first site, members, second site?

The back-test by month, tickets and members apart, and what a second site takes from the
first. Amounts in SI with the unit in the column's name.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from capture.basis import InputError, Range
from capture.papers.member_map import gather_homes
from capture.papers.pictures import MONTHS
from capture.papers.words import say_amount, say_number, say_spread
from capture.share import (
    BackTest,
    Lengthening,
    Moved,
    SecondSite,
    compare_lengthening,
    compute_ramp_share,
    compute_shared_stream_share,
    draw_rates,
    estimate_moved,
    fit_streams,
    judge_second_site,
    predict_share,
    predict_streams,
    simulate_members,
    split_cars,
    spread_members,
)

FloatArray = NDArray[np.float64]
#: months that the growth of members is shown for
MEMBER_MONTHS: Final = 48


def make_back_table(tested: BackTest) -> pd.DataFrame | None:
    """Make the table of cars by month, seen and told; None without months.

    Returns
    -------
    DataFrame
        Columns ``month, seen_cars, cars, low, high, place``.
    """
    if tested.months is None:
        return None
    seen, middle, low, high = tested.months.T
    with np.errstate(invalid="ignore"):
        place = np.where((seen < low) | (seen > high), "outside its range", "inside its range")
    return pd.DataFrame(
        {
            "month": MONTHS,
            "seen_cars": seen,
            "cars": middle,
            "low": low,
            "high": high,
            "place": np.where(np.isnan(seen), "not given", place),
        }
    )


def make_two_streams_table(study: Any) -> tuple[pd.DataFrame, str]:
    """Make the table of tickets and members of a site, and say what it rests on.

    Returns
    -------
    tuple of (DataFrame, str)
        Columns ``what, value, low, high, unit``, and one sentence.
    """
    values, offer = study.numbers["share"], study.offer
    known = study.fit.known
    told = 0 if known is None else int(((known.member_share > 0) & (known.member_share < 1)).sum())
    if told:
        two = predict_streams(
            fit_streams(known, values=values), study.factors, study.chain.passing, offer,
            study.worlds, values=values,
        )  # fmt: skip
        all_cars = float(np.median(study.cars_per_year))
        said = (
            f"Each has a fit of its own, from {told} known {'sites' if told > 1 else 'site'} that "
            f"{'tell' if told > 1 else 'tells'} them apart; the fit of all cars, which rests on "
            f"{len(known)} known sites, says {say_number(all_cars)} cars a year."
        )
    else:
        two = split_cars(study.cars_per_year[None], offer, study.worlds, values=values)
        said = (
            "No known site tells tickets and members apart, so the split is that of trade "
            "practice; give tickets_per_year or member_cars_per_year to learn it."
        )
    rows = []
    for words, drawn, unit in (
        ("washes by ticket", two.tickets_per_year, "cars/year"),
        ("washes by members", two.member_cars_per_year, "cars/year"),
        ("both together", two.cars_per_year, "cars/year"),
        ("members in the long run", two.members, "count"),
        ("joining in a month", two.joins_month, "count"),
    ):
        found = Range.of(drawn[0], unit)
        rows.append((words, found.value, found.low, found.high, unit))
    return pd.DataFrame(rows, columns=["what", "value", "low", "high", "unit"]), said


def make_member_table(study: Any) -> pd.DataFrame:
    """Make the table of members month by month from the opening.

    Returns
    -------
    DataFrame
        Columns ``month, low, members, high``; tickets follow the year's months and the usual
        growth of a new wash.
    """
    values, offer = study.numbers["share"], study.offer
    rates = draw_rates(offer, study.worlds, values=values)
    two = split_cars(study.cars_per_year[None], offer, study.worlds, values=values)
    now = compute_ramp_share(np.array([float(offer.years_open)]), values=values)[0]
    month = np.arange(MEMBER_MONTHS)
    years = np.asarray(1 + month // 12, dtype=np.float64)
    grown = compute_ramp_share(years, values=values) / now
    share = np.asarray(study.shape.month_share)[month % 12] * grown
    walked = simulate_members(share[:, None] * two.tickets_per_year[0], rates)
    low, middle, high = np.quantile(walked, [0.05, 0.5, 0.95], axis=1)
    return pd.DataFrame({"month": month + 1, "low": low, "members": middle, "high": high})


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SecondAnswer:
    """What a second site would do beside a first one of the same operator."""

    #: its balance
    second: SecondSite
    #: a longer line at the first site instead; None when its line is not known
    lengthening: Lengthening | None
    #: part of the first site's vehicles that pass the second on the same drive, 0-1
    shared_share: float
    #: part of the first site's members who live nearer the second, 0-1
    nearer_share: float
    #: balance in numbers: ``what, value, low, high, unit``
    table: pd.DataFrame
    #: the same in money
    cash: pd.DataFrame
    #: which ranges are drawn
    ranges: tuple[tuple[str, Range], ...]
    #: where both sites' members live, by square: ``x, y, first, moved, second`` in washes a
    #: year, ``first_minutes, second_minutes``
    homes: pd.DataFrame
    #: latitude and longitude of the first site, degrees
    first: tuple[float, float]


def judge_second(
    study: Any,
    *,
    lat: float,
    lon: float,
    cars_per_year: float,
    member_share: float | None = None,
    operator: str | None = None,
    line_cars_per_hour: float | None = None,
) -> SecondAnswer:
    """Judge the studied site as the second of an operator whose first stands on the map.

    Parameters
    ----------
    study : Study
        The second site.
    lat, lon : float
        Where the first stands, degrees.
    cars_per_year : float
        What the first washes.
    member_share : float, optional
        Part of them by members; practice's split when left out.
    operator : str, optional
        As named among the known sites, so that what is learned of them is carried over.
    line_cars_per_hour : float, optional
        What the first's line washes at most; without it no longer line is compared.

    Returns
    -------
    SecondAnswer

    Raises
    ------
    InputError
        For cars that are not above 0, an area without people, or a spot off the roads.
    """
    if not cars_per_year > 0:
        raise InputError(f"the first site's cars must be above 0 a year, got {cars_per_year:g}")
    homes = _time_both(study, lat, lon)
    shared = _find_shared(study, lat, lon)
    first = np.full(study.worlds.draws, float(cars_per_year))
    members, tickets = _split_first(study, first, member_share)
    moved = estimate_moved(
        members, tickets, homes.households, homes.seconds[0] / 60, homes.seconds[1] / 60,
        study.worlds, shared_stream_share=shared, values=study.numbers["share"],
    )  # fmt: skip
    scale = _carry_over(study, operator)
    second = judge_second_site(study.cars_per_year * scale, first, moved)
    longer = None
    if line_cars_per_hour:
        longer = _lengthen(study, first, line_cars_per_hour, second)
    listed = [
        ("cars at the second site", second.gross),
        ("of them from the first: members", second.moved_members),
        ("of them from the first: tickets", second.moved_tickets),
        ("gain of both sites together", second.net),
    ]
    if longer is not None:
        listed.append(("gain of a longer line at the first instead", longer.gain))
    table = _make_balance(listed)
    return SecondAnswer(
        second=second,
        lengthening=longer,
        shared_share=shared,
        nearer_share=moved.nearer_share,
        table=table,
        cash=_make_balance(price_second_cash(study, second, scale)),
        ranges=tuple(listed),
        homes=_house_members(study, homes, members, moved, scale),
        first=(lat, lon),
    )


def _house_members(
    study: Any, homes: Any, members: FloatArray, moved: Moved, scale: FloatArray
) -> pd.DataFrame:
    """Gather where the members of both sites live, in washes a year, means over worlds."""
    values, minutes = study.numbers["share"], homes.seconds / 60
    first = float(members.mean()) * moved.living_share
    own, _ = _split_first(study, study.cars_per_year * scale, None)
    reached = bool(np.isfinite(minutes[1]).any())
    second = float(own.mean()) * (
        spread_members(homes.households, minutes[1], values=values)
        if reached else np.zeros(len(homes.households))
    )  # fmt: skip
    return gather_homes(
        homes.xy, minutes, first=first, moved=first * moved.zone_share, second=second
    )


def _make_balance(listed: Sequence[tuple[str, Range]]) -> pd.DataFrame:
    return pd.DataFrame(
        [(words, r.value, r.low, r.high, r.unit) for words, r in listed],
        columns=["what", "value", "low", "high", "unit"],
    )


def _carry_over(study: Any, operator: str | None) -> FloatArray:
    """Compute by what an operator's known sites scale the cars of the next, draw by draw."""
    if operator is None:
        return np.ones(study.worlds.draws)
    drawn = predict_share(
        study.fit, study.factors, study.worlds, format=study.offer.format,
        bays=study.offer.bays, operator=operator,
    )  # fmt: skip
    scale: FloatArray = drawn.rate[0] / study.share.rate[0]
    return scale


def price_second_cash(study: Any, second: SecondSite, scale: FloatArray) -> list[tuple[str, Range]]:
    """Price the second site, alone and beside the first, in the same worlds.

    Parameters
    ----------
    study : Study
        The second site.
    second : SecondSite
        Its cars and those that come from the first.
    scale : ndarray of float, shape (n,)
        Its cars over the study's own.

    Returns
    -------
    list of (str, Range)
        Value today of the second alone, of what both bring over the first alone, and of the
        cars that move, USD.

    Notes
    -----
    A car that moves washes at the second instead of the first; the owner keeps its revenue,
    so what both bring over the first alone is the second priced without those cars.
    """
    from capture.chain.joints import find_land_prices
    from capture.money import price_study

    ask = study.chain.request
    gross = np.asarray(study.cars_per_year) * scale
    kept = second.net_draws / np.maximum(gross, 1e-9)
    washed = np.asarray(study.money.cars_per_year)[0] * scale

    def price(cars: FloatArray) -> FloatArray:
        made = price_study(
            cars[None, :], 0.0, study.chain.lines, ask.offer, ask.worlds, ask.ids,
            land=find_land_prices(ask), ground=[study.ground], irr=False,
            values=ask.numbers["money"], ramp_values=ask.numbers["hours"],
            rates=draw_rates(ask.offer, ask.worlds, values=ask.numbers["share"]),
        )  # fmt: skip
        worth: FloatArray = np.asarray(made.npv_usd, dtype=np.float64)[0]
        return worth

    alone, beside = price(washed), price(washed * kept)
    return [
        ("value today of the second alone", Range.of(alone, "USD")),
        ("value today of what both bring over the first alone", Range.of(beside, "USD")),
        ("value today of the cars that move from the first", Range.of(alone - beside, "USD")),
        ("chance that the second adds value", Range.exactly(float((beside > 0).mean()), "share")),
    ]


def say_second(second: SecondSite) -> str:
    """Say a second site's balance, rounded as every table rounds it."""
    who = "members" if second.moved_members.value >= second.moved_tickets.value else "tickets"
    return (
        f"The second site would wash about {say_amount(second.gross.value, 'cars/year')}, of which "
        f"{say_number(second.moved.value)} ({say_spread(second.moved)}) come from the first, "
        f"mostly {who}; the gain is {say_number(second.net.value)} ({say_spread(second.net)})."
    )


def say_lengthening(longer: Lengthening) -> str:
    """Say how a longer line at the first compares, rounded as every table rounds it."""
    chance = say_amount(longer.chance_longer_wins, "share", digits=2)
    return (
        f"A longer line at site one would gain about {say_amount(longer.gain.value, 'cars/year')}, "
        f"the second site {say_number(longer.second_gain.value)}; the longer line gains more in "
        f"{chance} of the worlds."
    )


def _time_both(study: Any, lat: float, lon: float) -> Any:
    from capture.around import time_homes

    x, y = study.place.network.projection.to_xy([lat], [lon])
    spots = _Spots(np.append(x, study.sites.x[0]), np.append(y, study.sites.y[0]))
    homes = time_homes(study.area, study.place, spots, values=study.numbers["around"])
    if homes is None:
        raise InputError(
            "where members live is not known: this area has no layer of people; give one"
        )
    return homes


class _Spots:
    """Two points in the place's plane."""

    def __init__(self, x: FloatArray, y: FloatArray) -> None:
        self.x = x
        self.y = y


def _find_shared(study: Any, lat: float, lon: float) -> float:
    """Find which part of the vehicles past the first site pass the second as well."""
    from capture.around import add_around
    from capture.passing import add_streams
    from capture.place import add_frontage, find_sites

    place, area = study.place, study.area
    first = find_sites(area, place, f"{lat:.7f},{lon:.7f}")
    frontage = add_frontage(place, first, values=study.numbers["place"])
    passing = add_streams(area, place, study.volumes, frontage, values=study.numbers["passing"])
    none = study.rivals.take(np.zeros(len(study.rivals), dtype=bool))
    only = none.add(place=place, lat=lat, lon=lon, format=study.offer.format, status="open")
    around = add_around(
        area, place, study.volumes, study.streams, study.sites, only, offer=study.offer,
        values=study.numbers["around"],
    )  # fmt: skip
    return compute_shared_stream_share(
        study.streams.vehicles_per_day, around.passed_first_share, passing.vehicles_per_day
    )


def _split_first(
    study: Any, cars: FloatArray, member_share: float | None
) -> tuple[FloatArray, FloatArray]:
    if member_share is not None:
        return cars * member_share, cars * (1 - member_share)
    two = split_cars(cars[None], study.offer, study.worlds, values=study.numbers["share"])
    return two.member_cars_per_year[0], two.tickets_per_year[0]


def _lengthen(
    study: Any, cars: FloatArray, line_cars_per_hour: float, second: SecondSite
) -> Lengthening:
    from capture.line import compute_lost_share

    lost = compute_lost_share(
        cars[None, :1], np.array([[line_cars_per_hour]]), study.shape, study.offer,
        values=study.numbers["line"],
    )[0, 0]  # fmt: skip
    # the cars washed are those left after the loss
    away = cars * lost / max(1 - float(lost), 1e-6)
    return compare_lengthening(away, second, study.worlds, values=study.numbers["share"])
