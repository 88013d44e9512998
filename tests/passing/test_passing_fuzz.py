# ruff: noqa: E501, PT017
"""Whatever a file holds, it is read and every row accounted for, or refused in one sentence."""

from __future__ import annotations

import json

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from capture.basis import CaptureError
from capture.passing.load import load_counts

EXTENT = (39.9, -75.2, 40.2, -74.9)
CELLS = st.one_of(
    st.sampled_from(
        ["", "NB", "both", "1", "0", "-5", "1e9", "nan", "inf", "n/a", "12,345", "40.05", "-75.05",
         "2023", "2045", "Main St", "=1+1", "<b>", "2024-05-14", "3/4/2024", "07:00", "24", "x" * 300,
         "\u202e", "9" * 400, "1_000", "0x10", "٣", "½", "-", "yes", "900 vpd"]
    ),
    st.text(max_size=8),
    st.integers(-10, 90_000).map(str),
)  # fmt: skip
HEADINGS = st.lists(
    st.sampled_from(
        ["station", "road", "lat", "lon", "aadt", "year", "direction", "date", "hour", "volume",
         "heavy", "heavy_share", "two_way", "axles", "hours", "kind", "x", "y", "AADT_2019",
         "AADT_2023", "cars", "trucks", "remark", "geometry", "row", "h00", "total"]
    ),
    min_size=2, max_size=9, unique=True,
)  # fmt: skip


def _accounted(found, rows):
    by = found.done.groupby("what")["rows"].sum()
    told = by.get("used", 0) + by.get("left out", 0) + by.get("set aside", 0)
    return told >= rows


@pytest.mark.property
@settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck))
@given(data=st.data())
def test_any_table(data, tmp_path_factory):
    names = data.draw(HEADINGS)
    sure = data.draw(st.booleans())
    if sure:
        names = ["lat", "lon", *[n for n in names if n not in ("lat", "lon", "x", "y")]]
    rows = data.draw(
        st.lists(st.lists(CELLS, min_size=len(names), max_size=len(names)), max_size=6)
    )
    if sure:
        rows = [["40.05", "-75.05", *row[2:]] for row in rows]
    mark = data.draw(st.sampled_from([",", ";", "\t", "|"]))
    text = "\n".join(
        mark.join('"' + cell.replace('"', '""') + '"' for cell in row) for row in [names, *rows]
    )
    path = tmp_path_factory.mktemp("fuzz") / "c.csv"
    path.write_text(text, encoding="utf-8", errors="replace")
    try:
        found = load_counts(path, study_year=2026, extent=EXTENT)
    except CaptureError as error:
        assert 10 < len(str(error)) < 3000
        return
    assert (found.counts["vehicles_per_day"] >= 0).all()
    assert found.counts["vehicles_per_day"].max() < 1e7
    assert (found.counts["log_sd"] > 0).all()
    read = len(set(range(len(rows))))
    ragged = any("too few or too many" in why for why in found.done["why"])
    blank = sum(not any(cell.strip() for cell in row) for row in rows)
    assert ragged or blank or _accounted(found, read)


@pytest.mark.property
@settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck))
@given(
    raw=st.binary(max_size=400), ending=st.sampled_from(["csv", "geojson", "gpkg", "shp", "txt"])
)
def test_any_bytes(raw, ending, tmp_path_factory):
    path = tmp_path_factory.mktemp("fuzz") / f"c.{ending}"
    path.write_bytes(raw)
    with pytest.raises(CaptureError):
        load_counts(path, study_year=2026, extent=EXTENT)


JSON = st.recursive(
    st.one_of(st.none(), st.booleans(), st.floats(), st.integers(-9, 9), st.text(max_size=5)),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(
        st.sampled_from(["type", "coordinates", "aadt", "geometry", "a"]), inner, max_size=3
    ),
    max_leaves=6,
)  # fmt: skip


@pytest.mark.property
@settings(max_examples=30, deadline=None, suppress_health_check=list(HealthCheck))
@given(properties=JSON, geometry=JSON, good=st.booleans())
def test_any_features(properties, geometry, good, tmp_path_factory):
    spot = {"type": "Point", "coordinates": [-75.05, 40.05]}
    features = [
        {"type": "Feature", "properties": properties, "geometry": spot if good else geometry}
    ]
    path = tmp_path_factory.mktemp("fuzz") / "c.geojson"
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features}))
    try:
        found = load_counts(path, study_year=2026, extent=EXTENT)
    except CaptureError:
        return
    assert len(found.counts) == 1
