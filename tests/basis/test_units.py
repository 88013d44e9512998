import pytest
from hypothesis import given
from hypothesis import strategies as st
from published import assert_printed, load_rows, name_row

from capture.basis import convert_in, convert_out
from capture.basis.draws import Z95

UNITS = ["m", "km", "mps", "chain_mps", "m2", "m3", "m3s", "pa", "w"]


@pytest.mark.published
@pytest.mark.parametrize("row", load_rows("basis"), ids=name_row)
def test_printed_factor(row):
    if row["check"] == "split_normal_95":
        got = Z95
    else:
        got = convert_in(row["inputs"]["amount"], row["inputs"]["unit"], "us")
    assert_printed(row, got)


@pytest.mark.property
@given(st.floats(0.001, 1e6), st.sampled_from(UNITS), st.sampled_from(["us", "metric"]))
def test_there_and_back(amount, unit, system):
    shown, _ = convert_out(amount, unit, system)
    assert convert_in(shown, unit, system) == pytest.approx(amount, rel=1e-12)


def test_unknown_unit_passes_unchanged():
    assert convert_out(3.0, "cars/h", "us") == (3.0, "cars/h")
    assert convert_in(3.0, "cars/h", "metric") == 3.0
