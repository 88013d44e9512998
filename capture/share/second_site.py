"""What would a second site take from the first, and what is left as gain?

Members of one plan use whichever site is nearer from home, so those whose drive gets
shorter move over; ticket buyers move where one day's stream passes both sites. Cars that
move are no gain. Households stand in zones with drive times to both sites. Assumes one
operator and one plan for both, and that nobody washes more because there are two.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from capture.basis import InputError, Range, Sheet, Worlds
from capture.share.factors import FloatArray
from capture.share.members import spread_members
from capture.share.values import VALUES


@dataclass(frozen=True, slots=True, kw_only=True)
class Moved:
    """Cars a year that a second site takes from the first, in n worlds."""

    #: members' washes that move, cars a year, shape (n,)
    member_cars: FloatArray
    #: ticket visits that move, cars a year, shape (n,)
    tickets: FloatArray
    #: part of the first site's members who live nearer the second, 0-1
    nearer_share: float
    #: part of members who move, by zone, mean over worlds, shape (Z,)
    zone_share: FloatArray
    #: part of the first site's members who live in each zone, shape (Z,), sums to 1
    living_share: FloatArray

    @property
    def cars(self) -> FloatArray:
        """All cars that move, cars a year, shape (n,)."""
        return np.asarray(self.member_cars + self.tickets)


@dataclass(frozen=True, slots=True, kw_only=True)
class SecondSite:
    """The second site's balance, cars a year."""

    #: cars at the second site
    gross: Range
    #: cars of those that the first loses: members, tickets, both
    moved_members: Range
    #: see ``moved_members``
    moved_tickets: Range
    #: see ``moved_members``
    moved: Range
    #: part of the first site's cars that move
    moved_share: Range
    #: what the two sites wash more than the first did alone
    net: Range
    #: net gain in each world, shape (n,)
    net_draws: FloatArray
    #: chance that the second site's cars are mostly the first's
    chance_mostly_moved: float
    #: one plain sentence
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Lengthening:
    """A longer line at site one against a second site, cars a year."""

    #: cars that site one turns away now
    turned_away: Range
    #: cars that a longer line would have washed
    gain: Range
    #: cars that the second site gains
    second_gain: Range
    #: chance that the longer line gains more cars
    chance_longer_wins: float
    #: one plain sentence
    words: str


def estimate_moved(
    first_member_cars: ArrayLike,
    first_tickets: ArrayLike,
    households: ArrayLike,
    minutes_first: ArrayLike,
    minutes_second: ArrayLike,
    worlds: Worlds,
    *,
    shared_stream_share: float = 0.0,
    values: Sheet = VALUES,
) -> Moved:
    """Estimate the cars that a second site takes from the first.

    Parameters
    ----------
    first_member_cars, first_tickets : array_like, shape () or (n,)
        Cars a year of the first site by members and by ticket.
    households, minutes_first, minutes_second : array_like, shape (Z,)
        Households of each zone and drive time to each site; inf where out of reach.
    worlds : Worlds
    shared_stream_share : float
        Part of the vehicles past the first site that pass the second on the same day, 0-1.
    values : Sheet

    Returns
    -------
    Moved

    Raises
    ------
    InputError
        When shapes differ, times are negative, or the shared part is not within 0 to 1.

    Notes
    -----
    From home, the second site is chosen with t2^-l / (t1^-l + t2^-l), times at least one
    minute. Before there was a second site all those members drove to the first.

    References
    ----------
    Huff, "Defining and estimating a trading area", Journal of Marketing 28, 1964.
    """
    homes, first, second = (
        np.asarray(numbers, dtype=np.float64)
        for numbers in (households, minutes_first, minutes_second)
    )
    if not homes.shape == first.shape == second.shape or homes.ndim != 1:
        raise InputError("households and both drive times must have one number a zone")
    if (homes < 0).any() or (first < 0).any() or (second < 0).any():
        raise InputError("households and drive times must be 0 or more; mend the zones")
    if not 0 <= shared_stream_share <= 1:
        raise InputError(f"shared_stream_share must be 0 to 1, got {shared_stream_share}")
    where = spread_members(homes, first, values=values)
    power = worlds.constant(values["distance_power"])
    least = values.value("least_minutes")
    one, two = np.maximum(first, least), np.maximum(second, least)
    ratio = np.divide(one, two, out=np.zeros_like(one), where=np.isfinite(one))
    chosen = 1 - 1 / (1 + ratio[:, None] ** power)
    moving = chosen * worlds.constant(values["member_switch_share"])
    switched = where @ moving
    split = worlds.constant(values["ticket_split_share"]) * shared_stream_share
    return Moved(
        member_cars=np.asarray(np.asarray(first_member_cars, dtype=np.float64) * switched),
        tickets=np.asarray(np.asarray(first_tickets, dtype=np.float64) * split),
        nearer_share=min(1.0, float(where[second < first].sum())),
        zone_share=np.asarray(moving.mean(axis=1)),
        living_share=where,
    )


