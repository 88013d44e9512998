"""What part of the cars passing is washed: factors, starter sheet, regression, explanation."""

from capture.share.factors import (
    CORE,
    EXTRA,
    FACTORS,
    Factor,
    FactorTable,
    compute_ramp_share,
    list_factors,
    make_factor_table,
)
from capture.share.fit import Coefficients, ShareFit, fit_share, make_prior
from capture.share.known import KnownSites, check_known_sites, load_known_sites
from capture.share.measure import compute_factors, measure_sites
from capture.share.predict import ShareDraws, predict_share
from capture.share.values import VALUES

__all__ = [
    "CORE",
    "EXTRA",
    "FACTORS",
    "VALUES",
    "Coefficients",
    "Factor",
    "FactorTable",
    "KnownSites",
    "ShareDraws",
    "ShareFit",
    "check_known_sites",
    "compute_factors",
    "compute_ramp_share",
    "fit_share",
    "list_factors",
    "load_known_sites",
    "make_factor_table",
    "make_prior",
    "measure_sites",
    "predict_share",
]
