"""How well is each known site told from the others, and how much does it move the rest?

Exact, with no refitting: given sigma, what the other rows say of a row (or of a whole
town) follows from the inverse covariance of all rows; the weight of each sigma is
corrected by how likely it made what was left out. Signs are not cut here, and rows with
a full line, whose demand is not known, take no part.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import logsumexp

from capture.basis import InputError
from capture.share.mixture import FloatArray, Mixture, Rows, shrink_groups
from capture.share.normals import mixture_cdf, mixture_quantile


@dataclass(frozen=True, slots=True, kw_only=True)
class LeftOut:
    """What the rows outside each block say of the rows inside it."""

    #: rows' targets, shape (n,)
    target: FloatArray
    #: log weight of each node of sigma without the row's block, shape (K, n)
    log_weight: FloatArray
    #: mean and sd of the target in each part, both shape (K, n)
    mean: FloatArray
    #: see ``mean``
    sd: FloatArray
    #: mean of the coefficients without the row's block, shape (n, p)
    coefficient: FloatArray

    def predicted(self) -> FloatArray:
        """Return the mean of each target as told by the others, shape (n,)."""
        return np.asarray((np.exp(self.log_weight) * self.mean).sum(axis=0))

    def rank_share(self) -> FloatArray:
        """Return where each target fell in its prediction, 0-1, shape (n,)."""
        return mixture_cdf(self.target, np.exp(self.log_weight), self.mean, self.sd)

    def quantile(self, share: float) -> FloatArray:
        """Return a quantile of each prediction, shape (n,)."""
        return mixture_quantile(share, np.exp(self.log_weight), self.mean, self.sd)

    def log_score(self) -> FloatArray:
        """Return the log density of each target under its prediction, shape (n,)."""
        apart = (self.target - self.mean) / self.sd
        logs = self.log_weight - 0.5 * apart**2 - np.log(self.sd) - 0.5 * np.log(2 * np.pi)
        return np.asarray(logsumexp(logs, axis=0))


def leave_out_rows(
    rows: Rows, mixture: Mixture, blocks: Sequence[NDArray[np.int64]] | None = None
) -> LeftOut:
    """Predict each block of rows from the rows outside it, exactly.

    Parameters
    ----------
    rows : Rows
        The n rows that ``mixture`` was fitted to, each with weight above 0.
    mixture : Mixture
        Their fit.
    blocks : sequence of ndarray of int, optional
        Rows that are left out together, each row in exactly one block; left out, each
        row is its own block.

    Returns
    -------
    LeftOut

    Raises
    ------
    InputError
        When a row is in no block or in two, or has weight 0.

    Notes
    -----
    With C the covariance of all targets given sigma and a = C^-1 (y - X m0), a block B is
    told by the others as y_B - (C^-1_BB)^-1 a_B with covariance (C^-1_BB)^-1.

    References
    ----------
    Sundararajan and Keerthi, "Predictive approaches for choosing hyperparameters in Gaussian
    processes", Neural Computation 13, 2001, equations 4-5.
    """
    count = len(rows.target)
    chosen = [np.array([row]) for row in range(count)] if blocks is None else list(blocks)
    if sorted(int(row) for block in chosen for row in block) != list(range(count)):
        raise InputError("each row must be in exactly one block; mend the blocks")
    if not (rows.weight > 0).all():
        raise InputError("rows with weight 0 cannot be left out; take them out first")
    order = np.argsort(rows.group, kind="stable")
    back = np.argsort(order)
    inside = _Inside.of(rows.take(order), mixture)
    shape = (len(mixture.prior.sigma), count)
    mean, sd, logs = np.empty(shape), np.empty(shape), np.empty(shape)
    coefficient = np.empty((count, len(mixture.prior.mean)))
    for block in chosen:
        told = inside.leave(back[np.asarray(block, dtype=np.int64)])
        mean[:, block], sd[:, block] = told[0], told[1]
        logs[:, block] = told[2][:, None]
        coefficient[block] = told[3]
    return LeftOut(target=rows.target, log_weight=logs, mean=mean, sd=sd, coefficient=coefficient)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Inside:
    """Pieces of the inverse covariance of the rows, for each node of sigma."""

    rows: Rows
    mixture: Mixture
    #: square root of precisions, shape (K, n)
    side: FloatArray
    #: C^-1 = G^-1 - reach reach', shape (K, n, p)
    reach: FloatArray
    #: C^-1 (y - X m0), shape (K, n)
    pull: FloatArray
    #: t^2 / (1 + t^2 g'g) of each row's group, shape (K, n)
    shared: FloatArray
    #: factor of the coefficients' covariance, shape (K, p, p)
    root: FloatArray

    @classmethod
    def of(cls, rows: Rows, mixture: Mixture) -> _Inside:
        prior = mixture.prior
        side = np.sqrt(rows.weight / (prior.sigma[:, None] ** 2 + rows.variance))
        error = rows.target - rows.design @ prior.mean
        stack = np.column_stack([rows.design * mixture.scale, error])
        white, _ = shrink_groups(side[:, :, None] * stack, side, rows.group, prior.group_sd)
        turned = np.swapaxes(mixture.root, 1, 2)
        q = np.swapaxes(np.linalg.solve(turned, np.swapaxes(white[:, :, :-1], 1, 2)), 1, 2)
        along = np.einsum("knp,kn->kp", q, white[:, :, -1])
        left = white[:, :, -1] - np.einsum("knp,kp->kn", q, along)
        both = np.concatenate([q, left[:, :, None]], axis=2)
        spread, _ = shrink_groups(both, side, rows.group, prior.group_sd)
        spread = side[:, :, None] * spread
        starts = np.flatnonzero(np.diff(rows.group, prepend=-1))
        lengths = np.diff(np.append(starts, len(rows.group)))
        inner = np.repeat(np.add.reduceat(side**2, starts, axis=1), lengths, axis=1)
        variance = prior.group_sd**2
        return cls(
            rows=rows,
            mixture=mixture,
            side=side,
            reach=spread[:, :, :-1],
            pull=spread[:, :, -1],
            shared=variance / (1 + variance * inner),
            root=mixture.spread_root(),
        )

    def leave(
        self, block: NDArray[np.int64]
    ) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
        """Return means, sds, log weights and mean coefficients without a block."""
        rows, mixture = self.rows, self.mixture
        precision = self.side[:, block] ** 2
        same = rows.group[block][:, None] == rows.group[block]
        both = precision[:, :, None] * precision[:, None, :]
        inverse = np.eye(len(block)) * precision[:, :, None]
        inverse = inverse - same * self.shared[:, block, None] * both
        reach = self.reach[:, block]
        inverse = inverse - reach @ np.swapaxes(reach, 1, 2)
        pull = self.pull[:, block]
        apart = np.linalg.solve(inverse, pull[:, :, None])[:, :, 0]
        covariance = np.linalg.inv(inverse)
        # a row's own variance is that of weight 1, whatever power it was given
        spread = mixture.prior.sigma[:, None] ** 2 + rows.variance[block]
        own = spread * (1 - 1 / rows.weight[block])
        variance = np.diagonal(covariance, axis1=1, axis2=2) + own
        likely = 0.5 * np.linalg.slogdet(inverse)[1] - 0.5 * (pull * apart).sum(axis=1)
        weight = rows.weight[block]
        likely += 0.5 * ((1 - weight) * np.log(2 * np.pi * spread)).sum(axis=1)
        likely -= 0.5 * len(block) * np.log(2 * np.pi) + 0.5 * np.log(weight).sum()
        logs = mixture.log_weight - likely
        logs = logs - logsumexp(logs)
        along = (reach * apart[:, :, None]).sum(axis=1)
        without = mixture.mean - (self.root @ along[:, :, None])[:, :, 0]
        return (
            rows.target[block] - apart,
            np.sqrt(variance),
            logs,
            np.asarray(np.exp(logs) @ without),
        )
