# ruff: noqa: E501, PT017
"""A feature service, asked page by page; the server here behaves like one."""

from __future__ import annotations

import json
import threading
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from urllib.parse import parse_qs, urlsplit

import pytest

from capture.basis import DataError, InputError
from capture.passing.client import Client
from capture.passing.load import load_counts
from capture.passing.service import fetch_counts, save_counts
from capture.passing.service_layer import describe_layer

FIELDS = [
    {"name": "OBJECTID", "alias": "OBJECTID", "type": "esriFieldTypeOID"},
    {"name": "STATION_ID", "alias": "Station", "type": "esriFieldTypeString"},
    {
        "name": "FLD_7",
        "alias": "Annual Average Daily Traffic (AADT)",
        "type": "esriFieldTypeInteger",
    },
    {"name": "AADT_YEAR", "alias": "Year", "type": "esriFieldTypeSmallInteger"},
    {"name": "ROAD_NAME", "alias": "Road", "type": "esriFieldTypeString"},
    {"name": "CNT_DATE", "alias": "Counted", "type": "esriFieldTypeDate"},
    {
        "name": "FACILITY_TYPE",
        "alias": "Facility type",
        "type": "esriFieldTypeSmallInteger",
        "domain": {
            "type": "codedValue",
            "codedValues": [{"code": 1, "name": "One-Way"}, {"code": 2, "name": "Two-Way"}],
        },
    },
]


def _rows(number):
    return [
        {
            "OBJECTID": k + 1,
            "STATION_ID": f"T{k:04d}",
            "FLD_7": 1000 + 10 * k,
            "AADT_YEAR": 2023,
            "ROAD_NAME": "Main Street",
            "CNT_DATE": 1_700_000_000_000,
            "FACILITY_TYPE": 2,
        }
        for k in range(number)
    ]


class Service(BaseHTTPRequestHandler):
    def log_message(self, *_):
        pass

    def do_GET(self):
        server = self.server
        parts = urlsplit(self.path)
        query = {k: v[0] for k, v in parse_qs(parts.query).items()}
        server.seen.append((parts.path, query))
        if server.stumbles:
            code, headers = server.stumbles.pop(0)
            if code == 200:
                body = b'{"error": {"code": 503, "message": "busy"}}'
                self._send(200, body, headers)
            else:
                self._send(code, b"busy", headers)
            return
        self._send(200, json.dumps(self._answer(server.how, parts.path, query)).encode(), {})

    def _send(self, code, body, headers):
        self.send_response(code)
        for name, value in headers.items():
            self.send_header(name, value)
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)

    def _answer(self, how, path, query):
        if not path.endswith("/query"):
            if how.get("layers"):
                return (
                    {"layers": how["layers"]}
                    if path.endswith("FeatureServer")
                    else self._layer(how)
                )
            return self._layer(how)
        rows = _rows(how["rows"])
        if "resultOffset" in query and query.get("orderByFields") != "OBJECTID":
            return {"error": {"code": 400, "message": "paging needs an order"}}
        if query.get("returnCountOnly") == "true":
            return {"count": how.get("said", len(rows))}
        if query.get("returnIdsOnly") == "true":
            return {"objectIds": [r["OBJECTID"] for r in rows]}
        if "objectIds" in query:
            wanted = {int(v) for v in query["objectIds"].split(",")}
            return self._features(how, query, [r for r in rows if r["OBJECTID"] in wanted], False)
        start = int(query.get("resultOffset", 0))
        size = min(
            int(query.get("resultRecordCount", how["page"])), how.get("hard_page", how["page"])
        )
        return self._features(how, query, rows[start : start + size], start + size < len(rows))

    def _layer(self, how):
        return {
            "name": "traffic counts",
            "copyrightText": "Invented county, free to use",
            "geometryType": how.get("shape", "esriGeometryPoint"),
            "fields": FIELDS,
            "maxRecordCount": how["page"],
            "advancedQueryCapabilities": {"supportsPagination": how.get("pages", True)},
            "supportedQueryFormats": "JSON, geoJSON" if how.get("geojson", True) else "JSON",
        }

    def _features(self, how, query, rows, more):
        if query.get("f") == "geojson":
            made = {
                "type": "FeatureCollection",
                "features": [
                    {
                        "type": "Feature",
                        "id": r["OBJECTID"],
                        "properties": r,
                        "geometry": {
                            "type": "Point",
                            "coordinates": [-75.0 + r["OBJECTID"] / 1e5, 40.0],
                        },
                    }
                    for r in rows
                ],
            }
            if more:
                made["properties"] = {"exceededTransferLimit": True}
            return made
        line = how.get("shape") == "esriGeometryPolyline"
        made = {
            "features": [
                {
                    "attributes": r,
                    "geometry": {"paths": [[[-75, 40], [-75.001, 40]]]}
                    if line
                    else {"x": -75.0, "y": 40.0},
                }
                for r in rows
            ]
        }
        if more:
            made["exceededTransferLimit"] = True
        return made


