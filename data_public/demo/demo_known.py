"""What did forty washes in other invented towns sell, under which true rule?

The rule is drawn first, near the starter sheet's priors, and written out beside the rows, so
that a regression can be asked whether it finds it again. Yearly cars are
365 x vehicles x share: the share is the format's level times exp(factors x coefficients),
times an operator's own effect and chance; the reported vehicles differ from the true
ones by the count's error.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from demo_names import OPERATORS, TOWNS

#: share at the reference site; per bay for the last two
BASE_SHARE = {
    "exterior": 0.008,
    "flex": 0.0055,
    "full_service": 0.003,
    "in_bay": 0.001,
    "self_service": 0.0004,
}
BAY_FORMATS = ("in_bay", "self_service")
#: factor: reference, prior mean, prior sd, declared sign
FACTORS = {
    "log_vehicles": (0.0, -0.3, 0.2, -1),
    "delay": (10.0, -1 / 90, 0.006, -1),
    "sight": (1.0, 0.5, 0.3, 1),
    "pull": (1.0, -0.30, 0.13, -1),
    "passed_first": (0.2, -0.3, 0.2, -1),
    "log_people": (0.0, 0.25, 0.15, 1),
    "log_price": (0.0, -0.8, 0.35, -1),
    "plan": (1.0, 0.35, 0.2, 1),
    "ramp": (0.0, 1.0, 0.2, 1),
}
RAMP_SHARE = (0.58, 0.80, 0.95, 1.0)
AREA_SD, FORMAT_SD, OPERATOR_SD = 0.25, 0.2, 0.25
SIGMA_MEDIAN, SIGMA_LOG_SD = 0.25, 0.4
VEHICLES_REF, PEOPLE_REF = 20_000.0, 40_000.0


def draw_truth(rng: np.random.Generator) -> dict[str, Any]:
    """Draw the true rule from the priors, declared signs respected."""
    beta = {}
    for name, (_, mean, sd, sign) in FACTORS.items():
        value = rng.normal(mean, sd)
        while value * sign < 0:
            value = rng.normal(mean, sd)
        beta[name] = float(value)
    area = rng.normal(0, AREA_SD)
    return {
        "beta": beta,
        "area_log": float(area),
        "format_log": {name: float(rng.normal(0, FORMAT_SD)) for name in BASE_SHARE},
        "operator_log": {name: float(rng.normal(0, OPERATOR_SD)) for name in OPERATORS},
        "sigma": float(SIGMA_MEDIAN * np.exp(rng.normal(0, SIGMA_LOG_SD))),
    }


def _draw_sites(rng: np.random.Generator, sites: int) -> pd.DataFrame:
    town = rng.integers(0, len(TOWNS), sites)
    operator = (town * 2 + rng.integers(0, 4, sites)) % len(OPERATORS)
    kind = rng.choice(list(BASE_SHARE), sites, p=[0.5, 0.14, 0.1, 0.16, 0.1])
    bays = np.where(kind == "self_service", rng.integers(3, 7, sites), 1)
    bays = np.where(kind == "in_bay", rng.integers(1, 4, sites), bays)
    return pd.DataFrame(
        {
            "id": [f"K{k + 1:02d}" for k in range(sites)],
            "town": [TOWNS[k] for k in town],
            "operator": [OPERATORS[k] for k in operator],
            "format": kind,
            "bays": bays,
            "cars_per_year": 0,
            "aadt_veh_day": np.round(np.exp(rng.normal(np.log(21_000), 0.42, sites)), -2),
            "aadt_cv": rng.choice([0.05, 0.08, 0.12, 0.2], sites),
            "delay_s": np.minimum(rng.gamma(1.6, 9.0, sites), 120).round(1),
            "sight": np.clip(1.15 - rng.exponential(0.22, sites), 0.15, 1.0).round(2),
            "pull": rng.gamma(2.0, 0.6, sites).round(2),
            "passed_first_share": rng.beta(1.3, 4.0, sites).round(2),
            "people_10min": np.round(np.exp(rng.normal(np.log(42_000), 0.5, sites)), -2),
            "price_ratio": np.exp(rng.normal(0, 0.13, sites)).round(2),
            "plan_offered": (rng.random(sites) < 0.7).astype(int),
            "years_open": rng.choice(
                [1, 2, 3, 5, 8, 12], sites, p=[0.1, 0.12, 0.13, 0.25, 0.25, 0.15]
            ),
        }
    )


def compute_log_share(table: pd.DataFrame, truth: dict[str, Any]) -> np.ndarray:
    """Compute each row's log share under the true rule, without chance."""
    ramp = np.array(RAMP_SHARE)[np.minimum(table["years_open"].to_numpy(int), 4) - 1]
    raw = {
        "log_vehicles": np.log(table["aadt_veh_day"] / VEHICLES_REF),
        "delay": table["delay_s"],
        "sight": table["sight"],
        "pull": table["pull"],
        "passed_first": table["passed_first_share"],
        "log_people": np.log(table["people_10min"] / PEOPLE_REF),
        "log_price": np.log(table["price_ratio"]),
        "plan": table["plan_offered"],
        "ramp": np.log(ramp),
    }
    total = truth["area_log"] + np.array(
        [np.log(BASE_SHARE[f]) + truth["format_log"][f] for f in table["format"]]
    )
    total = total + np.log(np.where(table["format"].isin(BAY_FORMATS), table["bays"], 1))
    for name, (reference, *_) in FACTORS.items():
        total = total + truth["beta"][name] * (np.asarray(raw[name], dtype=float) - reference)
    return np.asarray(total)


