"""Opening an area: what it names, what it lacks, and every wrong area.toml in one sentence."""

from __future__ import annotations

from pathlib import Path

import pytest
from extracts import find_extract

from capture.area import LAYER_KINDS, Layer, open_area
from capture.basis import CaptureError, InputError

GOOD = '[layers.roads]\npath = "roads.osm"\n'


def _folder(tmp_path: Path, text: str | None, *, roads: bool = True) -> Path:
    if roads:
        (tmp_path / "roads.osm").write_text("<osm/>", encoding="utf-8")
    if text is not None:
        (tmp_path / "area.toml").write_text(text, encoding="utf-8")
    return tmp_path


def test_a_bare_roads_file(tmp_path: Path) -> None:
    folder = _folder(tmp_path, None)
    area = open_area(folder / "roads.osm")
    assert area.name == "roads"
    assert area.roads == folder / "roads.osm"
    assert set(area.layers) == {"roads"}
    assert area.read("counts") is None
    told = dict(area.describe())
    assert list(told) == list(LAYER_KINDS)
    assert told["counts"].startswith("missing: ")


def test_a_folder_with_one_roads_file_needs_no_area_file(tmp_path: Path) -> None:
    assert open_area(_folder(tmp_path, None)).roads.name == "roads.osm"


def test_a_folder_with_everything(tmp_path: Path) -> None:
    folder = _folder(
        tmp_path,
        'name = "Town"\ninvented = true\ndriving_side = "left"\nunits = "metric"\n'
        'time_zone = "Europe/Helsinki"\nnote = "n"\n[layers.roads]\npath = "roads.osm"\n'
        'source = "map"\nlicence = "ODbL"\n[layers.counts]\npath = "c.csv"\ninvented = false\n'
        'station = "A1"\n',
    )
    (folder / "c.csv").write_text("id,aadt\n1,2\n", encoding="utf-8")
    area = open_area(folder)
    assert (area.name, area.driving_side, area.units) == ("Town", "left", "metric")
    assert str(area.zone) == "Europe/Helsinki"
    assert area.layers["roads"].invented
    assert not area.layers["counts"].invented
    assert dict(area.layers["counts"].options) == {"station": "A1"}
    table = area.read("counts")
    assert table is not None
    assert table is area.read("counts"), "read once"
    assert "ODbL" in dict(area.describe())["roads"]
    assert open_area(folder / "area.toml").name == "Town"


def test_the_demo_says_it_is_invented() -> None:
    area = open_area(find_extract("demo").parent)
    assert area.invented
    for kind, layer in area.layers.items():
        assert layer.invented, kind
        if kind != "roads":
            table = area.read(kind)
            assert table is not None
            assert len(table) > 0
            assert table["row"].is_monotonic_increasing


def test_a_download_has_no_path(tmp_path: Path) -> None:
    text = '[layers.roads]\npath = "download"\nplace = "Somewhere"\n'
    area = open_area(_folder(tmp_path, text, roads=False))
    assert area.layers["roads"].path is None
    assert "downloaded" in dict(area.describe())["roads"]


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "roads must be named"),
        ("name = ", "not readable as TOML"),
        ("= = =", "not readable as TOML"),
        ("colour = 3\n" + GOOD, "no field 'colour'"),
        (GOOD + '[layers.cuonts]\npath = "roads.osm"', "no layer 'cuonts'"),
        (GOOD + '[layers.counts]\npath = "gone.csv"', "no file 'gone.csv'"),
        (GOOD + "[layers.counts]\npath = 3", "path in quotes"),
        (GOOD + "[layers.counts]\nsource = 'x'", "no file ''"),
        ("layers = 3", "layers must be tables"),
        ("layers = [1]", "layers must be tables"),
        ('[layers.roads]\npath = "gone.osm"', "no file 'gone.osm'"),
        ('driving_side = "middle"\n' + GOOD, "driving_side must be"),
        ('units = "furlongs"\n' + GOOD, "units must be"),
        ('time_zone = "Mars/Olympus"\n' + GOOD, "time_zone must be"),
        ('time_zone = "../../etc/passwd"\n' + GOOD, "time_zone must be"),
        ('units = 3\n' + GOOD, "units must be"),
    ],
)  # fmt: skip
def test_a_wrong_area_file(text: str, told: str, tmp_path: Path) -> None:
    with pytest.raises(CaptureError, match=told) as caught:
        open_area(_folder(tmp_path, text))
    assert "\n" not in str(caught.value)


