"""What do the known sites say about the coefficients, whatever the spread between sites?

Linear regression with a normal prior on each coefficient, known extra variance per row,
one shared effect per group (operator), and a spread sigma integrated over nodes. Given
sigma all is Gaussian, so the posterior is an exact finite mixture. Solved by QR of the
whitened rows with the prior as further rows, never by normal equations; group effects
are integrated out by a whitening of rank one per group, so cost is linear in rows.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import logsumexp

from capture.basis import FitError, InputError

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

#: numbers held at once by one batch of decompositions
_BATCH: Final = 4_000_000
#: a diagonal of R below this part of the largest counts as no information
_RANK_TOLERANCE: Final = 1e-13


@dataclass(frozen=True, slots=True, kw_only=True)
class Prior:
    """What is believed before any row: normal coefficients, sigma on nodes, group effects."""

    #: mean of each coefficient, shape (p,)
    mean: FloatArray
    #: sd of each coefficient, shape (p,); 0 holds it fixed, inf says nothing
    sd: FloatArray
    #: nodes of sigma, shape (K,)
    sigma: FloatArray
    #: log of each node's prior weight, shape (K,), summing to 1 on the plain scale
    log_weight: FloatArray
    #: sd of a group's shared effect; 0 for none
    group_sd: float = 0.0

    def __post_init__(self) -> None:
        if self.mean.shape != self.sd.shape or (self.sd < 0).any() or np.isnan(self.sd).any():
            raise InputError("prior: mean and sd must have one number a coefficient, sd >= 0")
        if self.sigma.shape != self.log_weight.shape or not (self.sigma > 0).all():
            raise InputError("prior: sigma nodes must be above 0, each with a weight")


@dataclass(frozen=True, slots=True, kw_only=True)
class Rows:
    """Training rows: target = design @ coefficients + group effect + error."""

    #: shape (n, p)
    design: FloatArray
    #: shape (n,)
    target: FloatArray
    #: variance that a row carries on top of sigma squared, shape (n,)
    variance: FloatArray
    #: group of each row, 0 ... G - 1, shape (n,)
    group: IntArray
    #: power that a row's likelihood is raised to, shape (n,)
    weight: FloatArray

    @classmethod
    def of(
        cls,
        design: ArrayLike,
        target: ArrayLike,
        *,
        variance: ArrayLike = 0.0,
        group: ArrayLike | None = None,
        weight: ArrayLike = 1.0,
    ) -> Rows:
        """Make rows; left out, no extra variance, each row a group of its own, weight 1."""
        matrix = np.asarray(design, dtype=np.float64)
        aim = np.asarray(target, dtype=np.float64)
        count = len(aim)
        own = np.arange(count) if group is None else group
        return cls(
            design=matrix,
            target=aim,
            variance=np.broadcast_to(np.asarray(variance, dtype=np.float64), (count,)),
            group=np.asarray(own, dtype=np.int64).reshape(count),
            weight=np.broadcast_to(np.asarray(weight, dtype=np.float64), (count,)),
        )

    def take(self, index: ArrayLike) -> Rows:
        """Return some of the rows."""
        rows = np.asarray(index)
        return Rows(
            design=self.design[rows],
            target=self.target[rows],
            variance=self.variance[rows],
            group=self.group[rows],
            weight=self.weight[rows],
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Mixture:
    """A finite mixture of Gaussians over coefficients, one part for each node of sigma."""

    #: what was believed before
    prior: Prior
    #: log of each part's weight, shape (K,)
    log_weight: FloatArray
    #: mean of the coefficients in each part, shape (K, p)
    mean: FloatArray
    #: upper triangular factor of the whitened precision of each part, shape (K, p, p)
    root: FloatArray
    #: log of the probability of the rows under the prior (up to a constant if improper)
    log_evidence: float
    #: columns of coefficient per unit of whitened coefficient, shape (p,)
    scale: FloatArray = field(repr=False)

    @property
    def weight(self) -> FloatArray:
        """Weight of each part, shape (K,)."""
        return np.asarray(np.exp(self.log_weight))

    def spread_root(self) -> FloatArray:
        """Return S of shape (K, p, p) with covariance of each part = S S'."""
        eye = np.broadcast_to(np.eye(len(self.scale)), self.root.shape)
        return np.asarray(self.scale[:, None] * np.linalg.solve(self.root, eye))

    def coefficient_mean(self) -> FloatArray:
        """Return the posterior mean of the coefficients, shape (p,)."""
        return np.asarray(self.weight @ self.mean)

    def coefficient_covariance(self) -> FloatArray:
        """Return the posterior covariance of the coefficients, shape (p, p)."""
        root = self.spread_root()
        within = np.einsum("k,kij,klj->il", self.weight, root, root)
        apart = self.mean - self.coefficient_mean()
        return np.asarray(within + np.einsum("k,ki,kj->ij", self.weight, apart, apart))

    def coefficient_parts(self, column: int) -> tuple[FloatArray, FloatArray]:
        """Return means and sds of one coefficient in each part, both shape (K,)."""
        row = self.spread_root()[:, column]
        return self.mean[:, column], np.sqrt((row**2).sum(axis=1))

    def predict_parts(
        self, design: FloatArray, *, new_group: bool = True, new_error: bool = True
    ) -> tuple[FloatArray, FloatArray]:
        """Return means and sds of new rows' targets in each part, both shape (K, m)."""
        mean = self.mean @ design.T
        variance = (np.einsum("kij,mi->kmj", self.spread_root(), design) ** 2).sum(axis=2)
        if new_group:
            variance = variance + self.prior.group_sd**2
        if new_error:
            variance = variance + self.prior.sigma[:, None] ** 2
        return mean, np.sqrt(variance)


