"""How can others use the regression on any numbers of their own?

The bare estimator with the manners of scikit-learn: no signs, no formats, no operators,
only an intercept, coefficients with a normal prior, and a spread between rows that is
integrated over nodes. Assumes rows independent given the coefficients.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from sklearn.base import BaseEstimator, RegressorMixin
from sklearn.utils.validation import _check_sample_weight, check_is_fitted

from capture.basis import FitError
from capture.share.mixture import Mixture, Prior, Rows, fit_mixture
from capture.share.normals import mixture_quantile

FloatArray = NDArray[np.float64]

try:
    from sklearn.utils.validation import validate_data
except ImportError:  # scikit-learn before 1.6 has it as a method

    def validate_data(estimator: Any, /, *args: Any, **options: Any) -> Any:
        """Check input by the estimator's own method."""
        return estimator._validate_data(*args, **options)


class MixtureRegressor(RegressorMixin, BaseEstimator):  # type: ignore[misc]
    """Linear regression with an exact mixture posterior over the spread between rows.

    Parameters
    ----------
    prior_mean : float or array_like of shape (n_features,)
        Mean of each coefficient's prior.
    prior_sd : float or array_like of shape (n_features,)
        Its sd; ``inf`` for none.
    intercept_sd : float
        Sd of the intercept's prior about 0; ``inf`` for none, 0 for no intercept.
    sigma_median, sigma_log_sd : float
        Lognormal prior of the spread between rows.
    sigma_least, sigma_most : float
        Spreads looked at.
    nodes : int
        How many of them, evenly spaced on the log scale.

    Attributes
    ----------
    coef_ : ndarray of shape (n_features,)
        Posterior means.
    intercept_ : float
        Posterior mean.
    mixture_ : Mixture
        The posterior, intercept first.
    sigma_ : float
        Posterior mean of the spread.
    n_features_in_ : int
        Number of features seen in ``fit``.

    Notes
    -----
    ``sample_weight`` raises a row's likelihood to that power, so weight 2 is the row
    written twice and weight 0 is the row left out.

    Examples
    --------
    >>> model = MixtureRegressor(prior_sd=1.0).fit([[0.0], [1.0], [2.0]], [0.0, 1.1, 1.9])
    >>> round(float(model.coef_[0]), 2)
    0.92
    """

    def __init__(
        self,
        *,
        prior_mean: float | ArrayLike = 0.0,
        prior_sd: float | ArrayLike = 1.0,
        intercept_sd: float = np.inf,
        sigma_median: float = 0.25,
        sigma_log_sd: float = 0.4,
        sigma_least: float = 0.1,
        sigma_most: float = 1.0,
        nodes: int = 64,
    ) -> None:
        self.prior_mean = prior_mean
        self.prior_sd = prior_sd
        self.intercept_sd = intercept_sd
        self.sigma_median = sigma_median
        self.sigma_log_sd = sigma_log_sd
        self.sigma_least = sigma_least
        self.sigma_most = sigma_most
        self.nodes = nodes

    def fit(self, X: Any, y: Any, sample_weight: Any = None) -> MixtureRegressor:
        """Fit to rows.

        Parameters
        ----------
        X : array_like of shape (n_rows, n_features)
        y : array_like of shape (n_rows,)
        sample_weight : array_like of shape (n_rows,), optional
            Power of each row's likelihood.

        Returns
        -------
        MixtureRegressor
            Itself.

        Raises
        ------
        FitError
            When a coefficient without a prior is left undetermined.
        """
        X, y = validate_data(self, X, y, dtype=np.float64, y_numeric=True)
        weight = _check_sample_weight(sample_weight, X, dtype=np.float64)
        if not (weight > 0).any():
            raise FitError("sample_weight must be above 0 in some row; raise one")
        prior = self._make_prior(X.shape[1])
        rows = Rows.of(np.column_stack([np.ones(len(X)), X]), y, weight=weight)
        self.mixture_: Mixture = fit_mixture(rows, prior)
        mean = self.mixture_.coefficient_mean()
        self.intercept_, self.coef_ = float(mean[0]), mean[1:]
        self.sigma_ = float(self.mixture_.weight @ prior.sigma)
        return self

    def predict(self, X: Any, return_std: bool = False) -> Any:
        """Predict new rows.

        Parameters
        ----------
        X : array_like of shape (n_rows, n_features)
        return_std : bool
            Whether the sd of a new row's target is returned too.

        Returns
        -------
        ndarray of shape (n_rows,), or a tuple of two
        """
        design = self._open(X)
        mean = design @ self.mixture_.coefficient_mean()
        if not return_std:
            return mean
        means, sds = self.mixture_.predict_parts(design, new_group=False)
        weight = self.mixture_.weight
        return mean, np.sqrt(weight @ (sds**2 + (means - mean) ** 2))

    def predict_quantile(self, X: Any, share: float) -> FloatArray:
        """Return a quantile of each new row's target, shape (n_rows,)."""
        means, sds = self.mixture_.predict_parts(self._open(X), new_group=False)
        return mixture_quantile(share, self.mixture_.weight, means, sds)

    def _open(self, X: Any) -> FloatArray:
        check_is_fitted(self)
        X = validate_data(self, X, dtype=np.float64, reset=False)
        return np.column_stack([np.ones(len(X)), X])

    def _make_prior(self, width: int) -> Prior:
        sigma = np.geomspace(self.sigma_least, self.sigma_most, self.nodes)
        weight = np.exp(-0.5 * (np.log(sigma / self.sigma_median) / self.sigma_log_sd) ** 2)
        mean = np.broadcast_to(np.asarray(self.prior_mean, dtype=np.float64), (width,))
        sd = np.broadcast_to(np.asarray(self.prior_sd, dtype=np.float64), (width,))
        return Prior(
            mean=np.concatenate([[0.0], mean]),
            sd=np.concatenate([[self.intercept_sd], sd]),
            sigma=sigma,
            log_weight=np.log(weight / weight.sum()),
        )
