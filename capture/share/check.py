"""How far off is the share at sites whose cars are known, and which of them pull it about?

Each known site, and each known town, is told from all the others and compared with what
it did wash; leaving rows out by hand refits. Assumes the rows are comparable: a row far
outside its prediction is named, never dropped.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from capture.basis import FitError
from capture.share.design import make_rows
from capture.share.factors import FloatArray
from capture.share.fit import ShareFit, fit_share
from capture.share.known import KnownSites
from capture.share.left_out import LeftOut, leave_out_rows
from capture.share.mixture import Mixture, Rows
from capture.share.normals import mixture_quantile

#: part of rows that would be called outliers if all were well
OUTLIER_SHARE: Final = 0.01
Unit = Literal["site", "town"]


@dataclass(frozen=True, slots=True, kw_only=True)
class LeftOutCheck:
    """Known sites told from the others: the data of a calibration plot."""

    #: what was left out together
    unit: Unit
    #: names of the sites, n of them
    ids: tuple[str, ...]
    #: share that each did wash, shape (n,)
    observed: FloatArray
    #: median of its prediction, 5th and 95th percentile, each of shape (n,)
    predicted: FloatArray
    #: see ``predicted``
    low: FloatArray
    #: see ``predicted``
    high: FloatArray
    #: where the site fell in its prediction, 0-1, shape (n,)
    rank_share: FloatArray
    #: log density of the site under its prediction, shape (n,)
    log_score: FloatArray

    @property
    def error_log(self) -> FloatArray:
        """Log of observed over predicted, shape (n,)."""
        return np.asarray(np.log(self.observed / self.predicted))

    @property
    def typical_error(self) -> float:
        """Median of the factor, above 1, by which a prediction was off."""
        return float(np.exp(np.median(np.abs(self.error_log))))

    @property
    def bias(self) -> float:
        """Typical observed over predicted; above 1 when predictions run low."""
        return float(np.exp(self.error_log.mean()))

    def inside_share(self, width: float) -> float:
        """Return which part of the sites fell in the middle ``width`` of its prediction."""
        return float((np.abs(self.rank_share - 0.5) <= width / 2).mean())

    def say(self) -> str:
        """Say it in one sentence."""
        told = "the other sites" if self.unit == "site" else "the other towns"
        return (
            f"Told from {told}, half of the {len(self.ids)} known sites came out within a "
            f"factor of {self.typical_error:.2f}; {self.inside_share(0.9):.0%} of them fell "
            "inside their 90 % range."
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Influence:
    """What one known site does to the fit."""

    #: name of the site
    id: str
    #: line of the file
    row: int
    #: log of observed over predicted from the others
    error_log: float
    #: where it fell in its prediction from the others, 0-1
    rank_share: float
    #: change of the typical known site's share when it is left out, as a share of it
    moves_share: float
    #: factor whose coefficient it moves most, in its posterior sds, and by how many
    moves_factor: str
    #: see ``moves_factor``
    moves_sds: float
    #: whether it fell in the outer one per cent of its prediction
    is_outlier: bool


def check_left_out(fit: ShareFit, unit: Unit = "site") -> LeftOutCheck:
    """Tell each known site from the other sites, or from the other towns.

    Parameters
    ----------
    fit : ShareFit
        Holding its known sites, two or more of them without a full line.
    unit : {"site", "town"}
        What is left out together; a site without a town is a town of its own.

    Returns
    -------
    LeftOutCheck

    Raises
    ------
    FitError
        When the fit has no such known sites.
    """
    known, rows, mixture = _open(fit)
    blocks = None
    if unit == "town":
        names = [town or f"\x1f{place}" for place, town in enumerate(known.towns)]
        blocks = [np.flatnonzero(np.array(names) == name) for name in dict.fromkeys(names)]
    told = leave_out_rows(rows, mixture, blocks)
    level = np.log(known.share) - rows.target
    return LeftOutCheck(
        unit=unit,
        ids=known.ids,
        observed=known.share,
        predicted=np.exp(level + told.quantile(0.5)),
        low=np.exp(level + told.quantile(0.05)),
        high=np.exp(level + told.quantile(0.95)),
        rank_share=told.rank_share(),
        log_score=told.log_score(),
    )


def compute_influence(fit: ShareFit) -> list[Influence]:
    """Say for each known site how much it moves the fit, greatest first.

    Raises
    ------
    FitError
        When the fit has fewer than two known sites without a full line.
    """
    known, rows, mixture = _open(fit)
    told: LeftOut = leave_out_rows(rows, mixture)
    mean = mixture.coefficient_mean()
    sd = np.sqrt(np.diag(mixture.coefficient_covariance()))
    typical = rows.design.mean(axis=0)
    moved = np.exp((told.coefficient - mean) @ typical) - 1
    first = len(mean) - len(fit.names)
    with np.errstate(invalid="ignore", divide="ignore"):
        by_sd = np.nan_to_num((told.coefficient - mean)[:, first:] / sd[first:])
    ranks = told.rank_share()
    found = []
    for place, name in enumerate(known.ids):
        most = int(np.argmax(np.abs(by_sd[place])))
        found.append(
            Influence(
                id=name,
                row=int(known.row[place]),
                error_log=float(rows.target[place] - told.predicted()[place]),
                rank_share=float(ranks[place]),
                moves_share=float(moved[place]),
                moves_factor=fit.names[most],
                moves_sds=float(by_sd[place, most]),
                is_outlier=bool(abs(ranks[place] - 0.5) > 0.5 - OUTLIER_SHARE / 2),
            )
        )
    return sorted(found, key=lambda each: -abs(each.moves_share))


def leave_out(fit: ShareFit, ids: Sequence[str]) -> ShareFit:
    """Refit without some known sites, all else the same.

    Raises
    ------
    DataError
        When a name is not among the known sites.
    FitError
        When the fit was loaded without its known sites.
    """
    if fit.known is None:
        raise FitError("the fit was kept without its known sites; load it with them")
    return fit_share(
        fit.known.leave_out(ids),
        factors=fit.names,
        selection=fit.selection_sd > 0,
        keep_signs=fit.keep_signs,
        values=fit.values,
        stream=fit.stream,
    )


def _open(fit: ShareFit) -> tuple[KnownSites, Rows, Mixture]:
    if fit.known is None:
        raise FitError("the fit was kept without its known sites; load it with them")
    kept: NDArray[np.intp] = np.flatnonzero(~fit.known.at_capacity & (fit.known.weight > 0))
    if kept.size < 2:
        raise FitError(
            f"leaving out needs at least 2 known sites with room on their line, got {kept.size}; "
            "add rows"
        )
    known = fit.known.take(kept)
    rows, _ = make_rows(known, fit.names, values=fit.values)
    return known, rows, fit.mixture


def compare_ranges(before: ShareFit, after: ShareFit, design: FloatArray) -> tuple[float, str]:
    """Say what added or removed rows did to the range of one site's share.

    Parameters
    ----------
    before, after : ShareFit
        Fits with the same factors.
    design : ndarray, shape (p,)
        The site's columns, as :func:`capture.share.design.make_design` makes them.

    Returns
    -------
    tuple of (float, str)
        Width after over width before, on the log scale, and one sentence; a surprising row
        may widen the range, and then the sentence says so.
    """
    widths = []
    for fit in (before, after):
        mean, sd = fit.mixture.predict_parts(np.atleast_2d(design))
        ends = [
            float(mixture_quantile(share, fit.mixture.weight, mean[:, 0], sd[:, 0]))
            for share in (0.05, 0.95)
        ]
        widths.append(ends[1] - ends[0])
    ratio = widths[1] / widths[0]
    said = f"The range went from x {np.exp(widths[0]):.1f} to x {np.exp(widths[1]):.1f}"
    if ratio > 1 and after.known_count > before.known_count:
        said += ": a row that was added surprised the rest, so sites alike are taken to differ more"
    return ratio, said + "."