def fit_mixture(rows: Rows, prior: Prior) -> Mixture:
    """Fit the exact mixture.

    Parameters
    ----------
    rows : Rows
        n training rows; none at all returns the prior.
    prior : Prior
        p coefficients and K nodes of sigma.

    Returns
    -------
    Mixture

    Raises
    ------
    InputError
        For values that are not finite, or negative variance or weight.
    FitError
        When the rows leave a coefficient with no prior undetermined.

    Notes
    -----
    Given sigma, row i has variance s_i^2 = sigma^2 + v_i. With D = diag(w_i / s_i^2), g the
    group vectors D^(1/2) 1 and t the group sd, whitened rows are
    (I - (1 - 1/sqrt(1 + t^2 g'g)) g g' / g'g) D^(1/2) [X L, y - X m0], over the prior rows
    [I, 0]; QR of that stack gives mean, precision root and residual in one go. The weight
    of a node is its prior weight times the probability of the rows given sigma.

    References
    ----------
    Golub and Van Loan, "Matrix Computations", 4th edition, 2013, section 5.3.
    Gelman et al., "Bayesian Data Analysis", 3rd edition, 2013, section 14.8.

    Examples
    --------
    >>> nodes = np.array([0.1, 0.2])
    >>> prior = Prior(mean=np.zeros(1), sd=np.ones(1), sigma=nodes, log_weight=np.log([0.5, 0.5]))
    >>> fit = fit_mixture(Rows.of([[1.0], [1.0]], [0.9, 1.1]), prior)
    >>> round(float(fit.coefficient_mean()[0]), 3)
    0.988
    """
    _check(rows, prior)
    scale = np.where(np.isinf(prior.sd), 1.0, prior.sd)
    held = np.isfinite(prior.sd).astype(np.float64)
    kept = rows.take(np.flatnonzero(rows.weight > 0))
    ordered = kept.take(np.argsort(kept.group, kind="stable"))
    stack = np.column_stack([ordered.design * scale, ordered.target - ordered.design @ prior.mean])
    size = stack.size + held.size**2 + 1
    step = max(1, _BATCH // size)
    parts = [
        _solve_nodes(stack, ordered, prior, held, slice(first, first + step))
        for first in range(0, len(prior.sigma), step)
    ]
    root, whitened, evidence = (np.concatenate(part) for part in zip(*parts, strict=True))
    joint = prior.log_weight + evidence
    total = float(logsumexp(joint))
    if not math.isfinite(total):
        raise FitError("the rows cannot be explained by any spread looked at; check their size")
    return Mixture(
        prior=prior,
        log_weight=joint - total,
        mean=prior.mean + scale * whitened,
        root=root,
        log_evidence=total,
        scale=scale,
    )


def _check(rows: Rows, prior: Prior) -> None:
    count, width = len(rows.target), len(prior.mean)
    if rows.design.shape != (count, width):
        raise InputError(
            f"design must have shape ({count}, {width}) (rows, coefficients), got "
            f"{rows.design.shape}; pass one column a coefficient"
        )
    for name in ("design", "target", "variance", "weight"):
        if not np.isfinite(getattr(rows, name)).all():
            raise InputError(f"{name} must be finite; take such rows out or mend them")
    if (rows.variance < 0).any() or (rows.weight < 0).any():
        raise InputError("variance and weight must be 0 or more; change such rows")


def shrink_groups(
    matrix: FloatArray, side: FloatArray, group: IntArray, group_sd: float
) -> tuple[FloatArray, FloatArray]:
    """Take each group's shared effect out of rows sorted by group.

    Parameters
    ----------
    matrix : ndarray, shape (K, n, m)
    side : ndarray, shape (K, n)
        Square root of each row's precision, g of the notes to :func:`fit_mixture`.
    group : ndarray of int, shape (n,)
        Sorted.
    group_sd : float
        t.

    Returns
    -------
    tuple of ndarray
        (I - (1 - 1/sqrt(1 + t^2 g'g)) g g' / g'g) matrix, shape (K, n, m), and
        the sum over groups of log(1 + t^2 g'g), shape (K,).
    """
    if group_sd == 0 or not len(group):
        return matrix, np.zeros(len(side))
    starts = np.flatnonzero(np.diff(group, prepend=-1))
    lengths = np.diff(np.append(starts, len(group)))
    inner = np.add.reduceat(side**2, starts, axis=1)
    grown = 1 + group_sd**2 * inner
    along = np.add.reduceat(side[:, :, None] * matrix, starts, axis=1)
    part = ((1 - 1 / np.sqrt(grown)) / inner)[:, :, None] * along
    shrunk = matrix - side[:, :, None] * np.repeat(part, lengths, axis=1)
    return shrunk, np.log(grown).sum(axis=1)


def _solve_nodes(
    stack: FloatArray, rows: Rows, prior: Prior, held: FloatArray, nodes: slice
) -> tuple[FloatArray, FloatArray, FloatArray]:
    spread = prior.sigma[nodes, None] ** 2 + rows.variance
    side = np.sqrt(rows.weight / spread)
    white, grown = shrink_groups(side[:, :, None] * stack, side, rows.group, prior.group_sd)
    level = -0.5 * (rows.weight * np.log(2 * np.pi * spread)).sum(axis=1) - 0.5 * grown
    width, count = len(held), len(white)
    below = np.zeros((count, width + 1, width + 1))
    below[:, range(width), range(width)] = held
    triangle = np.asarray(np.linalg.qr(np.concatenate([below, white], axis=1), mode="r"))
    turn = np.where(np.diagonal(triangle, axis1=1, axis2=2) < 0, -1.0, 1.0)
    upper: FloatArray = triangle * turn[:, :, None]
    root, aim = upper[:, :width, :width], upper[:, :width, width]
    diagonal = np.diagonal(root, axis1=1, axis2=2)
    if width and (diagonal <= _RANK_TOLERANCE * diagonal.max(axis=1, keepdims=True)).any():
        raise FitError(
            "the rows leave a coefficient undetermined; give it a prior or drop a column"
        )
    solved: FloatArray = np.asarray(np.linalg.solve(root, aim[:, :, None])[:, :, 0])
    evidence = level - 0.5 * upper[:, width, width] ** 2 - np.log(diagonal).sum(axis=1)
    return root, solved, evidence