@contextmanager
def serve(**how):
    server = ThreadingHTTPServer(("127.0.0.1", 0), Service)
    server.how = {"rows": 25, "page": 10, **how}
    server.seen, server.stumbles = [], list(how.get("stumbles", []))
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    try:
        yield (
            server,
            f"http://127.0.0.1:{server.server_port}/arcgis/rest/services/x/FeatureServer/0",
        )
    finally:
        server.shutdown()
        server.server_close()


class Waits(list):
    def __call__(self, seconds):
        self.append(seconds)


def _client(**more):
    waits = Waits()
    return Client(sleep=waits, **more), waits


def test_all_pages_arrive_and_become_counts(tmp_path):
    with serve() as (server, url):
        table, remarks = fetch_counts(url, extent=(39.9, -75.1, 40.1, -74.9), client=_client()[0])
    assert len(table) == 25
    assert [q.get("resultOffset") for _, q in server.seen if "resultOffset" in q] == [
        "0",
        "10",
        "20",
    ]
    assert server.seen[1][1]["geometry"] == "-75.1,39.9,-74.9,40.1"
    assert table["FACILITY_TYPE"].tolist() == ["Two-Way"] * 25
    assert table["CNT_DATE"][0] == "2023-11-14"
    assert any("alias" in r for r in remarks)
    found = load_counts(save_counts(table, tmp_path / "c.geojson"), study_year=2026)
    assert len(found.counts) == 25
    assert found.counts["vehicles_per_day"].iloc[24] == 1240
    assert bool(found.counts["two_way"].iloc[0]) is True


def test_a_server_that_gives_less_than_a_page_is_asked_on():
    with serve(hard_page=4) as (_, url):
        table, _ = fetch_counts(url, client=_client()[0])
    assert table["STATION_ID"].is_unique
    assert len(table) == 25


@pytest.mark.parametrize("geojson", [True, False])
def test_a_server_without_pages_is_asked_by_ids(geojson):
    with serve(pages=False, geojson=geojson, rows=33) as (server, url):
        table, _ = fetch_counts(url, client=_client()[0])
    assert len(table) == 33
    assert not any("resultOffset" in q for _, q in server.seen)


def test_lines_in_the_services_own_form():
    with serve(shape="esriGeometryPolyline", geojson=False) as (_, url):
        table, _ = fetch_counts(url, client=_client()[0])
    assert set(table.geometry.geom_type) == {"MultiLineString"}


def test_busy_answers_are_asked_again_with_growing_waits():
    stumbles = [(503, {}), (429, {"Retry-After": "7"}), (200, {})]
    with serve(stumbles=stumbles) as (_, url):
        client, waits = _client()
        table, _ = fetch_counts(url, client=client)
    assert len(table) == 25
    assert waits == [1.0, 7.0, 4.0]


def test_a_server_asking_for_an_hour_is_not_waited_for_that_long():
    with serve(stumbles=[(503, {"Retry-After": "3600"})]) as (_, url):
        client, waits = _client()
        fetch_counts(url, client=client)
    assert waits == [60.0]


def test_giving_up_is_said():
    said = r"did not answer as one \(HTTP 503\)"
    with serve(stumbles=[(503, {})] * 9) as (_, url), pytest.raises(DataError, match=said):
        fetch_counts(url, client=_client()[0])
    with serve(stumbles=[(404, {})]) as (server, url):
        with pytest.raises(DataError, match="HTTP 404"):
            fetch_counts(url, client=_client()[0])
        assert len(server.seen) == 1


def test_nobody_there():
    client, waits = _client(timeout_s=0.5)
    with pytest.raises(DataError, match=r"127\.0\.0\.1:9: the feature service did not answer"):
        fetch_counts("http://127.0.0.1:9/FeatureServer/0", client=client)
    assert len(waits) == 3


def test_a_service_of_several_layers_is_asked_about():
    layers = [{"id": 0, "name": "stations"}, {"id": 4, "name": "segments"}]
    with (
        serve(layers=layers) as (_, url),
        pytest.raises(
            InputError, match=r"2 layers, pick one: .*/0 \(stations\); .*/4 \(segments\)"
        ),
    ):
        describe_layer(url.removesuffix("/0"), client=_client()[0])
    with serve(layers=layers[:1]) as (_, url):
        assert describe_layer(url.removesuffix("/0"), client=_client()[0]).url.endswith("/0")


