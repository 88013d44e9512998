"""Which draws of the coefficients respect the declared signs and the full lines?

A mixture of Gaussians cut down to a box. Rejection comes first: each world keeps its
first candidate inside the box, so worlds line up when a row is edited. Worlds still
empty after many tries take a Gibbs walk instead. How much was rejected is reported.
A site whose line was full tells only that its demand was at least what it washed; that
demand is then one more unknown, and the box holds it above.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import log_ndtr, ndtri_exp

from capture.basis import FitError, Worlds

FloatArray = NDArray[np.float64]

MOST_TRIES: Final = 256
#: tries where hardly any of so many probes falls inside the box
FEW_TRIES: Final = 16
PROBES: Final = 512
LEAST_INSIDE: Final = 0.01
SWEEPS: Final = 150
_NODE_EVERY: Final = 3
_CHUNK: Final = 500


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxMixture:
    """A mixture of Gaussians over P unknowns, cut down to a box."""

    #: log weight of each part before the cut, shape (K,)
    log_weight: FloatArray
    #: mean of each part before the cut, shape (K, P)
    mean: FloatArray
    #: square factor F of each part's precision F'F, shape (K, P, P)
    factor: FloatArray
    #: least value of each unknown, shape (P,)
    low: FloatArray
    #: greatest value of each unknown, shape (P,)
    high: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxDraws:
    """Draws from a cut mixture."""

    #: the unknowns, shape (n, P)
    value: FloatArray
    #: which part each draw came from, shape (n,)
    node: NDArray[np.int64]
    #: part of the candidates that fell outside the box
    rejected_share: float
    #: draws that took the Gibbs walk
    walked: int


def draw_box(box: BoxMixture, worlds: Worlds, *, quantity: str) -> BoxDraws:
    """Draw from a cut mixture, keyed by world.

    Parameters
    ----------
    box : BoxMixture
    worlds : Worlds
        Seed and number of draws.
    quantity : str
        Key of the draws.

    Returns
    -------
    BoxDraws

    Raises
    ------
    FitError
        When the box holds next to none of the mixture, so that signs and rows contradict.

    Notes
    -----
    Candidate t of world i comes from row i of the generator keyed (quantity, t), so the
    first n of more draws are the same n. Gibbs: each unknown from its normal cut to the
    box given the others, and every third sweep the part given all unknowns.

    References
    ----------
    Geweke, "Efficient simulation from the multivariate normal and Student-t distributions
    subject to linear constraints", Computing Science and Statistics 23, 1991.
    """
    count, width = worlds.draws, box.mean.shape[1]
    spread: FloatArray = np.asarray(np.linalg.inv(box.factor), dtype=np.float64)
    steps = np.cumsum(np.exp(box.log_weight))
    value, node = np.empty((count, width)), np.zeros(count, dtype=np.int64)
    pending, tried = np.arange(count), 0

    def propose(normal: FloatArray) -> tuple[FloatArray, NDArray[np.int64], NDArray[np.bool_]]:
        picked = _pick(normal[:, 0], steps)
        drawn = box.mean[picked] + _apply(spread, picked, normal[:, 1:])
        inside = np.asarray((drawn >= box.low) & (drawn <= box.high))
        return drawn, picked, np.asarray(inside.all(axis=1))

    # how often to try is told by probes of their own, so that it hangs on no number of worlds
    probes = worlds.generator(quantity, "probe").standard_normal((PROBES, width + 1))
    hopeless = propose(probes)[2].mean() < LEAST_INSIDE
    for attempt in range(FEW_TRIES if hopeless else MOST_TRIES):
        generator = worlds.generator(quantity, f"try {attempt}")
        candidates = generator.standard_normal((count, width + 1))[pending]
        value[pending], node[pending], inside = propose(candidates)
        tried += pending.size
        pending = pending[~inside]
        if not pending.size:
            break
    kept = count - pending.size
    if pending.size:
        value[pending], node[pending] = _walk(box, worlds, quantity, value[pending], pending)
    if not np.isfinite(value).all():
        raise FitError("the declared signs and the known sites contradict each other; check both")
    return BoxDraws(
        value=value, node=node, rejected_share=1 - kept / tried, walked=int(pending.size)
    )


def _pick(normal: FloatArray, steps: FloatArray) -> NDArray[np.int64]:
    uniform = np.exp(log_ndtr(normal))
    place = np.searchsorted(steps, uniform * steps[-1])
    return np.asarray(np.minimum(place, len(steps) - 1), dtype=np.int64)


def _apply(matrices: FloatArray, node: NDArray[np.int64], vectors: FloatArray) -> FloatArray:
    """Multiply each vector by the matrix of its node, one matrix product a node."""
    out = np.empty_like(vectors)
    for part in np.unique(node):
        chosen = node == part
        out[chosen] = vectors[chosen] @ matrices[part].T
    return out


def _walk(
    box: BoxMixture,
    worlds: Worlds,
    quantity: str,
    start: FloatArray,
    which: NDArray[np.int64],
) -> tuple[FloatArray, NDArray[np.int64]]:
    width = start.shape[1]
    precision = np.einsum("kij,kil->kjl", box.factor, box.factor)
    value = np.clip(start, box.low, box.high)
    names = [f"unknown {column}" for column in range(width)]
    node = np.zeros(len(value), dtype=np.int64)
    level = box.log_weight + np.linalg.slogdet(box.factor)[1]
    for sweep in range(SWEEPS):
        uniform = worlds.uniform(f"{quantity} walk {sweep}", ["part", *names])[:, which]
        if sweep % _NODE_EVERY == 0:
            node = _walk_node(box, level, value, uniform[0])
            matrix, centre = precision[node], box.mean[node]
        for column in range(width):
            apart = np.einsum("ij,ij->i", matrix[:, column], value - centre)
            own = matrix[:, column, column]
            middle = value[:, column] - apart / own
            limits = (box.low[column], box.high[column])
            value[:, column] = _cut_normal(middle, 1 / np.sqrt(own), limits, uniform[column + 1])
    return value, node


def _walk_node(
    box: BoxMixture, level: FloatArray, value: FloatArray, uniform: FloatArray
) -> NDArray[np.int64]:
    if len(value) > _CHUNK:
        # small products, since threads that wait for each other cost more than they give
        pieces = range(0, len(value), _CHUNK)
        slices = [slice(first, first + _CHUNK) for first in pieces]
        return np.concatenate([_walk_node(box, level, value[s], uniform[s]) for s in slices])
    logs = np.empty((len(level), len(value)))
    for part, factor in enumerate(box.factor):
        apart = (value - box.mean[part]) @ factor.T
        logs[part] = level[part] - 0.5 * np.einsum("ij,ij->i", apart, apart)
    chances = np.cumsum(np.exp(logs - logs.max(axis=0)), axis=0)
    return np.asarray((chances < uniform * chances[-1]).sum(axis=0), dtype=np.int64)


def _cut_normal(
    mean: FloatArray, sd: FloatArray, limits: tuple[float, float], uniform: FloatArray
) -> FloatArray:
    """Draw normals cut to an interval, exact far out in either tail."""
    low, high = (limits[0] - mean) / sd, (limits[1] - mean) / sd
    # work in the lower tail, where log probabilities keep their digits
    flip = low > 0
    bottom, top = np.where(flip, -high, low), np.where(flip, -low, high)
    log_bottom, log_top = log_ndtr(bottom), log_ndtr(top)
    above = np.where(flip, uniform, 1 - uniform)
    log_share = log_top + np.log1p(above * np.expm1(np.minimum(log_bottom - log_top, 0)))
    drawn = np.clip(ndtri_exp(np.minimum(log_share, 0)), bottom, top)
    return np.asarray(mean + sd * np.where(flip, -drawn, drawn))