def test_all_faults_at_once(tmp_path: Path) -> None:
    text = 'colour = 1\n[layers.roads]\npath = "a.osm"\n[layers.x]\npath = "b"\n'
    with pytest.raises(CaptureError) as caught:
        open_area(_folder(tmp_path, text))
    for told in ("colour", "a.osm", "'x'"):
        assert told in str(caught.value)


@pytest.mark.parametrize("name", ["table.csv", "noending", "picture.png"])
def test_a_file_that_is_no_roads_file(name: str, tmp_path: Path) -> None:
    (tmp_path / name).write_text("x", encoding="utf-8")
    with pytest.raises(CaptureError, match="a roads file must end in"):
        open_area(tmp_path / name)


def test_folders_that_say_too_little(tmp_path: Path) -> None:
    with pytest.raises(CaptureError, match="holds no roads file"):
        open_area(tmp_path)
    for name in ("a.osm", "b.osm"):
        (tmp_path / name).write_text("<osm/>", encoding="utf-8")
    with pytest.raises(CaptureError, match="holds 2 roads files"):
        open_area(tmp_path)


def test_a_huge_or_binary_area_file(tmp_path: Path) -> None:
    file = tmp_path / "area.toml"
    file.write_bytes(b"#" * 300_000)
    with pytest.raises(CaptureError, match="must be under 200 kB"):
        open_area(tmp_path)
    file.write_bytes(b"name = '\xff\xfe'")
    with pytest.raises(CaptureError, match="UTF-8"):
        open_area(tmp_path)
    file.write_text("a = " + "[" * 50_000, encoding="utf-8")
    with pytest.raises(CaptureError, match="not readable as TOML"):
        open_area(tmp_path)


def test_unknown_layers_are_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="layer kind must be one of"):
        Layer(kind="colours", path=None)
    area = open_area(_folder(tmp_path, GOOD))
    for kind in ("colours", "roads"):
        with pytest.raises(InputError, match="layer must be one of"):
            area.read(kind)


@pytest.mark.regression
@pytest.mark.parametrize(
    ("text", "told"),
    [
        (f'[layers.roads]\npath = "{"a" * 5000}"', "there is no file"),
        (f"study_year = {'9' * 5000}", "not readable as TOML"),
    ],
)
def test_names_and_numbers_beyond_any_size(text: str, told: str, tmp_path: Path) -> None:
    (tmp_path / "area.toml").write_text(text, encoding="utf-8")
    with pytest.raises(CaptureError, match=told):
        open_area(tmp_path)
    with pytest.raises(CaptureError, match="no such file"):
        open_area("a" * 5000)


def test_settings_that_nothing_would_read_are_refused_by_name(tmp_path: Path) -> None:
    (tmp_path / "roads.osm").write_text("<osm/>", encoding="utf-8")
    (tmp_path / "counts.csv").write_text("a\n", encoding="utf-8")
    (tmp_path / "area.toml").write_text(
        '[layers.roads]\npath = "roads.osm"\nbox = [1, 2, 3, 4]\n'
        '[layers.counts]\npath = "counts.csv"\nshort_count = "x.csv"\n"<b>{{7}}" = 1\n',
        encoding="utf-8",
    )
    with pytest.raises(CaptureError) as caught:
        open_area(tmp_path)
    said = str(caught.value)
    assert "layers.roads has no setting 'box'; did you mean bbox" in said
    assert "layers.counts has no setting 'short_count'; did you mean short_counts" in said
    assert "layers.counts has no setting '<b>{{7}}'; known are columns, crs" in said