def compute_shared_stream_share(
    second_flow: ArrayLike, passed_first_share: ArrayLike, first_flow: ArrayLike
) -> float:
    """Compute which part of the vehicles past site one pass site two on the same drive.

    Parameters
    ----------
    second_flow : array_like, shape (R2,)
        Vehicles a day of the second site's streams.
    passed_first_share : array_like, shape (R2,)
        Part of each that has just passed site one, as the room on rivals tells it with site
        one as the only rival.
    first_flow : array_like, shape (R1,)
        Vehicles a day of the first site's streams.

    Returns
    -------
    float
        Within 0 to 1.

    Raises
    ------
    InputError
        When nobody passes site one.

    Examples
    --------
    >>> compute_shared_stream_share([8000, 8000], [0.5, 0.0], [10_000, 10_000])
    0.2
    """
    first = float(np.sum(first_flow))
    if not first > 0:
        raise InputError("vehicles past site one must be above 0 veh/day; check its driveways")
    passed = np.nan_to_num(np.asarray(passed_first_share, dtype=np.float64))
    shared = float((np.asarray(second_flow, dtype=np.float64) * passed).sum())
    return min(1.0, shared / first)


def judge_second_site(second_cars: FloatArray, first_cars: ArrayLike, moved: Moved) -> SecondSite:
    """Balance a second site's cars against what it takes from the first.

    Parameters
    ----------
    second_cars : ndarray, shape (n,)
        Cars a year predicted for the second site, the operator's residual carried over by
        naming the operator in the prediction.
    first_cars : array_like, shape () or (n,)
        Cars a year of the first site.
    moved : Moved

    Returns
    -------
    SecondSite
        What moves is at most what the second site washes.

    Raises
    ------
    InputError
        When the draws do not match.
    """
    gross = np.asarray(second_cars, dtype=np.float64)
    if gross.shape != moved.cars.shape:
        raise InputError(f"second_cars must have {moved.cars.shape} draws, got {gross.shape}")
    part = np.minimum(1.0, gross / np.maximum(moved.cars, 1e-9))
    taken = moved.cars * part
    first = np.broadcast_to(np.asarray(first_cars, dtype=np.float64), gross.shape)
    net = np.maximum(gross - taken, 0.0)
    ranges = {
        "gross": gross,
        "moved": taken,
        "moved_members": moved.member_cars * part,
        "moved_tickets": moved.tickets * part,
        "net": net,
    }
    said = {name: Range.of(draws, "cars/year") for name, draws in ranges.items()}
    share = Range.of(taken / first, "share")
    return SecondSite(
        **said,
        moved_share=share,
        net_draws=net,
        chance_mostly_moved=float((taken > gross / 2).mean()),
        words=(
            f"The second site would wash about {said['gross'].value:,.0f} cars a year, of which "
            f"{said['moved'].value:,.0f} ({said['moved'].low:,.0f} to {said['moved'].high:,.0f}) "
            f"come from the first, mostly "
            f"{'members' if moved.member_cars.mean() >= moved.tickets.mean() else 'tickets'}; "
            f"the gain is {said['net'].value:,.0f} ({said['net'].low:,.0f} to "
            f"{said['net'].high:,.0f})."
        ),
    )


def compare_lengthening(
    turned_away_cars: ArrayLike,
    second: SecondSite,
    worlds: Worlds,
    *,
    values: Sheet = VALUES,
) -> Lengthening:
    """Set a longer line at site one against a second site, in cars; money comes later.

    Parameters
    ----------
    turned_away_cars : array_like, shape () or (n,)
        Cars a year that site one's line turns away for good now.
    second : SecondSite
    worlds : Worlds
    values : Sheet

    Returns
    -------
    Lengthening
    """
    away = np.broadcast_to(np.asarray(turned_away_cars, dtype=np.float64), (worlds.draws,))
    if (away < 0).any():
        raise InputError("turned_away_cars must be 0 or more cars a year; mend it")
    gain = away * worlds.constant(values["full_gain_share"])
    chance = float((gain > second.net_draws).mean())
    said = Range.of(gain, "cars/year")
    return Lengthening(
        turned_away=Range.of(away, "cars/year"),
        gain=said,
        second_gain=second.net,
        chance_longer_wins=chance,
        words=(
            f"A longer line at site one would gain about {said.value:,.0f} cars a year, the "
            f"second site {second.net.value:,.0f}; the longer line gains more in {chance:.0%} "
            "of the worlds."
        ),
    )
