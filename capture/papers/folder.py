"""Which files does one command leave behind, and are they whole or not there at all?

Each file is written beside its place first and then moved there, so that a stop in between
leaves no half file.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from capture.basis import DataError, UnitSystem
from capture.papers.argument import make_argument, say_argument
from capture.papers.background import keep_background
from capture.papers.drive import make_drive
from capture.papers.layers import make_study_layers
from capture.papers.maps import OSM_CREDIT, make_map, render_map
from capture.papers.rank_layer import make_many_layers
from capture.papers.study_json import render_study
from capture.papers.tables import make_ranking_frame, render_csv, write_geopackage


def write_whole(path: Path, content: str | bytes) -> Path:
    """Write a file whole or not at all; text as UTF-8.

    Raises
    ------
    DataError
        When nothing can be written there.
    """
    part = path.with_name(path.name + ".part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        part.write_bytes(content.encode("utf-8") if isinstance(content, str) else content)
        os.replace(part, path)
    except OSError as error:
        raise DataError(
            f"{path}: cannot be written ({error.strerror}); choose another folder"
        ) from None
    return path


def list_credits(area: Any) -> tuple[str, ...]:
    """List whose data an area's map shows."""
    if area.invented:
        return ("Invented demo data: no real place, road or wash",)
    named = [OSM_CREDIT]
    for kind, layer in sorted(area.layers.items()):
        if kind != "roads" and layer.source:
            licence = f", {layer.licence}" if layer.licence else ""
            named.append(f"{kind}: {layer.source}{licence}")
    return tuple(named)


def render_study_map(study: Any, *, system: UnitSystem | None = None) -> str:
    """Render the map of one study as one page."""
    units = system or study.area.units
    ground = keep_background(study.place)
    made = make_map(
        make_study_layers(study, system=units),
        background=ground,
        centre=(float(study.sites.lat[0]), float(study.sites.lon[0])),
        system=units,
        credits=list_credits(study.area),
        drive=make_drive(study, system=units),
        memory="study",
        inline=False,
    )
    return render_map(
        made,
        title=f"{study.sites.names[0]}, {study.area.name}",
        lead=f"{say_argument(make_argument(study, system=units))}. The range in brackets holds "
        "nine times out of ten; figures are for planning.",
        background=ground,
    )


def render_many_map(many: Any, *, system: UnitSystem | None = None) -> str:
    """Render the map of a screening as one page."""
    ground = keep_background(many.place)
    made = make_map(
        make_many_layers(many),
        background=ground,
        system=system or many.area.units,
        credits=list_credits(many.area),
        memory="ranking",
        inline=False,
    )
    return render_map(
        made,
        title=f"{many.area.name}: parcels by rank",
        background=ground,
        lead="The lower the number, the higher the mean value today; struck-out parcels say why.",
    )


def write_study_papers(study: Any, folder: Path) -> Sequence[Path]:
    """Write ``study.json`` and ``map.html`` into a folder, made when it is not there."""
    return (
        write_whole(folder / "study.json", render_study(study)),
        write_whole(folder / "map.html", render_study_map(study)),
    )


def write_screen_papers(many: Any, folder: Path) -> Sequence[Path]:
    """Write ``ranking.csv``, ``parcels.gpkg`` and ``map.html`` into a folder."""
    written = [
        write_whole(folder / "ranking.csv", render_csv(many.ranking)),
        write_whole(folder / "map.html", render_many_map(many)),
    ]
    write_geopackage({"parcels": make_ranking_frame(many)}, folder / "parcels.gpkg")
    return (*written, folder / "parcels.gpkg")


def write_report_papers(
    study: Any, folder: Path, *, date: str = "", author: str = "", logo: bytes | None = None
) -> Sequence[Path]:
    """Write report, workbook and layers of a study into a folder.

    Parameters
    ----------
    study : Study
    folder : Path
        Made when it is not there.
    date : str
        As it is to be printed; left out when empty, so that the same study gives the same.
    author : str
        The user's own name or firm.
    logo : bytes, optional
        The user's own picture, a PNG, JPEG or SVG file.

    Returns
    -------
    sequence of Path
        ``report.pdf``, ``report.html``, ``study.xlsx``, ``layers.gpkg`` and one GeoJSON
        file a layer in ``layers``.
    """
    from capture.papers.layers_out import make_layers_out, render_geojson
    from capture.papers.report import make_report
    from capture.papers.report_html import render_report_html
    from capture.papers.report_pdf import render_report_pdf
    from capture.papers.workbook import render_workbook

    report = make_report(study, date=date, author=author, logo=logo)
    layers = make_layers_out(study)
    written = [
        write_whole(folder / "report.pdf", render_report_pdf(report)),
        write_whole(folder / "report.html", render_report_html(report)),
        write_whole(folder / "study.xlsx", render_workbook(study, date=date)),
    ]
    write_geopackage(layers, folder / "layers.gpkg")
    return (
        *written,
        folder / "layers.gpkg",
        *(
            write_whole(folder / "layers" / f"{name}.geojson", render_geojson(frame))
            for name, frame in layers.items()
        ),
    )


def write_ranking_papers(many: Any, folder: Path, *, date: str = "") -> Sequence[Path]:
    """Write ``ranking.xlsx`` and ``parcels.geojson`` of a screening into a folder."""
    from capture.papers.layers_out import render_geojson
    from capture.papers.workbook import render_ranking_workbook

    return (
        write_whole(folder / "ranking.xlsx", render_ranking_workbook(many, date=date)),
        write_whole(folder / "parcels.geojson", render_geojson(make_ranking_frame(many))),
    )
