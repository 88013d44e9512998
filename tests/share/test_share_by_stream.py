"""Do parts by stream add up, and is one change told in the same worlds?"""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from capture.basis import DataError, InputError, Offer, Worlds
from capture.share import (
    VALUES,
    compare_change,
    compute_factors,
    explain_site,
    fit_share,
    load_fit,
    save_fit,
    share_by_stream,
)

STREAMS = SimpleNamespace(
    site=np.array([0, 0, 1]), vehicles_per_day=np.array([9000.0, 9000.0, 20_000.0])
)
TURNING = SimpleNamespace(delay_s=np.array([5.0, 95.0, 30.0]))
SEEING = SimpleNamespace(sight=np.array([0.9, 0.9, 0.6]))
AROUND = SimpleNamespace(pull=np.array([0.5, 2.0]), passed_first_share=np.array([0.1, 0.1, np.nan]))
WORLDS = Worlds(draws=500)


def test_parts_by_stream() -> None:
    fit = fit_share()
    table = compute_factors(STREAMS, TURNING, SEEING, AROUND, Offer())
    draws = fit.predict(table, WORLDS)
    part, share = share_by_stream(draws, STREAMS, TURNING, SEEING, AROUND, Offer())
    assert part[:2].sum() == pytest.approx(1)
    assert part[2] == pytest.approx(1)
    beta = draws.beta[draws.names.index("delay")].mean()
    assert part[1] / part[0] == pytest.approx(np.exp(90 * beta))
    typical = np.exp(np.log(draws.rate).mean(axis=1))
    assert share[:2] @ [9000, 9000] == pytest.approx(typical[0] * 18_000)
    assert share[2] == pytest.approx(typical[1])
    even, _ = share_by_stream(draws, STREAMS, None, None, None, Offer())
    np.testing.assert_allclose(even, [0.5, 0.5, 1.0])
    with pytest.raises(InputError, match="one value a stream"):
        share_by_stream(draws, STREAMS, SimpleNamespace(delay_s=np.ones(2)), None, None, Offer())


def test_one_change_in_the_same_worlds() -> None:
    fit = fit_share()
    table = compute_factors(STREAMS, TURNING, SEEING, AROUND, Offer())
    change = compare_change(fit, table, table.change("pull", 2.0), WORLDS)
    assert change[0].high < 1
    assert change[1].value == pytest.approx(1)
    beta = fit.draw(WORLDS).value[:, fit.parameters.index("pull")]
    assert change[0].value == pytest.approx(np.median(np.exp(1.5 * beta)))
    with pytest.raises(InputError, match="the same sites"):
        compare_change(fit, table, table.take([0]), WORLDS)
    with pytest.raises(InputError, match="no factor 'colour'"):
        table.change("colour", 1.0)


def test_an_own_reference_is_kept_to() -> None:
    fit = fit_share(values=VALUES.override({"reference_delay": 50.0}))
    table = compute_factors(STREAMS, TURNING, SEEING, AROUND, Offer())
    steps = {step.name: step for step in explain_site(fit.predict(table, WORLDS))}
    assert steps["delay"].multiplier == pytest.approx(1)


def test_fit_files(tmp_path: Path) -> None:
    path = tmp_path / "share.json"
    fit = fit_share()
    save_fit(fit, path)
    assert load_fit(path).names == fit.names
    path.write_text("{")
    with pytest.raises(DataError, match=r"share\.json: not readable as JSON"):
        load_fit(path)
    path.write_text("[" * 100_000)
    with pytest.raises(DataError, match="not readable as JSON"):
        load_fit(path)
    with pytest.raises(DataError, match=r"nowhere\.json"):
        load_fit(tmp_path / "nowhere.json")
