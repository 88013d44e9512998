"""Are tables of known sites read as they stand, and their faults said clearly?"""

from __future__ import annotations

import random
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from capture.basis import CaptureError, DataError
from capture.share import (
    check_known_sites,
    fill_measures,
    fit_share,
    load_known_sites,
    read_pasted,
    take_in,
)

GOOD = {
    "id": ["A", "B", "C"],
    "town": ["X", "X", ""],
    "operator": ["Op", "", "Op"],
    "format": ["exterior", "in-bay", ""],
    "bays": ["", "3", ""],
    "cars_per_year": ["90000", "21000", "40000"],
    "aadt_veh_day": ["25000", "18000", "14000"],
}


def change(column: str, row: int, cell: str) -> pd.DataFrame:
    table = pd.DataFrame(GOOD)
    if column not in table.columns:
        table[column] = ""
    table.loc[row, column] = cell
    return table


def test_a_good_table() -> None:
    known = check_known_sites(pd.DataFrame(GOOD))
    assert known.formats == ("exterior", "in_bay", "exterior")
    assert known.bays.tolist() == [1, 3, 1]
    assert known.operators == ("Op", "", "Op")
    assert known.vehicles_cv.tolist() == [0.15] * 3
    assert known.row.tolist() == [2, 3, 4]
    assert known.factors.missing[:, 1:].all()
    assert not known.at_capacity.any()


@pytest.mark.parametrize(
    ("column", "row", "cell", "words"),
    [
        ("cars_per_year", 0, "", "row 2: cars_per_year is empty; give it in cars/year"),
        ("cars_per_year", 1, "-5", "row 3: cars_per_year must be 1 to 5e"),
        ("cars_per_year", 1, "many", "got 'many'"),
        ("cars_per_year", 1, "nan", "got 'nan'"),
        ("cars_per_year", 2, "inf", "got 'inf'"),
        ("aadt_veh_day", 2, "1e9", "row 4: aadt_veh_day must be 1 to 1e"),
        ("sight", 0, "1.2", "sight must be 0 to 1 share"),
        ("delay_s", 0, "-1", "delay_s must be 0 to 3600 s"),
        ("plan_offered", 1, "maybe", "plan_offered must be 0 to 1"),
        ("format", 1, "tunnel", "row 3: format must be one of exterior"),
        ("id", 2, "A", "row 4: id 'A' stands also in row 2; rename one"),
        ("price_ratio", 0, "0", "price_ratio must be 0.05 to 20"),
        ("weight", 0, "-1", "weight must be 0 to 1000"),
    ],
)
def test_a_bad_cell_is_named(column: str, row: int, cell: str, words: str) -> None:
    with pytest.raises(DataError) as caught:
        check_known_sites(change(column, row, cell), where="mine.csv")
    assert words in str(caught.value)
    assert str(caught.value).startswith("mine.csv: ")


def test_all_faults_are_said_at_once() -> None:
    table = change("cars_per_year", 0, "-1")
    table.loc[1, "aadt_veh_day"] = "x"
    table.loc[2, "format"] = "?"
    with pytest.raises(DataError) as caught:
        check_known_sites(table)
    assert str(caught.value).count("row ") == 3


def test_files(tmp_path: Path) -> None:
    path = tmp_path / "mine.csv"
    pd.DataFrame(GOOD).to_csv(path, index=False)
    assert len(load_known_sites(path)) == 3
    path.write_text("")
    with pytest.raises(DataError, match=r"mine\.csv: not readable as CSV"):
        load_known_sites(path)
    path.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(DataError, match=r"mine\.csv"):
        load_known_sites(path)
    with pytest.raises(DataError, match="column aadt_veh_day is not there"):
        check_known_sites(pd.DataFrame({"cars_per_year": [1]}))
    with pytest.raises(DataError, match=r"nowhere\.csv: not readable"):
        load_known_sites(tmp_path / "nowhere.csv")


def test_an_area_without_the_layer_has_no_rows() -> None:
    known = load_known_sites(SimpleNamespace(read=lambda kind: None))
    assert len(known) == 0
    assert fit_share(known).known_count == 0
    area = SimpleNamespace(read=lambda kind: pd.DataFrame(GOOD).assign(row=[7, 8, 9]))
    assert load_known_sites(area).row.tolist() == [7, 8, 9]


def test_full_lines_are_found() -> None:
    table = pd.DataFrame(GOOD).assign(line_cars_per_hour=["70", "60", "40"], at_capacity="")
    # 90,000 / 365 x 0.3 = 74 in the busy hour; 40,000 gives 33
    assert check_known_sites(table).at_capacity.tolist() == [True, False, False]
    table["at_capacity"] = ["no", "", "yes"]
    assert check_known_sites(table).at_capacity.tolist() == [False, False, True]


def test_taking_rows_and_digest() -> None:
    known = check_known_sites(pd.DataFrame(GOOD))
    assert known.leave_out(["B"]).ids == ("A", "C")
    with pytest.raises(DataError, match="no row 'Z'"):
        known.leave_out(["Z"])
    assert known.data_hash() == check_known_sites(pd.DataFrame(GOOD)).data_hash()
    assert known.data_hash() != known.leave_out(["B"]).data_hash()
    other = check_known_sites(change("cars_per_year", 0, "90001"))
    assert known.data_hash() != other.data_hash()


