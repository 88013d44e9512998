"""Are notes told apart from cautions, and does the sentence for a seller promise nothing?"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from capture.papers.argument import make_argument
from capture.papers.remarks import list_cautions, list_notes
from capture.papers.report import make_report
from capture.papers.report_html import render_report_html
from capture.papers.seller import make_pitch
from capture.papers.words import say_lengths
from capture.papers.workbook_tables import make_sheets


def test_how_many_rows_were_read_is_no_caution(demo_study: Any) -> None:
    cautions, notes = list_cautions(demo_study), list_notes(demo_study)
    assert any("attractions" in text for text in notes)
    assert not any("attractions" in text for text in cautions)
    assert len(cautions) + len(notes) == len(dict.fromkeys(demo_study.cautions))


def test_papers_say_notes_apart(demo_study: Any) -> None:
    page = render_report_html(make_report(demo_study, system="us"))
    bullets = page.partition("<h2>Cautions</h2>")[2].partition("</ul>")[0]
    assert "attractions" not in bullets
    assert "Of the data: " in page
    sheets = make_sheets(demo_study, system="us")
    assert sheets["Notes on data"]["note"].str.contains("attractions").any()
    assert not sheets["Cautions"]["caution"].str.contains("attractions").any()


@pytest.mark.parametrize(
    ("metric", "us"),
    [
        ("count C1, 174 m along the road", "count C1, 571 ft along the road"),
        ("from 150 to 180 m", "from 492 to 591 ft"),
        ("about 312 m2 under what is usual", "about 3,360 ft² under what is usual"),
        ("1,200 m away", "3,940 ft away"),
        ("5 minutes, 3 m/s, 4 months", "5 minutes, 3 m/s, 4 months"),
        ("within 0.5 km", "within 0.311 mi"),
    ],
)
def test_lengths_in_sentences_follow_the_reader(metric: str, us: str) -> None:
    assert say_lengths(metric, "us") == us
    assert say_lengths(metric, "metric") == metric
    assert say_lengths(us, "us") == us


def test_no_sentence_of_a_report_in_feet_says_metres(demo_study: Any) -> None:
    import re

    report = make_report(demo_study, system="us")
    said = [report.fact]
    for section in report.sections:
        for part in section.parts:
            said += [part.text, *part.items]
            said += [cell for row in (part.table.rows if part.table else ()) for cell in row]
            said += [picture.caption for picture in part.pictures]
    assert [text for text in said if re.search(r"\d m\b", text)] == []


def test_the_sentence_for_the_seller_gives_both_ranges(demo_study: Any) -> None:
    pitch = make_pitch(demo_study)
    claims = {claim.key: claim for claim in make_argument(demo_study)}
    for key in ("passing", "cars"):
        assert claims[key].said in pitch.sentence
        assert claims[key].spread in pitch.sentence
    assert "$" not in pitch.sentence
    assert "pay" not in pitch.sentence
    assert pitch.sentence.count(". ") == 0


def test_invented_data_may_not_be_printed_at_all(demo_study: Any) -> None:
    pitch = make_pitch(demo_study)
    assert pitch.may == ()
    assert pitch.may_not[0].startswith("anything")


def test_roads_that_nobody_counted_may_not_be_called_counted(demo_study: Any) -> None:
    ask = demo_study.chain.request
    streams = demo_study.streams
    none = replace(streams, measured=np.zeros_like(np.asarray(streams.measured)))
    real = replace(ask, area=replace(ask.area, invented=False))
    made = replace(demo_study, chain=replace(demo_study.chain, request=real, streams=none))
    pitch = make_pitch(made)
    assert "estimated, not counted" in pitch.sentence
    assert any(text.startswith("'counted'") for text in pitch.may_not)
    counted = replace(made, chain=replace(made.chain, streams=streams))
    assert any(text.startswith("vehicles on ") for text in make_pitch(counted).may)


def test_a_schedule_of_its_own_names_no_sheet_that_is_not_there(demo_study: Any) -> None:
    import io

    import openpyxl

    from capture.papers.works_tables import render_schedule

    ask = demo_study.chain.request
    real = replace(ask, area=replace(ask.area, invented=False))
    made = replace(demo_study, chain=replace(demo_study.chain, request=real))
    book = openpyxl.load_workbook(io.BytesIO(render_schedule(made, "us")))
    said = " ".join(str(row[1]) for row in book["About"].iter_rows(values_only=True))
    assert "see Data" not in said
    assert "SI" not in said
    assert "Data" not in book.sheetnames


def test_what_a_map_in_feet_says_of_a_mark_holds_no_metres() -> None:
    from capture.papers.marks import mark_point

    mark = mark_point(39.0, -76.0, "count", title="C1", lines=(("from", "a count 174 m off"),))
    assert "571 ft" in mark.to_page("us")["t"]
    assert "174 m" in mark.to_page("metric")["t"]
