"""What stands in the regression's columns and rows, and what is believed before any row?

Columns: a level common to all formats, one for each format, one for each factor less its
reference. Rows: known sites, each with the variance of its count, of any part of its year
that was filled in, and of each factor that it does not tell. Assumes factors that are not
known are spread as in the starter sheet.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from capture.basis import FORMATS, InputError, Sheet
from capture.share.factors import CORE, EXTRA, FloatArray, list_factors
from capture.share.known import DAYS_PER_YEAR, KnownSites
from capture.share.mixture import Prior, Rows
from capture.share.table import FactorTable
from capture.share.values import VALUES


def make_prior(names: Sequence[str], *, values: Sheet = VALUES, tight: Sequence[str] = ()) -> Prior:
    """Make the prior of level, formats, factors and sigma from the sheet.

    Examples
    --------
    >>> prior = make_prior(["pull"])
    >>> prior.mean.tolist()
    [0.0, 0.0, 0.0, 0.0, 0.0, 0.0, -0.3]
    """
    registry = list_factors(values)
    sd = [
        values.value(f"tight_{name}") if name in tight else registry[name].prior_sd
        for name in names
    ]
    least, most = values.value("sigma_least"), values.value("sigma_most")
    sigma = np.geomspace(least, most, int(values.value("sigma_nodes")))
    apart = np.log(sigma / values.value("sigma_log")) / values.value("sigma_log_sd")
    weight = np.exp(-0.5 * apart**2)
    level = [values.value("area_log"), *[values.value("format_log")] * len(FORMATS)]
    mean = [*[0.0] * len(level), *(registry[name].prior_mean for name in names)]
    return Prior(
        mean=np.array(mean),
        sd=np.array([*level, *sd]),
        sigma=sigma,
        log_weight=np.log(weight / weight.sum()),
        group_sd=values.value("operator_log"),
    )


def make_design(x: FloatArray, formats: Sequence[str]) -> FloatArray:
    """Make design rows from centred factors, shape (n, k), and each row's format."""
    marks = np.array([[float(name == mark) for mark in FORMATS] for name in formats])
    return np.column_stack([np.ones(len(x)), marks.reshape(len(x), len(FORMATS)), x])


def choose_factors(known: KnownSites | None, factors: Sequence[str] | None) -> list[str]:
    """Return the factors that take part: those asked for, or core and fully told ones."""
    if factors is None:
        told = () if known is None else known.factors.names
        return [*CORE, *(name for name in EXTRA if name in told)]
    unknown = [name for name in factors if name not in (*CORE, *EXTRA)]
    if unknown or len(set(factors)) != len(factors):
        raise InputError(
            f"factors must be among {', '.join((*CORE, *EXTRA))}, each once, "
            f"got {', '.join(factors)}; change them"
        )
    return list(factors)


def align_factors(table: FactorTable, names: Sequence[str], values: Sheet = VALUES) -> FactorTable:
    """Return a table with exactly these factors; one it lacks is marked missing."""
    registry = list_factors(values)
    x = np.tile([registry[name].reference for name in names], (len(table.ids), 1)).astype(float)
    missing = np.ones(x.shape, dtype=np.bool_)
    unsure = None if table.unsure is None else np.zeros(x.shape)
    for column, name in enumerate(names):
        if name in table.names:
            place = table.names.index(name)
            x[:, column], missing[:, column] = table.x[:, place], table.missing[:, place]
            if unsure is not None and table.unsure is not None:
                unsure[:, column] = table.unsure[:, place]
    return FactorTable(ids=table.ids, names=tuple(names), x=x, missing=missing, unsure=unsure)


def make_rows(
    known: KnownSites | None, names: Sequence[str], *, values: Sheet = VALUES
) -> tuple[Rows, list[str]]:
    """Make the regression's rows of known sites, and the names that its groups stand for.

    Parameters
    ----------
    known : KnownSites or None
        n sites.
    names : sequence of str
        The k factors.
    values : Sheet
        The share's constants.

    Returns
    -------
    tuple of (Rows, list of str)
        A site without an operator is a group of its own, named "".
    """
    if known is None or len(known) == 0:
        return Rows.of(np.zeros((0, 1 + len(FORMATS) + len(names))), np.zeros(0)), []
    registry = list_factors(values)
    table = align_factors(known.factors, names, values)
    reference = np.array([registry[name].reference for name in names])
    base = np.array([values.value(f"base_{name}_share") for name in known.formats])
    target = np.log(known.cars_per_year) - np.log(DAYS_PER_YEAR * known.vehicles_veh_day)
    target = target - np.log(base * known.bays)
    unknown = np.array(
        [
            (registry[name].prior_mean ** 2 + registry[name].prior_sd ** 2)
            * registry[name].spread ** 2
            for name in names
        ]
    )
    # error of the count, and of each factor left at its reference
    variance = known.vehicles_cv**2 + known.cars_cv**2 + table.missing @ unknown
    operators, group = _group_operators(known.operators)
    design = make_design(table.x - reference, known.formats)
    rows = Rows.of(design, target, variance=variance, group=group, weight=known.weight)
    return rows, operators


def _group_operators(operators: Sequence[str]) -> tuple[list[str], NDArray[np.int64]]:
    """Number the operators; a row without one is its own."""
    names: list[str] = []
    places: dict[str, int] = {}
    group = []
    for name in operators:
        if name and name in places:
            group.append(places[name])
            continue
        places[name] = len(names)
        group.append(len(names))
        names.append(name)
    return names, np.array(group, dtype=np.int64)
