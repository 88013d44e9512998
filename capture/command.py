"""What does each command do once its words are parsed?"""

from __future__ import annotations

import argparse
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from capture.basis import DataError, InputError, Offer, load_offer

if TYPE_CHECKING:
    from capture.area import Area
    from capture.chain import Study

Say = Callable[[str], None]


def run_study(given: argparse.Namespace, say: Say) -> None:
    """Study one site and write study.json and map.html, and the other papers when asked."""
    from capture.chain import parse_replaced, study
    from capture.papers import write_report_papers, write_study_papers
    from capture.papers.withheld import list_withheld, withhold

    out = check_out(given.out)
    logo = read_logo(given.logo)
    made = study(
        find_area(given),
        given.site,
        find_offer(given.offer),
        seed=given.seed,
        draws=given.draws,
        replaced=parse_replaced(given.set),
        say=say,
    )
    if given.withhold:
        made = withhold(made)
        told = ", ".join(list_withheld(made)) or "there is nothing of your client's own"
        say(f"withheld: {told}")
    say("writing")
    written = [*write_study_papers(made, out)]
    if given.papers:
        say("printing")
        written += write_report_papers(made, out, date=given.date, author=given.author, logo=logo)
    print(say_study(made))
    for path in written:
        print(f"wrote {path}")


def run_screen(given: argparse.Namespace, say: Say) -> None:
    """Rank many parcels and write the ranking, the parcels and a map."""
    from capture.chain import many, parse_replaced
    from capture.papers import write_ranking_papers, write_screen_papers

    out = check_out(given.out)
    made = many(
        find_area(given),
        given.parcels,
        find_offer(given.offer),
        seed=given.seed,
        draws=given.draws,
        replaced=parse_replaced(given.set),
        say=say,
    )
    say("writing")
    written = [*write_screen_papers(made, out)]
    if given.papers:
        written += write_ranking_papers(made, out, date=given.date)
    for row in made.ranking.head(10).to_dict("records"):
        if row["struck"]:
            print(f"  –  {row['id']} {row['name']}: struck out, {row['reason']}")
        else:
            print(
                f"{row['rank']:3.0f}  {row['id']} {row['name']}: "
                f"{row['vehicles_per_day']:,.0f} pass a day ({row['measured']}), "
                f"{row['share']:.2%} washed, {row['cars_per_day']:,.0f} a day, "
                f"{row['chance_top']:.0%} chance to be among the first"
            )
    struck = int(made.ranking["struck"].sum())
    print(f"{len(made.ranking)} parcels, {struck} of them struck out with the reason beside them")
    for path in written:
        print(f"wrote {path}")


def run_area(given: argparse.Namespace, _: Say) -> None:
    """Say what is known about an area and what is missing."""
    from capture.place import open_place

    area = find_area(given)
    place = open_place(area)
    unsaid = area.invented and "(invented)" not in area.name
    print(f"{area.name}{' (invented)' if unsaid else ''}")
    for what, count in place.describe().items():
        print(f"  {count:>10,} {what}")
    for layer, sentence in area.describe():
        print(f"  {layer + ':':<15} {sentence}")
    for note in place.notes:
        print(f"  note: {note}")


def run_numbers(given: argparse.Namespace, _: Say) -> None:
    """List every built-in number."""
    from capture.chain import ROOMS, load_numbers

    if given.room is not None and given.room not in ROOMS:
        raise InputError(f"--room must be one of {', '.join(ROOMS)}, got {given.room!r}; pick one")
    for room, sheet in load_numbers().items():
        if given.room not in (None, room):
            continue
        for entry in sheet.values():
            spread = f" ({entry.low:g} to {entry.high:g})" if entry.is_uncertain else ""
            where = f", {entry.locator}" if entry.locator else ""
            print(
                f"{room}.{entry.name} = {entry.value:g}{spread} {entry.unit}  "
                f"[{entry.grade}] {entry.meaning}; {entry.source}{where}"
            )


def find_area(given: argparse.Namespace) -> Area:
    """Open the area of a command, with the folders that it may read from."""
    from capture.area import open_area

    return open_area(given.area, may_read=given.may_read)


def find_offer(path: Path | None) -> Offer:
    """Return the offer of a file, or the usual one."""
    return Offer() if path is None else load_offer(path)


def check_out(folder: Path) -> Path:
    """Refuse an output place that is a file; the folder is made when it is written to.

    Raises
    ------
    DataError
        When it exists and is no folder.
    """
    if folder.exists() and not folder.is_dir():
        raise DataError(f"--out {folder}: there is a file of that name; name a folder")
    return folder


def read_logo(path: Path | None) -> bytes | None:
    """Return the bytes of a checked logo, or none.

    Raises
    ------
    DataError
        When the file cannot be read.
    InputError
        When it is no picture that can be printed.
    """
    from capture.papers.logo import MOST_BYTES, check_logo

    if path is None:
        return None
    try:
        with path.open("rb") as file:
            content = file.read(MOST_BYTES + 1)
    except OSError as error:
        raise DataError(f"--logo {path}: cannot be read ({error.strerror}); check the path") from (
            None
        )
    return check_logo(content).content


def say_study(made: Study) -> str:
    """Say a study's argument in one line, as the screens do."""
    from capture.papers.argument import make_argument, say_argument

    return say_argument(make_argument(made, system=made.area.units))
