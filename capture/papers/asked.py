"""What was a study asked for, told so that its file alone makes it again?

Numbers are told with all their digits. An area is told by the name of its folder or file,
so that no file tells of the machine that it was made on. Tables that a user would rather
keep, such as own sales, can be left out; the file then names them.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import fields
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from capture.area.area import AREA_FILE
from capture.basis import InputError, Sourced
from capture.papers.given import GIVEN, tell_given
from capture.papers.numbers import Exact, round_digits

if TYPE_CHECKING:
    from capture.chain import Request, Study

#: fields of a number that it says of itself; the others are those of the built-in one
LEARNED_FIELDS: Final = ("value", "low", "high", "source", "locator", "grade", "meaning")


def tell_request(made: Study, *, hide: Collection[str] = ()) -> dict[str, Any]:
    """Tell what a study was asked for, so that it can be made again.

    Parameters
    ----------
    made : Study
    hide : collection of str
        Names of ``capture.papers.given.GIVEN`` that stay out, such as ``"sales"``.

    Returns
    -------
    dict
        ``area`` (name of its folder or file), ``site`` as text, ``replaced`` with the
        user's own numbers, ``learned`` with those that learned from own months,
        ``offer_exact`` with those of the offer that have more digits than the file writes,
        ``given`` with what was given by hand, ``by_hand`` with the names of what the file
        does not hold, ``roads_sha256``.

    Raises
    ------
    InputError
        When there is no such thing to hide.
    """
    unknown = sorted(set(hide) - set(GIVEN))
    if unknown:
        raise InputError(f"hide must be of {', '.join(GIVEN)}, got {unknown[0]!r}; rename it")
    ask = made.chain.request
    given, by_hand = tell_given(ask, hide=hide)
    site = say_site(ask)
    if not site:
        by_hand.append("site")
    replaced, learned = _tell_numbers(ask)
    exact = {
        name: repr(value)
        for name, value in ask.offer.to_dict().items()
        if isinstance(value, float) and round_digits(value) != value
    }
    return {
        "area": _say_area(ask.area),
        "site": site,
        "offer_exact": exact,
        "replaced": replaced,
        "learned": learned,
        "given": given,
        "by_hand": by_hand,
        "roads_sha256": made.place.sha256,
    }


def _tell_numbers(ask: Request) -> tuple[dict[str, str], dict[str, Any]]:
    """Tell own numbers as text, and apart from them those that have a spread of their own."""
    from capture.chain import load_numbers

    usual = load_numbers()
    changed = {
        f"{room}.{number.name}": number
        for room, sheet in ask.numbers.items()
        for number in sheet.values()
        if number != usual[room][number.name]
    }
    replaced, learned = {}, {}
    for name, number in changed.items():
        room = name.partition(".")[0]
        if number == load_numbers({name: number.value})[room][number.name]:
            replaced[name] = repr(number.value)
        else:
            learned[name] = _tell_number(number)
    return replaced, learned


def _tell_number(number: Sourced) -> dict[str, Any]:
    told = {item.name: getattr(number, item.name) for item in fields(number)}
    return {
        name: Exact(told[name]) if isinstance(told[name], float) else told[name]
        for name in LEARNED_FIELDS
    }


def _say_area(area: Any) -> str:
    folder = Path(area.folder).resolve()
    return folder.name if (folder / AREA_FILE).is_file() else Path(area.roads).name


def say_site(ask: Any) -> str:
    """Say a site as text that finds it again; "" for one from a file of its own."""
    sites = ask.sites
    if sites.polygons[0] is None and sites.ids[0] == "site":
        return f"{float(sites.lat[0])!r},{float(sites.lon[0])!r}"
    layer = ask.area.layers.get("parcels")
    if layer is not None and layer.path is not None and sites.source == layer.path.name:
        return f"parcel:{sites.ids[0]}"
    return ""
