"""Which rivals make up a site's pull, and which of them has a stream just passed?

The tables behind the screen and the papers; they repeat the arithmetic of the room for one
site so that its parts can be seen, and the parts add up to what the room says.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from capture.around.around import Around
from capture.around.beside import find_beside
from capture.around.feeders import find_feeders
from capture.around.formats import load_format_table
from capture.around.passed import compute_passed_first
from capture.around.rivals import Rivals
from capture.around.values import VALUES
from capture.basis import Sheet, cell_text
from capture.place import Place


def explain_pull(rivals: Rivals, around: Around, *, site: int = 0, values: Sheet = VALUES) -> Any:
    """List rivals with what each adds to one site's pull, the strongest first.

    Parameters
    ----------
    rivals : Rivals
    around : Around
        Made from the same rivals.
    site : int
        Row of the site.
    values : Sheet
        ``tau_s``.

    Returns
    -------
    DataFrame
        Columns ``id, name, format, words, status, minutes, likeness, pull, price_usd,
        open_hours_day, opened, bays, source, lat, lon``; the column ``pull`` adds up to the
        site's pull, rivals that are not in the market have 0, minutes are NaN out of reach.
    """
    import pandas as pd

    seconds = around.rival_seconds[site]
    weight = np.where(around.counted, around.likeness, 0.0)
    table = pd.DataFrame(
        {
            "id": rivals.ids,
            "name": rivals.names,
            "format": rivals.formats,
            "words": [load_format_table().words[name] for name in rivals.formats],
            "status": rivals.status,
            "minutes": np.where(np.isfinite(seconds), seconds / 60, np.nan),
            "likeness": around.likeness,
            "pull": weight * np.exp(-seconds / values.value("tau_s")),
            "price_usd": rivals.price_usd,
            "open_hours_day": rivals.open_hours_day,
            "opened": rivals.opened,
            "bays": rivals.bays,
            "source": rivals.source,
            "lat": rivals.lat,
            "lon": rivals.lon,
        }
    )
    ordered = table.sort_values(["pull", "minutes"], ascending=[False, True], kind="stable")
    return ordered.reset_index(drop=True)


def explain_passed(
    place: Place,
    volumes: Any,
    streams: Any,
    rivals: Rivals,
    around: Around,
    *,
    stream: int,
    values: Sheet = VALUES,
) -> Any:
    """List which rivals one stream has just passed, and which share of it each.

    Parameters
    ----------
    place, volumes, streams, rivals, around
        As handed to and made by ``add_around``.
    stream : int
        Row of the stream.
    values : Sheet
        The room's constants.

    Returns
    -------
    DataFrame
        Columns ``id, name, format, likeness, share``, largest share first; a share is of
        all vehicles of the stream, whatever the likeness, and shares may overlap.
    """
    import pandas as pd

    network = place.network
    feeders = find_feeders(network, volumes.edge_vehicles_per_day, values=values)
    rows = []
    for k in np.flatnonzero(around.counted & (around.likeness > 0)):
        beside = find_beside(network, rivals.x[[k]], rivals.y[[k]], [1.0], values=values)
        share = compute_passed_first(
            network,
            feeders,
            beside,
            streams.edge[[stream]],
            streams.fraction[[stream]],
            values=values,
        )[0]
        if share > 0:
            rows.append(
                (rivals.ids[k], rivals.names[k], rivals.formats[k], around.likeness[k], share)
            )
    table = pd.DataFrame(rows, columns=["id", "name", "format", "likeness", "share"])
    return table.sort_values("share", ascending=False, kind="stable").reset_index(drop=True)


def tabulate_rivals(rivals: Rivals) -> Any:
    """Write the list of rivals as a table that can be saved, edited and loaded again.

    Returns
    -------
    DataFrame
        Columns as ``load_rivals`` reads them; dates as year and month, text safe in a
        spreadsheet.
    """
    import pandas as pd

    return pd.DataFrame(
        {
            "id": [cell_text(name) for name in rivals.ids],
            "name": [cell_text(name) for name in rivals.names],
            "format": rivals.formats,
            "lat": rivals.lat.round(7),
            "lon": rivals.lon.round(7),
            "bays": rivals.bays,
            "status": rivals.status,
            "opened": [_say_month(year) for year in rivals.opened.tolist()],
            "closed": [_say_month(year) for year in rivals.closed.tolist()],
            "price_usd": rivals.price_usd,
            "open_hours_day": rivals.open_hours_day,
            "source": [cell_text(text) for text in rivals.source],
        }
    )


def _say_month(year: float) -> str:
    """Write a decimal year as 2016-05, "" for NaN."""
    if math.isnan(year):
        return ""
    month = min(int((year % 1) * 12), 11) + 1
    return f"{int(year)}-{month:02d}"
