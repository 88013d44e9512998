"""The table of what can sink a parcel."""

from __future__ import annotations

from pathlib import Path

import pytest

from capture.basis import DataError, InputError
from capture.ground import DEAL_BREAKERS, Answer, judge_parcel, load_answers, weigh

HEAD = "parcel,item,status,who,date,cost_low_usd,cost_high_usd,months_low,months_high,note\n"


def write(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "answers.csv"
    path.write_text(text, encoding="utf-8")
    return path


def test_nothing_known_is_unknown_everywhere_and_costs_nothing() -> None:
    table = judge_parcel()
    assert [row.status for row in table] == ["unknown"] * len(DEAL_BREAKERS)
    assert sum(row.cost_high_usd for row in table) == 0
    assert weigh([row.status for row in table]) == "unknown"


@pytest.mark.property
@pytest.mark.parametrize("other", ["pass", "ask", "unknown"])
def test_one_fail_decides_and_unknown_is_never_pass(other: str) -> None:
    assert weigh([other, "fail", "pass"]) == "fail"  # type: ignore[list-item]
    assert weigh(["pass", "unknown"]) == "unknown"
    assert weigh(["pass", "pass"]) == "pass"
    assert weigh([]) == "unknown"


def test_ask_takes_the_usual_cost_unless_told() -> None:
    usual = judge_parcel({"sewer": Answer(status="ask")})
    row = next(row for row in usual if row.breaker.key == "sewer")
    assert (row.cost_low_usd, row.cost_high_usd) == (10_000, 300_000)
    assert (row.months_low, row.months_high) == (2, 9)
    told = judge_parcel({"sewer": Answer(status="ask", cost_low_usd=1e3, cost_high_usd=2e3)})
    row = next(row for row in told if row.breaker.key == "sewer")
    assert (row.cost_low_usd, row.cost_high_usd, row.source) == (1e3, 2e3, "yours")
    assert (row.months_low, row.months_high) == (2, 9)


def test_one_sided_costs_keep_their_order() -> None:
    table = judge_parcel({"water": Answer(status="ask", cost_low_usd=9e5)})
    row = next(row for row in table if row.breaker.key == "water")
    assert row.cost_low_usd == row.cost_high_usd == 9e5
    table = judge_parcel({"water": Answer(status="ask", cost_high_usd=5e3)})
    row = next(row for row in table if row.breaker.key == "water")
    assert (row.cost_low_usd, row.cost_high_usd) == (5e3, 5e3)


@pytest.mark.practice
@pytest.mark.parametrize(
    ("key", "thousand", "months"),
    [
        ("zoning", (10, 75), (3, 12)), ("driveway", (5, 400), (2, 12)),
        ("sewer", (10, 300), (2, 9)), ("water", (15, 250), (1, 6)),
        ("impact_fees", (0, 300), (0, 0)), ("homes", (20, 200), (1, 4)),
        ("flood", (25, 500), (3, 12)), ("contamination", (5, 500), (1, 12)),
        ("power", (20, 250), (4, 18)), ("easements", (5, 100), (1, 6)),
    ],
)  # fmt: skip
def test_usual_costs_and_delays(
    key: str, thousand: tuple[float, float], months: tuple[float, float]
) -> None:
    item = next(item for item in DEAL_BREAKERS if item.key == key)
    assert (item.cost_low_usd / 1000, item.cost_high_usd / 1000) == thousand
    assert (item.months_low, item.months_high) == months


def test_answers_are_read(tmp_path: Path) -> None:
    path = write(
        tmp_path,
        HEAD + "P01,zoning,Pass,planner,2026-03-01,,,,,by right\nP01,sewer,ask,,,5000,9000,1,2,\n"
        "P02,deed,fail,title office,2026-02-02,,,,,neighbour's right until 2040\n",
    )
    book = load_answers(path)
    assert book.of("P01")["zoning"].status == "pass"
    assert book.of("P01")["sewer"].cost_high_usd == 9000
    assert book.of("P02")["deed"].note.startswith("neighbour")
    assert book.of("P99") == {}


def test_all_faults_of_a_file_are_named(tmp_path: Path) -> None:
    path = write(
        tmp_path,
        HEAD + "P01,zonning,pass,,,,,,,\nP01,sewer,maybe,,,,,,,\nP01,water,ask,,,-5,,,,\n"
        "P01,flood,ask,,03/04/2026,,,,,\nP01,power,ask,,,abc,,,,\n,deed,pass,,,,,,,\n"
        "P02,deed,pass,,,,,,,\nP02,deed,fail,,,,,,,\n",
    )
    with pytest.raises(DataError) as told:
        load_answers(path)
    said = str(told.value)
    for part in ("row 2", "row 3", "row 4", "row 5", "row 6", "row 7", "row 9", "stands twice"):
        assert part in said


@pytest.mark.parametrize(
    ("text", "part"),
    [
        ("", "column 'parcel' is missing"),
        ("parcel,item\nP01,zoning\n", "column 'status' is missing"),
    ],
)
def test_wrong_files_are_refused(tmp_path: Path, text: str, part: str) -> None:
    with pytest.raises(DataError, match=part):
        load_answers(write(tmp_path, text))


def test_files_that_are_not_text_or_not_there(tmp_path: Path) -> None:
    path = tmp_path / "answers.csv"
    with pytest.raises(DataError, match="cannot be read"):
        load_answers(path)
    path.write_bytes(b"\xff\xfe\x00parcel")
    with pytest.raises(DataError, match="UTF-8"):
        load_answers(path)
    path.write_bytes(b"x" * 2_000_001)
    with pytest.raises(DataError, match="2 MB"):
        load_answers(path)


@pytest.mark.parametrize(
    "wrong",
    [
        {"status": "fine"},
        {"status": "ask", "cost_low_usd": -1.0},
        {"status": "ask", "cost_low_usd": 2.0, "cost_high_usd": 1.0},
        {"status": "ask", "months_high": float("nan")},
        {"status": "ask", "date": "yesterday"},
    ],
)
def test_bad_answers_are_refused(wrong: dict[str, object]) -> None:
    with pytest.raises(InputError):
        Answer(**wrong)  # type: ignore[arg-type]


def test_an_unknown_item_is_refused() -> None:
    with pytest.raises(InputError, match="no item 'ghosts'"):
        judge_parcel({"ghosts": Answer(status="pass")})


def test_hostile_text_stays_text() -> None:
    table = judge_parcel({"deed": Answer(status="fail", who="a\x00b\u202e", note="x" * 5000)})
    row = next(row for row in table if row.breaker.key == "deed")
    assert "\x00" not in row.who
    assert len(row.note) <= 1000
