r"""What does a road without a count carry?

A log-linear estimate in class, lanes, speed, ramps, one-way and through trips. Its prior is
the table of typical volumes, so that without any count it gives that table with its spread,
and counts move it from there. The spread about the line is integrated over a grid, then
scaled, for bigger roads, collectors and local streets apart, by how far roads held out in
space fell from what was said.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import logsumexp

from capture.basis import FitError, Sheet
from capture.passing.values import CLASSES, VALUES

if TYPE_CHECKING:
    from capture.place import Network

FloatArray = NDArray[np.float64]
Z95: Final = 1.6448536269514722
NODES: Final = 48
LOW_SIGMA, HIGH_SIGMA = 0.05, 1.5
#: columns of the design after the level and one per class
EXTRA: Final = ("lanes", "speed", "through", "link", "oneway")
#: groups of classes whose spread is scaled apart: first class of each
GROUPS: Final = (0, CLASSES.index("tertiary"), CLASSES.index("unclassified"))
LEAST_SCALE, MOST_SCALE = 0.6, 3.0
#: good misses by which a group's scale is drawn towards 1
DRAWN_BY: Final = 8.0
#: reference speeds of the classes, m/s (62 to 12 miles an hour, as the roads default to)
_SPEEDS_MPS: Final = np.array([27.7, 22.4, 17.9, 15.6, 14.3, 12.5, 11.2, 4.5, 5.4])


@dataclass(frozen=True, slots=True, kw_only=True)
class Fill:
    """A fitted gap-filling line."""

    #: names of the columns of the design, (k,)
    names: tuple[str, ...]
    #: posterior mean for each spread of the grid, (nodes, k)
    means: FloatArray
    #: posterior covariance for each spread, (nodes, k, k)
    covariances: FloatArray
    #: spreads of the grid, (nodes,)
    sigmas: FloatArray
    #: posterior weight of each, (nodes,)
    weights: FloatArray
    #: counts it rests on
    counts: int
    #: factor by which held-out roads scale the spread, by group of ``GROUPS``
    scale: FloatArray
    #: one row per count: log count, held-out mean and sd
    held_out: pd.DataFrame

    def predict(self, design: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return mean and sd of ln(vehicles a day) for rows of a design, shapes (m,)."""
        mean, covariance = self._moments()
        variance = np.einsum("mi,mi->m", design @ covariance, design)
        variance += self.weights @ self.sigmas**2
        scale = self.scale[find_group(design)]
        return np.asarray(design @ mean), np.asarray(np.sqrt(variance) * scale)

    def _moments(self) -> tuple[FloatArray, FloatArray]:
        """Return mean and covariance of the coefficients over all spreads, (k,) and (k, k)."""
        mean = self.weights @ self.means
        off = self.means - mean
        covariance = np.einsum("s,sij->ij", self.weights, self.covariances)
        covariance += np.einsum("s,si,sj->ij", self.weights, off, off)
        return np.asarray(mean), np.asarray(covariance)

    @property
    def shared_sd(self) -> float:
        """Posterior sd of the area's level, which all estimated roads share."""
        return math.sqrt(float(self._moments()[1][0, 0]))

    def misses(self) -> FloatArray:
        """Return how many of its own spreads each held-out count fell off, shape (m,)."""
        held = self.held_out.dropna()
        spread = held["sd"] * self.scale[held["group"].to_numpy()]
        off = (held["log_count"] - held["mean"]) / np.hypot(spread, held["count_sd"])
        return np.asarray(off, dtype=np.float64)

    def table(self) -> pd.DataFrame:
        """Return each column's mean and sd, one row each."""
        mean, covariance = self._moments()
        sd = np.sqrt(np.diag(covariance))
        return pd.DataFrame({"term": self.names, "mean": mean, "sd": sd})

    def describe(self) -> str:
        """Say what it rests on in one sentence."""
        if self.counts == 0:
            return "estimated from typical volumes by road class, no count in the area"
        sigma = float(self.weights @ self.sigmas)
        return (
            f"estimated from class, lanes, speed and through trips, set by {self.counts} counts, "
            f"roads scatter {sigma:.2f} about it on the log scale"
        )


