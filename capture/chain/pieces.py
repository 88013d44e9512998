"""Which sites are walked at once when many are ranked, and which cannot be walked at all?

Draws are keyed, so the size of a piece never changes an answer. What would be cut at one
site would open another's view too, so such a site is walked by itself.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from capture.basis import DataError, InputError, Sheet, plain_text
from capture.chain.works import Works, check_works

if TYPE_CHECKING:
    from capture.place import Frontage, Place, Sites


@dataclass(frozen=True, slots=True, kw_only=True)
class Plans:
    """What is laid, built or cut by hand at ranked sites."""

    #: site id -> its works
    works: Mapping[str, Works]
    #: site id -> its driveways
    frontages: Mapping[str, Frontage]
    #: constants of the place room
    values: Sheet


def pick_works(works: Mapping[str, Works], ids: Sequence[str]) -> dict[str, Works]:
    """Pick what is built or cut at ranked sites; each site's works are its own.

    Raises
    ------
    InputError
        When a site's works name another site's driveway.
    """
    picked = {name: works[name] for name in ids if name in works and not works[name].is_none}
    for name, own in picked.items():
        strange = sorted(site for site, _ in own.driveways if site != name)
        if strange:
            raise InputError(
                f"works: those of site {plain_text(name, most=40)} name a driveway of "
                f"{plain_text(strange[0], most=40)}; give each site its own"
            )
    return picked


def list_pieces(
    ids: Sequence[str], piece: int, built: Mapping[str, Works]
) -> Iterator[NDArray[np.int64]]:
    """Yield sites to be walked at once; what one cuts does not open another's view."""
    groups: dict[Hashable, list[int]] = {(): []}
    for k, name in enumerate(ids):
        cut = built[name].screens_key if name in built else ()
        groups.setdefault((name, cut) if cut else (), []).append(k)
    for group in groups.values():
        for start in range(0, len(group), piece):
            yield np.array(group[start : start + piece], dtype=np.int64)


def split_reachable(
    place: Place,
    sites: Sites,
    at: NDArray[np.int64],
    plans: Plans,
) -> tuple[NDArray[np.int64], Frontage | None, dict[int, str]]:
    """Part sites that can be studied from those that cannot, with the reason.

    Returns
    -------
    tuple
        Indices of sites that can be studied, their driveways where any were laid by hand
        (None lets them be proposed), and by index why others cannot.
    """
    try:
        return at, _lay(place, sites.take(at), plans), {}
    except (InputError, DataError):
        pass
    good, lost = [], {}
    for k in at.tolist():
        try:
            _lay(place, sites.take([k]), plans)
        except (InputError, DataError) as error:
            lost[k] = str(error).removeprefix("site: ")
        else:
            good.append(k)
    found = np.array(good, dtype=np.int64)
    return found, _lay(place, sites.take(found), plans) if good else None, lost


def _lay(place: Place, sites: Sites, plans: Plans) -> Frontage | None:
    """Lay the driveways of a piece and check what is built at them."""
    from capture.place import add_frontage

    own = [k for k, name in enumerate(sites.ids) if name in plans.frontages]
    rest = np.setdiff1d(np.arange(len(sites.ids)), own)
    parts = []
    if rest.size:
        proposed = add_frontage(place, sites.take(rest), values=plans.values)
        parts.append(replace(proposed, site=rest[np.asarray(proposed.site)]))
    for k in own:
        given = plans.frontages[sites.ids[k]]
        parts.append(replace(given, site=np.full(len(given), k, dtype=np.int64)))
    laid = _join(parts)
    for name in sites.ids:
        check_works(plans.works.get(name, Works()), sites.ids, laid)
    return laid if own else None


def _join(parts: Sequence[Frontage]) -> Frontage:
    """Put driveways of several sites into one table, rising by site."""
    first = parts[0]
    columns: dict[str, Any] = {
        item.name: np.concatenate([np.asarray(getattr(part, item.name)) for part in parts])
        for item in fields(first)
        if item.name != "driveway"
    }
    names = tuple(name for part in parts for name in part.driveway)
    return replace(first, **columns, driveway=names).take(
        np.argsort(columns["site"], kind="stable")
    )
