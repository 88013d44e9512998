"""How are the known sites and the starter sheet put together into one belief on the share?

log cars - log(365 A) = log base_format + a + d_format + x beta + u_operator + e, the
exact mixture of :mod:`capture.share.mixture`. The error of a known site's count enters
its own row and nowhere else, so a new site's count error is counted once. Assumes that
factors act as multipliers and that sites alike in every factor differ by a lognormal.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from capture.basis import FORMATS, FitError, InputError, Sheet, Worlds
from capture.share.design import choose_factors, make_prior, make_rows
from capture.share.factors import FloatArray, list_factors
from capture.share.known import KnownSites
from capture.share.mixture import Mixture, Prior, Rows, fit_mixture
from capture.share.table import FactorTable
from capture.share.truncate import BoxDraws, BoxMixture, draw_box
from capture.share.values import VALUES

if TYPE_CHECKING:
    from capture.share.predict import ShareDraws

#: known sites per factor from which on a further factor may speak up
ROWS_PER_FACTOR: Final = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Operator:
    """What the rows tell of one operator's effect, given coefficients and sigma node."""

    #: name as in the known sites
    name: str
    #: mean of the effect = level - slope . coefficients, shapes (K,) and (K, p)
    level: FloatArray
    #: see ``level``
    slope: FloatArray
    #: sd of the effect, shape (K,)
    sd: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Coefficients:
    """Draws of what all sites share."""

    #: level common to all formats, then each format's own, then one per factor, (n, p)
    value: FloatArray
    #: sigma of each draw, shape (n,)
    sigma: FloatArray
    #: which node of sigma, shape (n,)
    node: NDArray[np.int64]
    #: effects of operators with a full line, by name, each of shape (n,)
    operator: Mapping[str, FloatArray]
    #: part of the candidates that broke a declared sign or a full line
    rejected_share: float
    #: draws that needed the slower walk
    walked: int


@dataclass(frozen=True, slots=True, kw_only=True)
class ShareFit:
    """The belief on the share: made by :func:`fit_share`, asked by :meth:`predict`."""

    #: names of the k factors
    names: tuple[str, ...]
    #: reference value of each, shape (k,)
    reference: FloatArray
    #: declared sign of each, shape (k,)
    sign: NDArray[np.int64]
    #: spread of each among sites, for those that do not tell it, shape (k,)
    spread: FloatArray
    #: washed share at the reference site by format, before the known sites
    base: Mapping[str, float]
    #: the exact posterior, untruncated
    mixture: Mixture
    #: operators with more to say than the prior
    operators: tuple[Operator, ...]
    #: design of rows with a full line, shape (c, p)
    full_design: FloatArray
    #: least log demand of those rows, their extra variance and operator's place (-1 none)
    full_target: FloatArray
    #: see ``full_target``
    full_variance: FloatArray
    #: see ``full_target``
    full_operator: NDArray[np.int64]
    #: half-normal sd of the discount for untried ground; 0 when switched off
    selection_sd: float
    #: whether draws respect the declared signs
    keep_signs: bool
    #: number of known sites, those with a full line included
    known_count: int
    #: further factors that still wait for more known sites
    waiting: tuple[str, ...]
    #: digest of the known sites; "" for none
    data_hash: str
    #: the known sites, None when the fit was loaded without them
    known: KnownSites | None
    #: the constants it was made with
    values: Sheet
    #: which cars it speaks of: all of them, or one of the two streams
    stream: str = "total"

    @property
    def parameters(self) -> tuple[str, ...]:
        """Names of the p coefficients."""
        return ("level", *(f"format {name}" for name in FORMATS), *self.names)

    @property
    def sigma(self) -> FloatArray:
        """Nodes of sigma, shape (K,)."""
        return self.mixture.prior.sigma

    def draw(self, worlds: Worlds) -> Coefficients:
        """Draw what all sites share, respecting declared signs and full lines.

        Raises
        ------
        FitError
            When signs and known sites contradict each other.
        """
        box, free, groups = _make_box(self)
        drawn: BoxDraws = draw_box(box, worlds, quantity=f"share coefficients {self.stream}")
        value = np.tile(self.mixture.prior.mean, (worlds.draws, 1))
        value[:, free] = drawn.value[:, : free.size]
        effects = drawn.value[:, free.size : free.size + len(groups)]
        return Coefficients(
            value=value,
            sigma=self.sigma[drawn.node],
            node=drawn.node,
            operator={self.operators[g].name: effects[:, i] for i, g in enumerate(groups)},
            rejected_share=drawn.rejected_share,
            walked=drawn.walked,
        )

    def predict(
        self,
        table: FactorTable,
        worlds: Worlds,
        site_ids: Sequence[str] | None = None,
        *,
        format: str = "exterior",
        bays: int = 1,
        residuals: bool = True,
        operator: str | None = None,
    ) -> ShareDraws:
        """Predict the washed share of S sites; see :func:`capture.share.predict_share`."""
        from capture.share.predict import predict_share

        return predict_share(
            self,
            table,
            worlds,
            site_ids,
            format=format,
            bays=bays,
            residuals=residuals,
            operator=operator,
        )

    def to_dict(self, *, with_known: bool = False) -> dict[str, Any]:
        """Return the fit as plain JSON values; see :mod:`capture.share.store`."""
        from capture.share.store import fit_to_dict

        return fit_to_dict(self, with_known=with_known)

    @classmethod
    def from_dict(cls, saved: Mapping[str, Any]) -> ShareFit:
        """Read a fit back from plain JSON values; see :mod:`capture.share.store`."""
        from capture.share.store import fit_from_dict

        return fit_from_dict(saved)