@pytest.mark.parametrize(
    ("how", "words"),
    [
        ({"shape": "esriGeometryPolygon"}, "must be points or lines"),
        ({"rows": 0}, "no rows in the area"),
        ({"said": 900_000}, "900000 rows lie in the area"),
    ],
)
def test_layers_that_will_not_do(how, words):
    with serve(**how) as (_, url), pytest.raises(DataError, match=words):
        fetch_counts(url, client=_client()[0])


def test_more_rows_than_said_are_bounded():
    with serve(rows=60, said=5) as (_, url), pytest.raises(DataError, match="more than 50 rows"):
        fetch_counts(url, client=_client(most_rows=50)[0])


@pytest.mark.parametrize("url", ["file:///etc/passwd", "ftp://x/y", "not an address", ""])
def test_only_web_addresses_are_asked(url):
    with pytest.raises(InputError, match="must start with http"):
        fetch_counts(url)


def _answers(monkeypatch, layer, pages):
    """Let a client hear these answers and nothing else."""
    left = list(pages)

    def ask(self, url, query):
        if not url.endswith("/query"):
            return layer
        if "returnCountOnly" in query:
            return {}
        if "returnIdsOnly" in query:
            return {"objectIds": [1, 2]}
        return left.pop(0) if len(left) > 1 else left[0]

    monkeypatch.setattr(Client, "ask", ask)


LAYER = {
    "name": "x",
    "geometryType": "esriGeometryPoint",
    "fields": [{"name": "ID", "type": "esriFieldTypeOID"}, {"name": "AADT", "type": "x"}],
    "maxRecordCount": 10,
    "advancedQueryCapabilities": {"supportsPagination": True},
}
ROW = {"attributes": {"ID": 1, "AADT": 5}, "geometry": {"x": -75.0, "y": 40.0}}


@pytest.mark.parametrize(
    "spoilt",
    [
        {"fields": 7},
        {"fields": [None, 3, {"alias": "x"}]},
        {"fields": [{"name": "A", "domain": {"codedValues": [{"code": []}, 4]}}]},
        {"maxRecordCount": float("nan")},
        {"maxRecordCount": "many"},
        {"maxRecordCount": -4},
        {"objectIdField": ["x"]},
        {"name": {"a": 1}},
        {"advancedQueryCapabilities": 3},
        {"supportedQueryFormats": 3},
    ],
)
def test_a_spoilt_description_is_borne(monkeypatch, spoilt):
    _answers(monkeypatch, {**LAYER, **spoilt}, [{"features": [ROW]}])
    table, _ = fetch_counts("http://host/x/FeatureServer/0")
    assert 1 <= len(table) <= 2


@pytest.mark.parametrize(
    "features",
    [
        7, {}, None, [None, 3], [{"attributes": 3}], [{"attributes": {"ID": [1]}, "geometry": {"x": "a", "y": 2}}],
        [{"properties": {}, "geometry": {"type": "Point"}}], [{"geometry": {"paths": [[[0]]]}}],
        [{"geometry": {"type": "Nonsense", "coordinates": []}}], [{"geometry": {"x": float("inf"), "y": 1}}],
    ],
)  # fmt: skip
def test_spoilt_rows_are_kept_without_a_place_or_left(monkeypatch, features):
    _answers(monkeypatch, LAYER, [{"features": features}])
    try:
        table, _ = fetch_counts("http://host/x/FeatureServer/0")
    except DataError as error:
        assert "no rows in the area" in str(error)
        return
    assert table.geometry.isna().all()


def test_a_service_that_repeats_itself_is_stopped(monkeypatch):
    _answers(monkeypatch, LAYER, [{"features": [ROW], "exceededTransferLimit": True}])
    with pytest.raises(DataError, match="gives the same rows for every page"):
        fetch_counts("http://host/x/FeatureServer/0")


def test_who_listens_hears_the_rows_and_may_end_it():
    heard = []
    with serve(rows=120, page=60) as (_, url):
        fetch_counts(url, client=_client()[0], heard=lambda k, total: heard.append((k, total)))
    assert heard == [(0, 120), (50, 120), (100, 120)]

    class EnoughError(Exception):
        pass

    def stop(k, _total):
        if k:
            raise EnoughError

    with serve(rows=120, page=60) as (server, url), pytest.raises(EnoughError):
        fetch_counts(url, client=_client()[0], heard=stop)
    assert sum("resultOffset" in q for _, q in server.seen) == 1


def test_fields_are_told_with_a_guess_and_the_publishers_credit():
    with serve() as (_, url):
        layer = describe_layer(url, client=_client()[0])
    told = layer.tell_fields().set_index("field")
    assert told.at["FLD_7", "perhaps"] == "aadt"
    assert told.at["STATION_ID", "perhaps"] == "station"
    assert told.at["FACILITY_TYPE", "kind"] == "codes written out"
    assert told.at["CNT_DATE", "kind"] == "day"
    assert layer.credit == "Invented county, free to use"
