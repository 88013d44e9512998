"""Is a survey's table tied to its shapes, and is whatever is left over said?"""

import geopandas
import pytest
import shapely
from around_towns import draw_crossing, make_sites, to_degrees

from capture.area import open_area
from capture.around import count_in_bands, load_zones
from capture.basis import DataError
from capture.place import open_place

HEAD = "GEO_ID,NAME,B11001_001E,B11001_001M,B19025_001E,B01003_001E,B25046_001E"
LABELS = "Geography,Name,Estimate!!Total,Margin!!Total,Estimate!!Income,Estimate!!People,Estimate"


def _town(folder, rows, *, more="", codes=("421010001001", "421010001002")):
    draw_crossing(folder)
    squares = []
    for x in (-800, 200):
        ring = [(x, -300), (x + 600, -300), (x + 600, 300), (x, 300)]
        squares.append(shapely.Polygon([to_degrees(*spot)[::-1] for spot in ring]))
    frame = geopandas.GeoDataFrame({"GEOID": list(codes)}, geometry=squares, crs="EPSG:4326")
    frame.to_crs("EPSG:3857").to_file(folder / "blocks.gpkg", driver="GPKG")
    (folder / "acs.csv").write_text("\n".join([HEAD, LABELS, *rows]) + "\n", encoding="utf-8")
    (folder / "area.toml").write_text(
        '[layers.roads]\npath = "roads.osm"\n[layers.people]\npath = "blocks.gpkg"\n'
        f'table = "acs.csv"\n{more}',
        encoding="utf-8",
    )
    area = open_area(folder)
    return area, open_place(area)


FIRST = "1500000US421010001001,a,100,12,5000000,250,150"
SECOND = "1500000US421010001002,b,300,15,27000000,700,500"


def test_table_is_tied_by_code_whatever_its_prefix(tmp_path):
    area, place = _town(tmp_path, [FIRST, SECOND, "1500000US999999999999,c,1,1,1,1,1"])
    zones = load_zones(area, place)
    assert zones.amounts["households"].tolist() == [100, 300]
    assert zones.amounts["people"].tolist() == [250, 700]
    assert "tied to 2 of 2 zones by GEO_ID" in " ".join(zones.notes)
    assert "1 rows have no shape in blocks.gpkg" in " ".join(zones.notes)
    bands = count_in_bands(area, place, make_sites(place.network, [(0, 0)]), limits_s=[900])
    assert bands.amounts["households"][0, 0] == pytest.approx(400, rel=1e-6)
    assert bands.income_per_household[0, 0] == pytest.approx(80_000)


def test_a_zone_without_a_row_is_said(tmp_path):
    area, place = _town(tmp_path, [FIRST])
    notes = " ".join(load_zones(area, place).notes)
    assert "tied to 1 of 2 zones" in notes
    assert "1 of 2 zones do not tell B11001_001E" in notes


@pytest.mark.parametrize(
    ("rows", "more", "said"),
    [
        ([FIRST, FIRST], "", "code '421010001001' stands twice"),
        (["1500000US55,c,1,1,1,1,1"], "", "none of its codes stands in blocks.gpkg"),
        ([FIRST], 'table_key = "tract"', "acs.csv: no column of area codes"),
        ([FIRST], 'key = "tract"', "blocks.gpkg: no column of area codes"),
    ],
)
def test_what_cannot_be_tied_is_one_sentence(tmp_path, rows, more, said):
    area, place = _town(tmp_path, rows, more=more)
    with pytest.raises(DataError, match=said):
        load_zones(area, place)


@pytest.mark.parametrize("name", ["missing.csv", "../acs.csv", "/etc/hostname"])
def test_the_table_must_lie_in_the_folder(tmp_path, name):
    folder = tmp_path / "inner"
    folder.mkdir()
    (tmp_path / "acs.csv").write_text(HEAD + "\n" + FIRST + "\n", encoding="utf-8")
    _town(folder, [FIRST])
    toml = folder / "area.toml"
    text = toml.read_text(encoding="utf-8").replace('table = "acs.csv"', f'table = "{name}"')
    toml.write_text(text, encoding="utf-8")
    area = open_area(folder)
    with pytest.raises(DataError, match="must be a file in the area's folder"):
        load_zones(area, open_place(area))
