"""What part of the cars passing is washed: factors, starter sheet, regression, explanation."""

from capture.share.backtest import BackTest, back_test
from capture.share.by_stream import compare_change, share_by_stream
from capture.share.check import (
    Influence,
    LeftOutCheck,
    check_left_out,
    compare_ranges,
    compute_influence,
    leave_out,
)
from capture.share.design import make_prior
from capture.share.explain import (
    Learned,
    Step,
    compare_formats,
    explain_learning,
    explain_site,
    say_share,
)
from capture.share.factors import (
    CORE,
    EXTRA,
    FACTORS,
    Factor,
    compute_ramp_share,
    list_factors,
    say_factor,
)
from capture.share.fit import Coefficients, ShareFit, fit_share
from capture.share.intake import Intake, fill_measures, read_pasted, take_in
from capture.share.known import KnownSites, check_known_sites, load_known_sites
from capture.share.learn import learn_elasticity, learn_level
from capture.share.measure import compute_factors, measure_sites
from capture.share.members import (
    Rates,
    TwoStreams,
    draw_rates,
    simulate_members,
    split_cars,
    spread_members,
)
from capture.share.predict import ShareDraws, predict_share
from capture.share.reach import Hope, Unlikeness, find_needed, measure_unlikeness
from capture.share.second_site import (
    Lengthening,
    Moved,
    SecondSite,
    compare_lengthening,
    compute_shared_stream_share,
    estimate_moved,
    judge_second_site,
)
from capture.share.store import load_fit, save_fit
from capture.share.table import FactorTable, make_factor_table
from capture.share.two_streams import fit_streams, predict_streams
from capture.share.values import VALUES, make_stream_sheet, replace_constants

__all__ = [
    "CORE",
    "EXTRA",
    "FACTORS",
    "VALUES",
    "BackTest",
    "Coefficients",
    "Factor",
    "FactorTable",
    "Hope",
    "Influence",
    "Intake",
    "KnownSites",
    "Learned",
    "LeftOutCheck",
    "Lengthening",
    "Moved",
    "Rates",
    "SecondSite",
    "ShareDraws",
    "ShareFit",
    "Step",
    "TwoStreams",
    "Unlikeness",
    "back_test",
    "check_known_sites",
    "check_left_out",
    "compare_change",
    "compare_formats",
    "compare_lengthening",
    "compare_ranges",
    "compute_factors",
    "compute_influence",
    "compute_ramp_share",
    "compute_shared_stream_share",
    "draw_rates",
    "estimate_moved",
    "explain_learning",
    "explain_site",
    "fill_measures",
    "find_needed",
    "fit_share",
    "fit_streams",
    "judge_second_site",
    "learn_elasticity",
    "learn_level",
    "leave_out",
    "list_factors",
    "load_fit",
    "load_known_sites",
    "make_factor_table",
    "make_prior",
    "make_stream_sheet",
    "measure_sites",
    "measure_unlikeness",
    "predict_share",
    "predict_streams",
    "read_pasted",
    "replace_constants",
    "save_fit",
    "say_factor",
    "say_share",
    "share_by_stream",
    "simulate_members",
    "split_cars",
    "spread_members",
    "take_in",
]