def make_design(network: Network, through: FloatArray) -> tuple[FloatArray, tuple[str, ...]]:
    """Make one design row per road piece, shape (G, k), and the names of its columns."""
    own = np.asarray(network.segment_class, dtype=np.int64)
    size = len(own)
    lanes = np.log(np.clip(network.segment_lanes, 1, 16) / 2)
    speed = _segment_speed(network)
    columns = [np.ones(size), *(1.0 * (own == k) for k in range(len(CLASSES)))]
    columns += [
        lanes,
        np.clip(np.log(speed / _SPEEDS_MPS[own]), -1, 1),
        center_through(through, own),
        1.0 * np.asarray(network.segment_link),
        1.0 * (np.asarray(network.segment_oneway) & (own > 0)),
    ]
    return np.column_stack(columns), ("level", *CLASSES, *EXTRA)


def _segment_speed(network: Network) -> FloatArray:
    speed = np.zeros(network.segments)
    np.maximum.at(speed, network.edge_segment, network.edge_speed_mps)
    return np.where(speed > 0, speed, 10.0)


def center_through(through: FloatArray, classes: NDArray[np.int64]) -> FloatArray:
    """Return ln of through trips about the class's median, in standard deviations."""
    positive = through[through > 0]
    if len(positive) == 0:
        return np.zeros(len(through))
    log = np.log(through + 0.05 * float(np.median(positive)))
    out = np.zeros(len(through))
    for k in np.unique(classes):
        of = classes == k
        out[of] = log[of] - np.median(log[of])
    spread = float(out.std())
    return np.clip(out / spread, -3, 3) if spread > 0 else out


def make_prior(values: Sheet = VALUES) -> tuple[FloatArray, FloatArray]:
    """Return prior mean and variance of the design's coefficients, each shape (k,)."""
    mean = [0.0]
    variance = [values.value("level_log_sd") ** 2]
    for name in CLASSES:
        mean.append(math.log(values.value(f"class_{name}_veh_day")))
        variance.append(values.value("class_log_sd") ** 2)
    for key in ("lanes_power", "speed_power", "through_power", "link_log", "oneway_log"):
        entry = values[key]
        mean.append(entry.value)
        variance.append(max((entry.high - entry.low) / (2 * Z95), 1e-3) ** 2)
    return np.array(mean), np.array(variance)


def fit_fill(
    design: FloatArray,
    log_counts: FloatArray,
    count_sd: FloatArray,
    names: tuple[str, ...],
    *,
    blocks: NDArray[np.int64] | None = None,
    values: Sheet = VALUES,
) -> Fill:
    r"""Fit the line to counts.

    Parameters
    ----------
    design : ndarray of float, shape (n, k)
        Rows of the counted road pieces; n may be 0.
    log_counts : ndarray of float, shape (n,)
        ln of vehicles a day.
    count_sd : ndarray of float, shape (n,)
        Standard deviation of each.
    names : tuple of str
        Columns.
    blocks : ndarray of int, shape (n,), optional
        Which block of ground each count lies in; each is held out in turn.

    Raises
    ------
    FitError
        When a count is not finite.

    Notes
    -----
    :math:`\ln v_i = x_i\beta + e_i`, :math:`e_i \sim N(0, \sigma^2 + s_i^2)`,
    :math:`\beta \sim N(m_0, V_0)`; :math:`\ln\sigma` is normal and taken on a grid, on which
    all is Gaussian and exact.
    """
    if not (np.isfinite(log_counts).all() and np.isfinite(design).all()):
        raise FitError("gap filling: counts and road attributes must be finite; clean the counts")
    prior = make_prior(values)
    means, covariances, sigmas, weights = _posterior(design, log_counts, count_sd, prior, values)
    held = _hold_out(design, log_counts, count_sd, prior, blocks, values)
    return Fill(
        names=names,
        means=means,
        covariances=covariances,
        sigmas=sigmas,
        weights=weights,
        counts=len(log_counts),
        scale=_scale(held),
        held_out=held,
    )


