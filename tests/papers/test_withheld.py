"""Does any of the client's own figures leave in a paper once they are withheld?"""

from __future__ import annotations

import io
import json
import re
import shutil
import subprocess
import zipfile
from dataclasses import replace
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pandas as pd
import pytest

from capture.basis import DataError, Offer
from capture.chain import LineChoice, many, study
from capture.ground import Answer, AnswerBook
from capture.line import usual_catalog
from capture.papers import render_study, render_study_map, write_geopackage
from capture.papers.folder import render_many_map
from capture.papers.layers_out import make_layers_out, render_geojson
from capture.papers.rank_layer import make_rank_layer
from capture.papers.report import make_report
from capture.papers.report_html import render_report_html
from capture.papers.report_pdf import render_report_pdf
from capture.papers.study_json import load_schema, make_source_book
from capture.papers.tables import make_ranking_frame, render_csv
from capture.papers.withheld import WITHHELD, is_withheld, withhold, withhold_many
from capture.papers.words import say_money
from capture.papers.workbook import render_ranking_workbook, render_workbook
from capture.papers.works_tables import render_schedule

DEMO = Path(__file__).resolve().parents[2] / "data_public" / "demo"
#: figures that stand nowhere else
PRICE, PLAN, LAND = 17.37, 33.91, 1_287_653.0
OWN = {"money.tax_insurance_usd_year": 81_239.0, "line.pitch_m": 6.1234}
ASKED = Answer(status="ask", who="Ann Withers", date="2023-11-17", cost_low_usd=43_217.0,
               cost_high_usd=87_659.0, months_low=7.0, months_high=13.0,
               note="weir at the lower culvert")  # fmt: skip
WORDS = ("Ann Withers", "2023-11-17", "weir at the lower culvert", "Old Mill Wash")
CARS = 91_237.0


#: the most cars of one hour of the own sales
BUSIEST = 1979.0


#: what a station of the own catalog costs
STATION = 61_737.0


def make_catalog() -> Any:
    return usual_catalog().change_station("top_cloth", cost_usd=STATION, cost_usd_m=0.0)


def make_sales() -> pd.DataFrame:
    hours = pd.date_range("2023-04-01", periods=90 * 24, freq="h")
    hours = hours[(hours.hour >= 8) & (hours.hour < 20)]
    cars = 20.0 + 5 * np.sin(np.arange(len(hours)))
    return pd.DataFrame({"time": hours, "cars": np.round([*cars[:-1], BUSIEST])})


@pytest.fixture(scope="module")
def private_study(demo_study: Any) -> Any:
    known = demo_study.fit.known
    own = replace(
        known,
        ids=(WORDS[3], *known.ids[1:]),
        cars_per_year=np.array([CARS, *known.cars_per_year[1:]]),
    )
    return study(
        DEMO,
        "parcel:P04",
        Offer(ticket_price_usd=PRICE, plan_price_usd_month=PLAN, land_cost_usd=LAND),
        draws=200,
        year=2024,
        replaced=OWN,
        known=own,
        answers=AnswerBook(by_parcel={"P04": {"sewer": ASKED}}),
        line=LineChoice(catalog=make_catalog()),
        sales=make_sales(),
    )


def say_forms(value: float) -> set[str]:
    """Say a figure in each form in which a paper may write it, those that are telling."""
    plain = [format(value, how) for how in ("g", ".6g", ",", ",.2f", ".1f", ",.0f")]
    plain += [repr(value), *((say_money(value), say_money(value, digits=4)) if value > 10 else ())]
    return {text for text in plain if len(re.sub(r"\D", "", text)) > 3 or "$" in text}


def find_leaks(text: str) -> set[str]:
    """Find the client's figures and words in a text."""
    figures = [PRICE, PLAN, LAND, CARS, BUSIEST, *OWN.values(), OWN["line.pitch_m"] / 0.3048]
    figures += [STATION, 2 * STATION, ASKED.cost_low_usd, ASKED.cost_high_usd]
    forms = {form for value in figures for form in say_forms(float(value or 0))}
    found = {
        form for form in forms if re.search(rf"(?<![\d.,]){re.escape(form)}(?![\d]|[.,]\d)", text)
    }
    return found | {word for word in WORDS if word in text}


def read_xlsx(content: bytes) -> str:
    with zipfile.ZipFile(io.BytesIO(content)) as book:
        text = "\n".join(book.read(name).decode("utf-8") for name in book.namelist())
    # a cell of text holds the number of its text in the list of texts, which is no figure
    return re.sub(r't="s"><v>\d+</v>', 't="s">', text)


def read_pdf(content: bytes) -> str:
    program = shutil.which("pdftotext")
    if program is None:
        return ""
    told = subprocess.run([program, "-layout", "-", "-"], input=content, capture_output=True,
                          check=True)  # fmt: skip
    return told.stdout.decode()


