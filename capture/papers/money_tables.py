"""Is it worth it, how sure is that, and what would knowing more be worth? Money's tables.

Dollars of today before tax; draws are summed up at 5, 50 and 95 %. Assumes a study with
its money, and for knowing more one with ten thousand draws.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np
import pandas as pd

from capture.basis import Worlds

#: bars that are shown even where chance could have made them
_LEAST_BARS: Final = 5
LAND_CHANCES: Final = (0.5, 0.6, 0.7, 0.8, 0.9, 0.95)
_WORDS: Final = {
    "cars_per_year": "cars a year",
    "vehicles passing": "vehicles passing",
    "share washed": "share washed",
    "visits_member_month": "visits of a member a month",
    "joins_per_ticket": "plans sold per single wash",
    "leaving_month": "members leaving a month",
    "site_works_usd": "site works",
    "building_usd_m2": "cost of the building",
    "staff_exterior": "staff",
    "loan_share": "share that is lent",
    "loan_rate_share": "rate of the loan",
    "soft_share": "design, permits and other soft costs",
    "equipment_spread": "cost of equipment",
    "upgrade_usd_car": "extras sold per car",
    "overhead_usd_year": "overhead",
    "land_usd": "price of the land",
    "ground_usd": "cost of what the ground asks",
    "ground_months": "delay from what the ground asks",
    "works_kept_share": "what works still bring at the end",
    "equipment_kept_share": "what equipment still brings at the end",
    "opening_months": "months until opening",
    "first_year_share": "cars in the first year",
    "wage_usd_h": "wages",
}
#: what could be measured: words, which draws, spread on the log scale, cost in USD, how sure
MEASURES: Final = (
    ("count the road for a week", "passing", 0.08, 1_500.0),
    ("count a rival's cars for two weeks", "share", 0.25, 3_000.0),
    ("model fitted to an own wash nearby", "share", 0.20, 8_000.0),
    ("bids for building and site works", "hard", 0.06, 20_000.0),
    ("know cars a year as well as anyone could", "cars", 0.05, 0.0),
)


def say_input(name: str) -> str:
    """Say an input's name in plain words.

    Examples
    --------
    >>> say_input("wage_usd_h"), say_input("water_usd_car")
    ('wages', 'water a car')
    """
    if name in _WORDS:
        return _WORDS[name]
    words = name.replace("_usd_", "_").removesuffix("_usd").removesuffix("_share")
    return words.replace("_car", " a car").replace("_", " ").replace("  ", " ").strip()


def make_fan_table(study: Any, *, after_debt: bool) -> pd.DataFrame:
    """Make cash gathered since the contract: ``month, low_usd, usd, high_usd``."""
    fan = study.money.schedule(0).fan(after_debt=after_debt)
    return pd.DataFrame(
        {
            "month": np.arange(len(fan["value"])),
            "low_usd": fan["low"],
            "usd": fan["value"],
            "high_usd": fan["high"],
        }
    )


def make_tornado_table(study: Any, *, most: int = 12) -> pd.DataFrame:
    """Make what moves the value today most: mean value in each input's low and high tenth."""
    from capture.money import make_tornado

    bars = make_tornado(
        study.money, 0, most=most + 1,
        also={
            "vehicles passing": np.asarray(study.passing),
            "share washed": np.asarray(study.share.rate)[0],
        },
    )  # fmt: skip
    rows = [
        {"input": say_input(bar.name), "at_low_usd": bar.at_low, "at_high_usd": bar.at_high,
         "index_share": max(bar.index, 0.0), "beyond_noise": bar.index > 2 * bar.noise}
        for bar in bars
        if bar.name != "cars_per_year"
    ]  # fmt: skip
    clear = [row for row in rows if row["beyond_noise"]]
    return pd.DataFrame((clear if len(clear) >= _LEAST_BARS else rows[:_LEAST_BARS])[:most])


def make_land_table(study: Any) -> pd.DataFrame:
    """Make the land price that leaves a value above zero, by the chance that it does."""
    from capture.money import price_land_at

    return pd.DataFrame(
        [
            {"chance_share": chance, "land_usd": float(price_land_at(study.money, chance)[0])}
            for chance in LAND_CHANCES
        ]
    )


def find_land_price(study: Any, chance: float) -> float:
    """Return the land price that leaves a value above zero with a chance, USD."""
    from capture.money import price_land_at

    return float(price_land_at(study.money, chance)[0])


def make_debt_table(study: Any) -> pd.DataFrame:
    """Make what loan, owner's cash and its lowest point are: low, middle, high, unit."""
    money = study.money
    schedule = money.schedule(0)
    rows = (
        ("loan", money.loan_usd[0], "USD"),
        ("owner's cash by opening", money.equity_usd[0], "USD"),
        ("most that the owner is out of pocket at any time",
         schedule.deepest_cash(after_debt=True), "USD"),
        ("spent before building starts", schedule.cash_before_building(), "USD"),
        ("cash over loan payments, first year", money.dscr_first_year[0], "1"),
        ("cash over loan payments, third year", money.dscr[0], "1"),
        ("value today to the owner, after debt", money.owner_npv_usd[0], "USD"),
    )  # fmt: skip
    table = []
    for what, draws, unit in rows:
        low, value, high = np.quantile(np.asarray(draws), [0.05, 0.5, 0.95], method="nearest")
        table.append(
            {"what": what, "low": float(low), "value": float(value), "high": float(high),
             "unit": unit}
        )  # fmt: skip
    return pd.DataFrame(table)


def make_measure_table() -> pd.DataFrame:
    """Make what could be measured, with how well and for how much, to be changed by hand."""
    return pd.DataFrame(
        [
            {"measure": words, "about": about, "off by, %": 100 * sd, "cost, $": cost}
            for words, about, sd, cost in MEASURES
        ]
    )


def make_knowing_table(study: Any, measures: pd.DataFrame) -> tuple[pd.DataFrame, dict[str, float]]:
    """Make what seeing each measure before deciding is worth, best first.

    Parameters
    ----------
    study : Study
        With 10,000 draws; fewer drown small worths in noise.
    measures : DataFrame
        As of :func:`make_measure_table`.

    Returns
    -------
    (DataFrame, dict)
        ``measure, value_usd, error_usd, cost_usd, net_usd, change_share``; and ``now_usd``
        and ``perfect_usd``.
    """
    from capture.money import Measure, rank_measures

    draws = {
        "passing": np.asarray(study.passing),
        "share": np.asarray(study.share.rate)[0],
        "hard": np.broadcast_to(np.atleast_2d(study.money.capital.hard_usd)[0],
                                (study.worlds.draws,)),
        "cars": np.asarray(study.cars_per_year),
    }  # fmt: skip
    asked = [
        Measure(
            name=str(row["measure"]), truth=draws[str(row["about"])],
            sd=float(row["off by, %"]) / 100, cost_usd=float(row["cost, $"]),
        )
        for row in measures.to_dict("records")
    ]  # fmt: skip
    worlds: Worlds = study.worlds
    ranked = rank_measures(np.asarray(study.money.npv_usd)[0], asked, worlds)
    table = pd.DataFrame(
        [
            {"measure": one.measure.name, "value_usd": one.worth.value_usd,
             "error_usd": one.worth.error_usd, "cost_usd": one.measure.cost_usd,
             "net_usd": one.net_usd, "change_share": one.worth.change_share}
            for one in ranked
        ]
    )  # fmt: skip
    worth = ranked[0].worth
    return table, {"now_usd": worth.now_usd, "perfect_usd": worth.perfect_usd}
