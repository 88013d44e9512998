"""Made-up towns drawn from the starter sheet itself, so that calibration can be asked."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pytest

from capture.basis import FORMATS
from capture.share import CORE, FACTORS, FactorTable, KnownSites, make_prior
from capture.share.values import VALUES

OPERATORS = ("Amber", "Beech", "Cedar", "Dune", "Elm", "Fern")


@dataclass(frozen=True, slots=True, kw_only=True)
class Town:
    """What was drawn: the truth, the known sites, and one new site with its log share."""

    coefficient: np.ndarray
    sigma: float
    operator: dict[str, float]
    known: KnownSites
    new: FactorTable
    new_format: str
    new_log_share: float


def make_known(
    x: np.ndarray, log_share: np.ndarray, cv: np.ndarray, operators: list[str], formats: list[str]
) -> KnownSites:
    """Make known sites from factors and shares, at 20,000 vehicles a day."""
    count = len(x)
    ids = tuple(f"S{place}" for place in range(count))
    vehicles = np.full(count, 20_000.0)
    return KnownSites(
        ids=ids,
        towns=("",) * count,
        operators=tuple(operators),
        formats=tuple(formats),
        bays=np.ones(count),
        cars_per_year=np.exp(log_share) * 365 * vehicles,
        vehicles_veh_day=vehicles,
        vehicles_cv=cv,
        cars_cv=np.zeros(count),
        member_share=np.full(count, np.nan),
        at_capacity=np.zeros(count, dtype=bool),
        weight=np.ones(count),
        factors=FactorTable(ids=ids, names=CORE, x=x, missing=np.zeros(x.shape, dtype=bool)),
        row=np.arange(count) + 2,
        source="simulated",
    )


def draw_coefficients(rng: np.random.Generator, *, keep_signs: bool) -> np.ndarray:
    prior = make_prior(CORE)
    value = rng.normal(prior.mean, prior.sd)
    first = len(value) - len(CORE)
    for place, name in enumerate(CORE):
        while keep_signs and value[first + place] * FACTORS[name].sign < 0:
            value[first + place] = rng.normal(prior.mean[first + place], prior.sd[first + place])
    return value


def draw_town(rng: np.random.Generator, *, count: int, keep_signs: bool) -> Town:
    prior = make_prior(CORE)
    coefficient = draw_coefficients(rng, keep_signs=keep_signs)
    sigma = float(rng.choice(prior.sigma, p=np.exp(prior.log_weight)))
    effect = dict(zip(OPERATORS, rng.normal(0, prior.group_sd, len(OPERATORS)), strict=True))
    reference = np.array([FACTORS[name].reference for name in CORE])
    spread = np.array([FACTORS[name].spread for name in CORE])
    x = reference + spread * rng.normal(size=(count + 1, len(CORE)))
    formats = [str(name) for name in rng.choice(FORMATS, count + 1)]
    operators = [str(name) for name in rng.choice(OPERATORS, count)]
    base = np.array([np.log(VALUES.value(f"base_{name}_share")) for name in formats])
    marks = np.array([[name == mark for mark in FORMATS] for name in formats])
    log_share = base + np.column_stack([np.ones(count + 1), marks, x - reference]) @ coefficient
    log_share = log_share + sigma * rng.normal(size=count + 1)
    cv = rng.choice([0.0, 0.1, 0.3], count)
    seen = log_share[:count] + cv * rng.normal(size=count)
    seen = seen + np.array([effect[name] for name in operators])
    new = FactorTable(
        ids=("new",), names=CORE, x=x[count:], missing=np.zeros((1, len(CORE)), dtype=bool)
    )
    return Town(
        coefficient=coefficient,
        sigma=sigma,
        operator=effect,
        known=make_known(x[:count], seen, cv, operators, formats[:count]),
        new=new,
        new_format=formats[count],
        new_log_share=float(log_share[count] + rng.normal(0, prior.group_sd)),
    )


@pytest.fixture(scope="session")
def town_maker() -> Callable[..., Town]:
    return draw_town


@pytest.fixture(scope="session")
def known_maker() -> Callable[..., KnownSites]:
    return make_known
