"""Which entries are one and the same wash?

A map often holds a node and a building for one wash, a fuel station and the wash on its
ground, and the planner's own table names it once more. Two entries are one wash when they
are near and nothing says otherwise: names that differ keep them apart.
"""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from capture.around.gather import Entry
from capture.basis import Sheet

_FILL = ("bays", "opened", "closed", "price_usd", "open_hours_day")


def same_wash(a: Entry, b: Entry, *, values: Sheet) -> bool:
    """Say whether two entries are one wash.

    Parameters
    ----------
    a, b : Entry
    values : Sheet
        ``merge_m`` for two of one name, ``merge_unnamed_m`` when one has no name.
    """
    apart = math.hypot(a.x - b.x, a.y - b.y)
    one, two = fold_name(a.name), fold_name(b.name)
    if one and two:
        alike = one == two or one.startswith(two) or two.startswith(one)
        return alike and apart <= values.value("merge_m")
    return apart <= values.value("merge_unnamed_m")


def fold_name(name: str) -> str:
    """Fold a business name to what tells it from others; "" for a name such as *Car Wash*.

    Examples
    --------
    >>> fold_name("Suds & Sons Car Wash, Inc."), fold_name("SUDS and SONS")
    ('sudssons', 'sudssons')
    """
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    if not plain.strip():
        return re.sub(r"[\W_]+", "", name.casefold())
    plain = re.sub(r"\b(car ?wash|carwash|wash|auto|inc|llc|ltd|co|the|and)\b", " ", plain)
    return re.sub(r"[\W_]+", "", plain)


def merge_entries(entries: Sequence[Entry], *, values: Sheet) -> tuple[list[Entry], list[str]]:
    """Merge entries of one wash; the first entry of a wash leads, others fill its gaps.

    Parameters
    ----------
    entries : sequence of Entry
        Most trusted first.
    values : Sheet

    Returns
    -------
    tuple of (list of Entry, list of str)
        One entry a wash, and a sentence for every merging.
    """
    groups: list[list[Entry]] = []
    group_of: dict[int, int] = {}
    for k, near in enumerate(_find_near(entries, values)):
        entry = entries[k]
        fits = [
            (math.hypot(entries[j].x - entry.x, entries[j].y - entry.y), group_of[j])
            for j in near
            if j < k and same_wash(entry, entries[j], values=values)
        ]
        if fits:
            group_of[k] = min(fits)[1]
            groups[group_of[k]].append(entry)
        else:
            group_of[k] = len(groups)
            groups.append([entry])
    return [_join(group) for group in groups], [_say(group) for group in groups if len(group) > 1]


def _find_near(entries: Sequence[Entry], values: Sheet) -> list[list[int]]:
    """List for every entry those near enough to be the same wash."""
    from scipy.spatial import cKDTree

    if not entries:
        return []
    spots = np.array([(entry.x, entry.y) for entry in entries])
    reach = max(values.value("merge_m"), values.value("merge_unnamed_m"))
    near = cKDTree(spots).query_ball_point(spots, reach, return_sorted=True)
    return [list(found) for found in near]


def _join(group: Sequence[Entry]) -> Entry:
    lead = group[0]
    told = [entry for entry in group if entry.format != "unknown"]
    filled: dict[str, Any] = {
        name: next((getattr(e, name) for e in group if not math.isnan(getattr(e, name))), math.nan)
        for name in _FILL
    }
    sources = list(dict.fromkeys(entry.source for entry in group))
    return replace(
        lead,
        name=next((entry.name for entry in group if entry.name), ""),
        format=told[0].format if told else "unknown",
        status=next((entry.status for entry in group if entry.status), ""),
        source=" and ".join(sources),
        merged=tuple(entry.id for entry in group),
        **filled,
    )


def _say(group: Sequence[Entry]) -> str:
    name = next((entry.name for entry in group if entry.name), group[0].id)
    ids = ", ".join(entry.id for entry in group)
    return f"{name}: {len(group)} entries taken as one wash ({ids})"