def make_papers(made: Any, folder: Path) -> dict[str, str]:
    """Make every paper of a study and read it back as text."""
    layers = make_layers_out(made)
    write_geopackage(layers, folder / "layers.gpkg")
    report = make_report(made, system="us")
    return {
        "study.json": render_study(made),
        "map.html": render_study_map(made),
        "report.html": render_report_html(report),
        "report.pdf": read_pdf(render_report_pdf(report)),
        "schedule.xlsx": read_xlsx(render_schedule(made)),
        "study.xlsx": read_xlsx(render_workbook(made, system="us")),
        "layers.gpkg": (folder / "layers.gpkg").read_bytes().decode("latin-1"),
        **{f"{name}.geojson": render_geojson(frame) for name, frame in layers.items()},
    }


def test_nothing_of_the_client_s_leaves_in_any_paper(private_study, tmp_path) -> None:
    hidden = withhold(private_study)
    leaks = {name: find_leaks(text) for name, text in make_papers(hidden, tmp_path).items()}
    assert {name: found for name, found in leaks.items() if found} == {}


def test_the_same_papers_hold_those_figures_when_nothing_is_withheld(
    private_study, tmp_path
) -> None:
    papers = make_papers(private_study, tmp_path)
    told = find_leaks(papers["study.json"])
    assert f"{STATION}" in told
    assert {f"{PRICE:g}", f"{PLAN:g}", "Ann Withers", "weir at the lower culvert"} <= told
    assert "Ann Withers" in find_leaks(papers["report.html"])
    assert {f"{STATION:g}", f"{2 * STATION:g}"} & find_leaks(papers["study.xlsx"])
    assert "20.09" in find_leaks(papers["schedule.xlsx"])
    assert find_leaks(papers["study.xlsx"]) >= {"Ann Withers", f"{PRICE:g}"}


def test_results_stay_while_figures_are_withheld(private_study) -> None:
    shown, hidden = (
        json.loads(render_study(made)) for made in (private_study, withhold(private_study))
    )
    assert hidden["cars_per_year"] == shown["cars_per_year"]
    assert hidden["money"]["npv_usd"] == shown["money"]["npv_usd"]
    assert hidden["offer"]["ticket_price_usd"] == WITHHELD
    assert hidden["offer"]["format"] == shown["offer"]["format"]
    assert "own number line.pitch_m" in hidden["withheld"]
    assert "withheld" not in shown
    jsonschema.validate(hidden, load_schema())


def test_a_file_without_them_says_why_it_cannot_be_made_again(private_study, tmp_path) -> None:
    from capture.papers.open_study import reopen_study

    path = tmp_path / "study.json"
    path.write_text(render_study(withhold(private_study)), encoding="utf-8")
    with pytest.raises(DataError, match="own figures are withheld"):
        reopen_study(path, area=DEMO)


def test_own_entries_of_the_sources_stay_without_a_number(private_study) -> None:
    book = make_source_book(withhold(private_study))
    assert book["line.pitch_m"].value is None
    assert book["offer.ticket_price_usd"].title == WITHHELD
    assert book["money.overhead_usd_year"].value is not None
    assert book.unresolved() == []


def test_withholding_twice_is_the_same(private_study) -> None:
    hidden = withhold(private_study)
    assert withhold(hidden) is hidden
    assert is_withheld(hidden)
    assert not is_withheld(private_study)


def test_an_answer_that_strikes_a_parcel_is_withheld_in_the_ranking(tmp_path) -> None:
    fails = Answer(status="fail", who="Ann Withers", date="2023-11-17")
    made = many(DEMO, draws=20, year=2024, answers=AnswerBook(by_parcel={
        "P04": {"deed": fails}, "P05": {"sewer": ASKED}, "P06": {"zoning": fails},
        "P07": {"deed": replace(fails, who="the clerk; Ann Withers;")}}))  # fmt: skip
    shown = made.ranking.set_index("id")["reason"]
    assert all("Ann Withers" in shown[parcel] for parcel in ("P04", "P06", "P07"))
    assert "43-88 thousand" in shown["P05"]
    hidden = withhold_many(made)
    frame = make_ranking_frame(hidden)
    for text in (
        render_csv(hidden.ranking), read_xlsx(render_ranking_workbook(hidden)),
        render_geojson(frame), str(make_rank_layer(hidden)), render_many_map(hidden),
    ):  # fmt: skip
        assert find_leaks(text) == set()
        assert "43-88" not in text
    told = hidden.ranking.set_index("id")
    assert all("an answer that is withheld" in told["reason"][p] for p in ("P04", "P06", "P07"))
    assert bool(told["struck"]["P04"])
