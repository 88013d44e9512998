import numpy as np
import pytest
from scipy import stats

from capture.basis import InputError, Range, Sourced, Worlds, practice


def test_order_and_company_never_change_a_draw():
    worlds = Worlds(seed=3, draws=50)
    together = worlds.normal("site residual", ["P03", "P01", "P02"])
    apart = np.vstack([worlds.normal("site residual", [name]) for name in ("P03", "P01", "P02")])
    assert (together == apart).all()


def test_fewer_draws_are_the_first_of_more():
    few, more = Worlds(seed=1, draws=10), Worlds(seed=1, draws=1000)
    assert (few.normal("x", ["a"]) == more.normal("x", ["a"])[:, :10]).all()


@pytest.mark.parametrize(
    "other",
    [Worlds(seed=2, draws=20).normal("x", ["a"]), Worlds(seed=1, draws=20).normal("y", ["a"])],
)
def test_seed_and_quantity_are_part_of_the_key(other):
    assert not np.allclose(Worlds(seed=1, draws=20).normal("x", ["a"]), other)


def test_draws_are_standard_normal():
    drawn = Worlds(seed=0, draws=20_000).normal("q", ["a", "b"])
    assert stats.kstest(drawn.ravel(), "norm").pvalue > 0.01
    assert abs(np.corrcoef(drawn)[0, 1]) < 0.03


@pytest.mark.parametrize(
    ("low", "value", "high", "unit"),
    [(18, 22, 28, "m"), (0.5, 0.82, 0.92, "share"), (-0.5, -0.2, 0.4, "1"), (0, 10, 25, "1")],
)
def test_constant_hits_its_low_value_and_high(low, value, high, unit):
    drawn = Worlds(seed=0, draws=40_000).constant(practice("c", low, value, high, unit, "a test"))
    got = np.quantile(drawn, [0.05, 0.5, 0.95])
    assert got == pytest.approx([low, value, high], abs=0.03 * (high - low))


def test_constant_without_spread_is_constant():
    certain = Sourced(
        name="g", value=9.8, unit="m/s2", low=9.8, high=9.8, source="s", grade="exact", meaning="m"
    )
    assert (Worlds(draws=5).constant(certain) == 9.8).all()


@pytest.mark.parametrize("bad", [{"draws": 0}, {"draws": 100_001}, {"seed": -1}])
def test_worlds_refuse(bad):
    with pytest.raises(InputError, match="must be"):
        Worlds(**bad)


def test_range_of_draws():
    shown = Range.of(np.linspace(0, 100, 101), "cars/h")
    assert (shown.value, shown.low, shown.high, shown.mean) == (50, 5, 95, 50)


@pytest.mark.parametrize("bad", [[], [1.0, float("nan")]])
def test_range_refuses_gaps(bad):
    with pytest.raises(InputError, match="must be numbers"):
        Range.of(bad, "cars/h")