def make_known_sites(seed: int, *, sites: int = 40) -> tuple[pd.DataFrame, dict[str, Any]]:
    """Make sites with known yearly cars and the true rule that they were drawn from.

    Any ``seed`` gives another set of towns under another true rule; the lines are sized so
    that none of them is at its limit.
    """
    rng = np.random.default_rng([seed, 765])
    truth = draw_truth(rng)
    table = _draw_sites(rng, sites)
    operator = np.array([truth["operator_log"][name] for name in table["operator"]])
    chance = truth["sigma"] * rng.normal(size=sites)
    error = table["aadt_cv"].to_numpy() * rng.normal(size=sites)
    log_share = compute_log_share(table, truth) + operator + chance + error
    cars = 365 * table["aadt_veh_day"].to_numpy() * np.exp(log_share)
    hour = cars / 365 * 0.3
    table["cars_per_year"] = np.round(cars, -2 if cars.min() > 5_000 else -1).astype(int)
    headroom = rng.uniform(1.25, 1.8, sites)
    table["line_cars_per_hour"] = np.maximum(np.ceil(hour * headroom / 5) * 5, 20).astype(int)
    table["aadt_veh_day"] = table["aadt_veh_day"].astype(int)
    table["people_10min"] = table["people_10min"].astype(int)
    table["source"] = "invented"
    return table, truth


def write_truth(truth: dict[str, Any], seed: int) -> str:
    """Write the true rule as TOML text."""
    lines = [
        "# Invented. The rule that known_sites.csv was drawn from:",
        "# log(cars_per_year) = log(365 aadt_veh_day) + log(base share x bays) + area_log",
        "#   + format_log + sum of beta x (factor - reference) + operator_log",
        "#   + sigma x normal + aadt_cv x normal",
        "# base share counts per bay for in_bay and self_service, per site otherwise;",
        "# factors: ln(aadt / 20,000), delay in s, sight, pull and passed-first as they stand,",
        "# ln(people / 40,000), ln(price_ratio), plan 0 or 1, ln(share of the mature volume).",
        "invented = true",
        f"seed = {seed}",
        f"sigma = {truth['sigma']:.6f}",
        f"area_log = {truth['area_log']:.6f}",
        f"ramp_share_by_year = {list(RAMP_SHARE)}",
    ]
    tables: dict[str, dict[str, float]] = {
        "base_share": BASE_SHARE,
        "format_log": truth["format_log"],
        "reference": {name: row[0] for name, row in FACTORS.items()},
        "beta": truth["beta"],
        "operator_log": truth["operator_log"],
    }
    for name, table in tables.items():
        lines += ["", f"[{name}]", *(f"{k} = {v:.6f}" for k, v in table.items())]
    return "\n".join(lines) + "\n"
