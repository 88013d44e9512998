"""What does an uncertain number look like, and how do compared sites share one world?

Draws are keyed, not streamed: each row of draws comes from its own counter-based
generator, keyed by (seed, quantity, entity). So neither the order of work nor tiling nor
the number of workers changes an answer, and draw ``i`` is the same possible world
everywhere. Assumes that an entity's id is stable (a parcel number, an OSM way id).
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from capture.basis.amounts import check_amount
from capture.basis.errors import InputError
from capture.basis.sourced import Sourced

FloatArray = NDArray[np.float64]

#: 95th percentile of the standard normal distribution
Z95 = 1.6448536269514722
#: the entity of what all sites share
SHARED: tuple[str, ...] = ("*",)
MOST_DRAWS = 100_000
MOST_SEED = 2**63 - 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Worlds:
    """The possible worlds that one study looks at.

    Raises
    ------
    InputError
        When ``draws`` is not within 1 to 100,000 or ``seed`` is negative.

    Notes
    -----
    The generator is Philox4x64-10, keyed by a 128-bit BLAKE2b digest of
    (seed, quantity, entity); its top 53 bits, centred, give the uniform draws and
    ``scipy.special.ndtri`` turns those into normal ones, so that the first n of more
    draws are the same n.

    References
    ----------
    Salmon et al., "Parallel random numbers: as easy as 1, 2, 3", SC 2011.

    Examples
    --------
    >>> worlds = Worlds(seed=0, draws=4)
    >>> worlds.normal("site residual", ["P01", "P02"]).shape
    (2, 4)
    >>> bool((worlds.normal("a", ["x"]) == worlds.normal("a", ["y", "x"])[1]).all())
    True
    """

    #: seed of the whole study
    seed: int = 0
    #: number of worlds
    draws: int = 1000

    def __post_init__(self) -> None:
        check_amount("worlds", "draws", self.draws, 1, MOST_DRAWS, "worlds", whole=True)
        check_amount("worlds", "seed", self.seed, 0, MOST_SEED, "as a whole number", whole=True)
        object.__setattr__(self, "draws", int(self.draws))
        object.__setattr__(self, "seed", int(self.seed))

    def _key(self, quantity: str, entity: str) -> int:
        text = f"{self.seed}\x1f{quantity}\x1f{entity}".encode()
        return int.from_bytes(hashlib.blake2b(text, digest_size=16).digest(), "little")

    def uniform(self, quantity: str, entities: Iterable[str] = SHARED) -> FloatArray:
        """Draw numbers evenly between 0 and 1, both excluded.

        Parameters
        ----------
        quantity : str
            What is drawn, the same words wherever it is the same thing.
        entities : iterable of str
            Whose it is; leave out for what all sites share.

        Returns
        -------
        ndarray of float, shape (entities, draws)
        """
        rows = [
            np.random.Philox(key=self._key(quantity, entity)).random_raw(self.draws)
            for entity in entities
        ]
        raw = np.array(rows, dtype=np.uint64).reshape(-1, self.draws)
        drawn: FloatArray = ((raw >> np.uint64(11)).astype(np.float64) + 0.5) * 2.0**-53
        return drawn

    def normal(self, quantity: str, entities: Iterable[str] = SHARED) -> FloatArray:
        """Draw standard normal numbers, shape (entities, draws); see :meth:`uniform`."""
        drawn: FloatArray = ndtri(self.uniform(quantity, entities))
        return drawn

    def generator(self, quantity: str, entity: str = "*") -> np.random.Generator:
        """Return a keyed generator, for samplers that need more than one number per world."""
        return np.random.Generator(np.random.Philox(key=self._key(quantity, entity)))

    def constant(self, sourced: Sourced) -> FloatArray:
        """Draw a constant of the method, shared by all sites.

        Median, 5th and 95th percentile are the constant's value, low and high: on the log
        scale for positive numbers, on the logit scale for shares, else on the plain scale,
        each half of the normal curve with its own spread.

        Returns
        -------
        ndarray of float, shape (draws,)
        """
        if not sourced.is_uncertain:
            return np.full(self.draws, sourced.value)
        z = self.normal(f"constant {sourced.name}")[0]
        low, value, high = sourced.low, sourced.value, sourced.high
        if sourced.unit == "share" and low > 0 and high < 1:
            logits = [math.log(p / (1 - p)) for p in (low, value, high)]
            return np.asarray(1 / (1 + np.exp(-_split(z, *logits))))
        if low > 0:
            return np.asarray(np.exp(_split(z, math.log(low), math.log(value), math.log(high))))
        drawn = _split(z, low, value, high)
        if low >= 0:
            drawn = np.maximum(drawn, 0.0)
        return drawn


def _split(z: FloatArray, low: float, value: float, high: float) -> FloatArray:
    below, above = (value - low) / Z95, (high - value) / Z95
    return np.asarray(value + z * np.where(z < 0, below, above))


@dataclass(frozen=True, slots=True, kw_only=True)
class Range:
    """An uncertain number said in four: what papers, screens and JSON show of draws.

    Examples
    --------
    >>> Range.of(np.arange(101.0), "cars/h").value
    50.0
    """

    #: median
    value: float
    #: 5th percentile
    low: float
    #: 95th percentile
    high: float
    #: mean, which is what sums use
    mean: float
    #: unit of all four
    unit: str

    @classmethod
    def of(cls, draws: Sequence[float] | FloatArray, unit: str) -> Range:
        """Sum up draws of one quantity, shape (draws,).

        Raises
        ------
        InputError
            When there are no draws or one is not a number.
        """
        array = np.asarray(draws, dtype=np.float64)
        if array.size == 0 or np.isnan(array).any():
            raise InputError(f"draws in {unit} must be numbers, got {array.size} with gaps")
        low, value, high = np.quantile(array, [0.05, 0.5, 0.95], method="linear")
        return cls(
            value=float(value),
            low=float(low),
            high=float(high),
            mean=float(array.mean()),
            unit=unit,
        )

    @classmethod
    def exactly(cls, value: float, unit: str) -> Range:
        """Say a number that has no spread."""
        return cls(value=value, low=value, high=value, mean=value, unit=unit)