def test_pasted_headings_are_recognised() -> None:
    pasted = read_pasted("Site\tAnnual cars\tAADT\tMystery\nOak St\t90000\t25000\tx\n")
    taken = take_in(pasted)
    assert check_known_sites(taken.table).share[0] == pytest.approx(90_000 / 365 / 25_000)
    assert "column 'Annual cars' was taken as cars_per_year" in taken.notes
    assert "column 'Mystery' was not understood and is not used" in taken.notes
    with pytest.raises(DataError, match="two columns stand for id"):
        take_in(read_pasted("site,name\na,b\n"))
    with pytest.raises(DataError, match="no rows under the headings"):
        read_pasted("site,cars\n")
    with pytest.raises(DataError, match="not readable"):
        read_pasted("")


def test_months_become_a_year() -> None:
    share = np.array([4, 5, 8, 10, 11, 11, 10, 10, 9, 8, 7, 7]) / 100
    whole = pd.DataFrame({f"cars_{m + 1}": [100_000 * share[m]] for m in range(12)})
    whole.insert(0, "id", ["whole"])
    part = whole.assign(id="part")
    part.loc[0, [f"cars_{m}" for m in range(7, 13)]] = np.nan
    table = pd.concat([whole, part], ignore_index=True).assign(aadt=20_000)
    taken = take_in(table)
    known = check_known_sites(taken.table)
    np.testing.assert_allclose(known.cars_per_year, 100_000)
    assert known.cars_cv.tolist() == pytest.approx([0, 0.12 * np.sqrt(0.5 / 6)])
    assert any("part: 6 months were made a year" in note for note in taken.notes)
    assert any("taken from the 1 rows with all months" in note for note in taken.notes)
    sd = [fit_share(known.take([row])).mixture.coefficient_covariance()[0, 0] for row in (0, 1)]
    assert sd[0] < sd[1]


def test_months_in_rows() -> None:
    long = pd.DataFrame(
        {
            "id": ["a"] * 12 + ["b"] * 2,
            "month": [f"2025-{m:02d}" for m in range(1, 13)] + ["jan", "February"],
            "cars": ["1000"] * 14,
            "aadt": ["9000"] * 14,
        }
    )
    known = check_known_sites(take_in(long).table)
    assert known.cars_per_year.tolist() == [12_000, 12_000]
    with pytest.raises(DataError, match="row 3: this site and month stand twice"):
        take_in(long.assign(month="3"))
    with pytest.raises(DataError, match="row 2: month '13' is not one"):
        take_in(long.assign(month="13"))
    with pytest.raises(DataError, match="must be 0 to 500000 cars, got 'x'"):
        take_in(pd.DataFrame({"id": ["a"], "cars_jan": ["x"], "aadt": ["9000"]}))


def test_tickets_and_members_add_up() -> None:
    table = pd.DataFrame(
        {"tickets": ["30000", ""], "members": ["60000", ""], "cars": ["", "50000"], "aadt": "20000"}
    )
    taken = take_in(table)
    known = check_known_sites(taken.table)
    assert known.cars_per_year.tolist() == [90_000, 50_000]
    assert known.member_share[0] == pytest.approx(2 / 3)
    assert np.isnan(known.member_share[1])


def test_the_map_fills_only_what_is_empty() -> None:
    table = pd.DataFrame(GOOD).assign(delay_s=["12", "", ""])
    filled = fill_measures(
        table, {"delay_s": np.array([50.0, 60.0]), "sight": np.array([0.5, np.nan])}, rows=[0, 1]
    )
    known = check_known_sites(filled.table)
    delay = known.factors.x[:, known.factors.names.index("delay")]
    assert delay.tolist() == [12, 60, 10]
    assert known.factors.missing[:, known.factors.names.index("sight")].tolist() == [
        False,
        True,
        True,
    ]
    assert filled.notes == (
        "delay_s of 1 rows was measured on the map",
        "sight of 1 rows was measured on the map",
    )


@pytest.mark.property
def test_any_pasted_table_is_read_or_refused_in_one_sentence() -> None:
    rng = random.Random(1)
    headings = (
        "id", "Site", "cars", "annual cars", "AADT", "format", "month", "cars_jan", "cars_2",
        "cars_13", "tickets", "members", "lat", "plan", "sight", "weight", "=cmd", "<b>", "",
    )  # fmt: skip
    cells = (
        "", "1", "-1", "90000", "1e400", "nan", "inf", "abc", "=1+1", "<script>", "2025-03", "mar",
        "13", "yes", "no", "exterior", "in-bay", "\x00", "9" * 400, "1,234", "  7 ", "0x10",
    )  # fmt: skip
    said = []
    for _ in range(500):
        mark, width = rng.choice("\t;,"), rng.randint(1, 7)
        lines = [mark.join(rng.choices(headings, k=width))]
        for _ in range(rng.randint(0, 4)):
            lines.append(mark.join(rng.choices(cells, k=max(1, width + rng.choice((-1, 0, 0, 1))))))
        try:
            fit_share(check_known_sites(take_in(read_pasted("\n".join(lines))).table))
        except CaptureError as error:
            said.append(str(error))
    assert len(said) > 100
    assert not any("\n" in words or len(words) > 2000 for words in said)
    good = take_in(read_pasted("cars,aadt\n90000,20000"))
    assert len(check_known_sites(good.table)) == 1


def test_months_under_their_own_names_are_a_year() -> None:
    months = ("Jan", "february", "mar", "Apr", "may", "jun", "July", "aug", "Sept", "oct", "nov",
              "dec")  # fmt: skip
    table = pd.DataFrame([["A", 24_000, *[1_000] * 12]], columns=["site", "aadt", *months])
    taken = take_in(table)
    assert taken.table["cars_per_year"].to_list() == [12_000]
    assert not [note for note in taken.notes if "not understood" in note]