def fit_share(
    known: KnownSites | None = None,
    *,
    factors: Sequence[str] | None = None,
    selection: bool = True,
    keep_signs: bool = True,
    values: Sheet = VALUES,
    stream: str = "total",
) -> ShareFit:
    """Fit the share to the known sites, or take the starter sheet where there are none.

    Parameters
    ----------
    known : KnownSites, optional
        n rows.
    factors : sequence of str, optional
        Which factors take part; left out, the core ones and those further ones that the
        known sites tell in full.
    selection : bool
        Whether untried ground is discounted, since known sites were chosen and survived.
    keep_signs : bool
        Whether draws respect the declared signs.
    values : Sheet
        The share's constants; a coefficient the user has set is held fixed.
    stream : str
        Key of the draws, so that two fits of one site differ by more than their means.

    Returns
    -------
    ShareFit

    Raises
    ------
    InputError
        For an unknown factor.
    FitError
        When the rows cannot be explained at all.

    Examples
    --------
    >>> fit = fit_share()
    >>> fit.names[:3], fit.known_count
    (('log_vehicles', 'delay', 'sight'), 0)
    """
    names = choose_factors(known, factors)
    registry = list_factors(values)
    count = 0 if known is None else len(known)
    waiting = tuple(
        name for name in names if registry[name].is_extra and count < ROWS_PER_FACTOR * len(names)
    )
    prior = make_prior(names, values=values, tight=waiting)
    chosen = [registry[name] for name in names]
    base = {str(name): values.value(f"base_{name}_share") for name in FORMATS}
    rows, operators = make_rows(known, names, values=values)
    group, weight = rows.group, rows.weight
    full = np.zeros(0, dtype=np.bool_) if known is None else known.at_capacity
    if (full & (weight != 1) & (weight != 0)).any():
        raise InputError("a known site with a full line has weight 1 or 0; change its weight")
    mixture = fit_mixture(rows.take(~full), prior)
    cut = full & (weight > 0)
    told = {int(place) for place in group[~full | cut]}
    alike = prior.group_sd == 0  # then an operator has nothing to tell
    named = [place for place, name in enumerate(operators) if name and place in told and not alike]
    index = {place: position for position, place in enumerate(named)}
    return ShareFit(
        names=tuple(names),
        reference=np.array([factor.reference for factor in chosen]),
        sign=np.array([factor.sign for factor in chosen], dtype=np.int64),
        spread=np.array([factor.spread for factor in chosen]),
        base=base,
        mixture=mixture,
        operators=tuple(
            _tell_operator(operators[place], rows.take(~full & (group == place)), prior)
            for place in named
        ),
        full_design=rows.design[cut],
        full_target=rows.target[cut],
        full_variance=rows.variance[cut],
        full_operator=np.array([index.get(int(p), -1) for p in group[cut]], dtype=np.int64),
        selection_sd=values.value("selection_log") if selection else 0.0,
        keep_signs=keep_signs,
        known_count=count,
        waiting=waiting,
        data_hash="" if known is None or not count else known.data_hash(),
        known=known,
        values=values,
        stream=stream,
    )


def _tell_operator(name: str, rows: Rows, prior: Prior) -> Operator:
    tell = rows.weight / (prior.sigma[:, None] ** 2 + rows.variance)
    own = math.inf if prior.group_sd == 0 else prior.group_sd**-2
    precision = own + tell.sum(axis=1)
    return Operator(
        name=name,
        level=(tell @ rows.target) / precision,
        slope=(tell @ rows.design) / precision[:, None],
        sd=1 / np.sqrt(precision),
    )


def _make_box(fit: ShareFit) -> tuple[BoxMixture, NDArray[np.int64], list[int]]:
    """Put free coefficients, operators with full lines and those lines' demand in one box."""
    prior, mixture = fit.mixture.prior, fit.mixture
    free = np.flatnonzero(prior.sd > 0)
    groups = sorted({int(place) for place in fit.full_operator if place >= 0})
    first, demand = free.size, free.size + len(groups)
    size, nodes = demand + len(fit.full_target), len(prior.sigma)
    factor = np.zeros((nodes, size, size))
    mean = np.zeros((nodes, size))
    scale = mixture.scale[free]
    factor[:, :first, :first] = mixture.root[:, free][:, :, free] / scale
    mean[:, :first] = mixture.mean[:, free]
    for i, place in enumerate(groups):
        operator = fit.operators[place]
        factor[:, first + i, :first] = operator.slope[:, free] / operator.sd[:, None]
        factor[:, first + i, first + i] = 1 / operator.sd
        mean[:, first + i] = operator.level - (operator.slope * mixture.mean).sum(axis=1)
    for i, design in enumerate(fit.full_design):
        place = int(fit.full_operator[i])
        extra = 0.0 if place >= 0 else prior.group_sd**2
        sd = np.sqrt(prior.sigma**2 + fit.full_variance[i] + extra)
        factor[:, demand + i, :first] = -design[free] / sd[:, None]
        factor[:, demand + i, demand + i] = 1 / sd
        mean[:, demand + i] = mixture.mean @ design
        if place >= 0:
            factor[:, demand + i, first + groups.index(place)] = -1 / sd
            mean[:, demand + i] += mean[:, first + groups.index(place)]
    low, high = np.full(size, -np.inf), np.full(size, np.inf)
    if fit.keep_signs:
        signs = np.concatenate([np.zeros(len(prior.mean) - len(fit.names)), fit.sign])[free]
        low[:first] = np.where(signs > 0, 0.0, -np.inf)
        high[:first] = np.where(signs < 0, 0.0, np.inf)
    low[demand:] = fit.full_target
    if not np.isfinite(factor).all():
        raise FitError("an operator effect with no spread cannot carry a full line; give it one")
    box = BoxMixture(log_weight=mixture.log_weight, mean=mean, factor=factor, low=low, high=high)
    return box, free, groups
