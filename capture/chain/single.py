"""What is the whole argument for one site, and how sure is each part of it?

A study is the chain with one row and everything kept: beside the chain's results the line
station by station, its queue, its pipes and wires, and every caution.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from capture.basis import InputError, Offer, Worlds
from capture.chain.assumptions import Replaced, load_numbers
from capture.chain.brief import Brief, make_brief
from capture.chain.cautions import gather_cautions
from capture.chain.joints import count_places
from capture.chain.line_choice import LineChoice
from capture.chain.memo import Memo, sheet_key
from capture.chain.steps import Chain, Request, Say, find_year, keep_quiet, walk_chain
from capture.chain.works import Works
from capture.chain.year_choice import YearChoice

if TYPE_CHECKING:
    import pandas as pd

    from capture.area import Area
    from capture.around import Rivals
    from capture.ground import AnswerBook
    from capture.line import Queue
    from capture.passing import RoadNote
    from capture.passing.layers import Answers
    from capture.place import Frontage, Sites
    from capture.share import KnownSites
    from capture.utilities import Utilities

FloatArray = NDArray[np.float64]
#: days that the queue of one study is simulated for
QUEUE_DAYS = 1000


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Study(Brief):
    """The whole chain for one site; what papers and screens read."""

    #: waits, queues and losses over many days
    queue: Queue
    #: pipes and wires
    utilities: Utilities
    #: what a reader must be told, most pressing first
    cautions: tuple[str, ...]


def study(
    area: Area | Path | str,
    site: Sites | str | tuple[float, float],
    offer: Offer | None = None,
    *,
    seed: int = 0,
    draws: int = 1000,
    year: int | None = None,
    replaced: Replaced | None = None,
    known: KnownSites | None = None,
    driveways: Any = None,
    answers: AnswerBook | None = None,
    rivals: Rivals | None = None,
    ties: Mapping[str, Mapping[str, float]] | None = None,
    columns: Answers | None = None,
    notes: Sequence[RoadNote] = (),
    keep: bool = True,
    frontage: Frontage | None = None,
    works: Works | None = None,
    sales: pd.DataFrame | None = None,
    line: LineChoice | None = None,
    year_choice: YearChoice | None = None,
    memo: Memo | None = None,
    say: Say = keep_quiet,
) -> Study:
    """Walk the whole chain for one site.

    Parameters
    ----------
    area : Area, Path or str
        An open area, a folder with ``area.toml`` or a bare roads file.
    site : Sites, str or (lat, lon)
        ``"LAT,LON"``, ``"parcel:ID"``, a file with one site, degrees, or a table of one row.
    offer : Offer, optional
        What is to be built; the usual exterior conveyor when left out.
    seed, draws : int
        The possible worlds.
    year : int, optional
        Year looked at; the area's own, else this year.
    replaced : mapping of str to float or Sourced, optional
        The user's own values, ``{"line.pitch_m": 7.0}``.
    known : KnownSites, optional
        Sites with known cars; the area's own when left out.
    driveways : DataFrame, optional
        Driveways by hand; proposed when left out.
    answers : AnswerBook, optional
        What is known of deal-breakers.
    rivals : Rivals, optional
        Rivals as changed by hand; the area's own when left out.
    ties : mapping, optional
        Where counts were tied by hand.
    columns : mapping, optional
        Counts file -> role -> heading, where a guess was corrected; a bare role -> heading is
        about the first file.
    notes : sequence of RoadNote, optional
        Dated notes on roads, such as road works, besides those of the area.
    keep : bool
        Whether sight rays are kept for drawing.
    frontage : Frontage, optional
        Driveways already laid on roads, as when one is moved; goes before ``driveways``.
    works : Works, optional
        What would be built or cut that the map does not show.
    sales : DataFrame, optional
        The user's own sales by hour, which shape the year.
    line : LineChoice, optional
        What is chosen of the line by hand.
    year_choice : YearChoice, optional
        Holidays, closed days and usual weather.
    memo : Memo, optional
        Remembers steps between studies.
    say : callable
        Told in a few words what is being done.

    Returns
    -------
    Study

    Raises
    ------
    InputError, DataError, FitError
        In one sentence that says what to do.
    """
    from capture.area import open_area
    from capture.place import Sites, find_sites, open_place

    memo = memo or Memo()
    opened = open_area(area) if isinstance(area, str | Path) else area
    numbers = load_numbers(replaced)
    if not isinstance(site, Sites):
        say("reading roads")
        text = site if isinstance(site, str) else f"{site[0]!r},{site[1]!r}"
        site = find_sites(opened, open_place(opened, values=numbers["place"]), text)
    if len(site.ids) != 1:
        raise InputError(
            f"a study is of one site, got {len(site.ids)}; name one, or rank them with screen"
        )
    request = Request(
        area=opened,
        sites=site,
        offer=offer or Offer(),
        worlds=Worlds(seed=seed, draws=draws),
        numbers=numbers,
        year=find_year(opened, year),
        known=known,
        driveways=driveways,
        answers=answers,
        rivals=rivals,
        ties=ties,
        columns=columns,
        notes=tuple(notes),
        keep=keep,
        frontage=frontage,
        works=works or Works(),
        sales=sales,
        line=line or LineChoice(),
        year_choice=year_choice,
    )
    return complete_study(walk_chain(request, memo=memo, say=say), memo=memo, say=say)


def complete_study(chain: Chain, *, memo: Memo, say: Say = keep_quiet) -> Study:
    """Add to a chain of one row what only a single site is given."""
    from capture.line import simulate_queue
    from capture.utilities import size_utilities

    ask = chain.request
    offer, numbers, worlds = ask.offer, ask.numbers, ask.worlds
    hour = float(chain.design_hour_cars[0])
    cars = np.asarray(chain.cars_per_year[0])
    pick = ask.line
    places = count_places(ask, chain.ground[0])
    reads = (
        offer, hour, cars.tobytes(), chain.shape.digest, worlds, ask.ids[0],
        sheet_key(numbers["line"]), pick.stations_key, pick.queue_key, places,
    )  # fmt: skip
    say("laying out the line")
    brief = make_brief(chain)
    say("queueing a thousand days")
    queue = memo.recall(
        "queue",
        reads,
        lambda: simulate_queue(
            cars, chain.shape, brief.line, offer, worlds, site_id=ask.ids[0], days=QUEUE_DAYS,
            stacking_places=places, plan_lane=pick.plan_lane,
            values=numbers["line"],
        ),
    )  # fmt: skip
    say("sizing pipes and wires")
    washed = cars * (1 - np.asarray(chain.lost_share)[0])
    utilities = size_utilities(
        brief.line, washed, chain.busy.cars[0], offer, worlds, values=numbers["utilities"]
    )
    made = Study(
        chain=chain,
        lines=brief.lines,
        line=brief.line,
        queue=queue,
        utilities=utilities,
        cautions=(),
    )
    return replace(made, cautions=gather_cautions(made))
