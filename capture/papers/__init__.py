"""What do people take away: map, study file, ranking, report, workbook."""

from capture.papers.folder import (
    render_many_map,
    render_study_map,
    write_ranking_papers,
    write_report_papers,
    write_screen_papers,
    write_study_papers,
)
from capture.papers.open_study import reopen_study
from capture.papers.study_json import load_schema, make_study_dict, render_study
from capture.papers.tables import make_ranking_frame, render_csv, write_geopackage

__all__ = [
    "load_schema",
    "make_ranking_frame",
    "make_study_dict",
    "render_csv",
    "render_many_map",
    "render_study",
    "render_study_map",
    "reopen_study",
    "write_geopackage",
    "write_ranking_papers",
    "write_report_papers",
    "write_screen_papers",
    "write_study_papers",
]