def _posterior(
    design: FloatArray,
    y: FloatArray,
    sd: FloatArray,
    prior: tuple[FloatArray, FloatArray],
    values: Sheet,
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    mean0, variance0 = prior
    sigmas = np.exp(np.linspace(math.log(LOW_SIGMA), math.log(HIGH_SIGMA), NODES))
    entry = values["residual_log"]
    wide = max((math.log(entry.high) - math.log(entry.low)) / (2 * Z95), 1e-3)
    log_weight = -0.5 * ((np.log(sigmas) - math.log(entry.value)) / wide) ** 2
    off = y - design @ mean0
    means, covariances = [], []
    for k, sigma in enumerate(sigmas):
        noise = sigma**2 + sd**2
        scaled = design / noise[:, None]
        precision = design.T @ scaled + np.diag(1 / variance0)
        factor = np.linalg.cholesky(precision)
        inverse = np.linalg.inv(factor)
        covariance = inverse.T @ inverse
        pull = scaled.T @ off
        shift = covariance @ pull
        means.append(mean0 + shift)
        covariances.append(covariance)
        fit = off @ (off / noise) - pull @ shift
        det = np.log(noise).sum() + 2 * np.log(np.diag(factor)).sum() + np.log(variance0).sum()
        log_weight[k] -= 0.5 * (fit + det)
    weights = np.exp(log_weight - logsumexp(log_weight))
    return np.array(means), np.array(covariances), sigmas, weights


def _hold_out(
    design: FloatArray,
    y: FloatArray,
    sd: FloatArray,
    prior: tuple[FloatArray, FloatArray],
    blocks: NDArray[np.int64] | None,
    values: Sheet,
) -> pd.DataFrame:
    mean, spread = np.full(len(y), np.nan), np.full(len(y), np.nan)
    if blocks is not None and len(y) >= 5:
        for block in np.unique(blocks):
            out = blocks == block
            if out.all():
                continue
            post = _posterior(design[~out], y[~out], sd[~out], prior, values)
            part = Fill(
                names=(), means=post[0], covariances=post[1], sigmas=post[2], weights=post[3],
                counts=0, scale=np.ones(len(GROUPS)), held_out=pd.DataFrame(),
            )  # fmt: skip
            mean[out], spread[out] = part.predict(design[out])
    return pd.DataFrame(
        {
            "log_count": y,
            "count_sd": sd,
            "mean": mean,
            "sd": spread,
            "group": find_group(design),
        }
    )


def find_group(design: FloatArray) -> NDArray[np.int64]:
    """Return the group of ``GROUPS`` of each row of a design."""
    own = np.argmax(design[:, 1 : 1 + len(CLASSES)], axis=1)
    return np.asarray(np.searchsorted(np.array(GROUPS), own, side="right") - 1, dtype=np.int64)


def _scale(held: pd.DataFrame) -> FloatArray:
    """Scale each group by the root mean square of its held-out misses, drawn towards 1."""
    off = held["log_count"] - held["mean"]
    miss = (off**2 / (held["sd"] ** 2 + held["count_sd"] ** 2)).to_numpy(dtype=np.float64)
    good, group = np.isfinite(miss), held["group"].to_numpy()
    scale = np.ones(len(GROUPS))
    for k in range(len(GROUPS)):
        of = good & (group == k)
        mean_square = (float(miss[of].sum()) + DRAWN_BY) / (int(of.sum()) + DRAWN_BY)
        scale[k] = min(max(math.sqrt(mean_square), LEAST_SCALE), MOST_SCALE)
    return scale


def make_blocks(x: FloatArray, y: FloatArray, *, most: int = 10) -> NDArray[np.int64]:
    """Part points into blocks of ground that lie together, by halving the widest block.

    Examples
    --------
    >>> blocks = make_blocks(np.arange(8.0), np.zeros(8), most=2)
    >>> blocks.tolist()
    [0, 0, 0, 0, 1, 1, 1, 1]
    """
    block = np.zeros(len(x), dtype=np.int64)
    while block.max(initial=0) + 1 < min(most, len(x) // 2):
        biggest = int(np.bincount(block).argmax())
        of = np.flatnonzero(block == biggest)
        axis = x if np.ptp(x[of]) >= np.ptp(y[of]) else y
        order = of[np.argsort(axis[of], kind="stable")]
        block[order[len(order) // 2 :]] = block.max() + 1
    return block
