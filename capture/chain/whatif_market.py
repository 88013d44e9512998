"""What if a rival came or went, or the format, the price, the hours or the line changed?

Also: what would have to be true for the share, or the cars a day, that somebody hopes for.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from capture.basis import FORMAT_WORDS, FORMATS, InputError
from capture.chain.memo import Memo
from capture.chain.steps import Chain
from capture.chain.whatif import WhatIf, compare, find_chain

if TYPE_CHECKING:
    from capture.around import Rivals
    from capture.chain.single import Study
    from capture.share import Hope

#: bays of a format that is tried, where nobody says how many
_USUAL_BAYS: Final = {"in_bay": 2, "self_service": 4}
#: headrooms tried for a longer line, up to the most that an offer may ask for
_HEADROOMS: Final = np.linspace(0.0, 3.0, 601)


def try_rival(
    found: Study | Chain,
    lat: float,
    lon: float,
    *,
    format: str = "exterior",
    memo: Memo | None = None,
    **more: Any,
) -> WhatIf:
    """Try one more open rival at a spot.

    Parameters
    ----------
    found : Study or Chain
        As it is, one site.
    lat, lon : float
        The spot, degrees.
    format : str
        One of the rival formats.
    memo : Memo, optional
        That of the study.
    **more
        Further fields of a rival, such as ``name``, ``bays``, ``price_usd``.

    Raises
    ------
    InputError
        For a spot that is not on Earth or a format that is not known.
    """
    chain = find_chain(found)
    row = {"name": "one more rival", "format": format, **more}
    rivals = chain.rivals.add(place=chain.place, lat=lat, lon=lon, status="open", **row)
    words = FORMAT_WORDS.get(rivals.formats[-1], rivals.formats[-1])
    what = f"one more rival ({words}){_say_away(chain, rivals, len(rivals) - 1)}"
    return _compare_rivals(chain, rivals, "rival", what, memo)


def try_rival_opens(found: Study | Chain, rival_id: str, *, memo: Memo | None = None) -> WhatIf:
    """Try a planned or closed rival as open.

    Raises
    ------
    InputError
        When there is none of that id, or it is open already.
    """
    return _set_status(found, rival_id, "open", memo)


def try_rival_closes(found: Study | Chain, rival_id: str, *, memo: Memo | None = None) -> WhatIf:
    """Try an open or planned rival as closed.

    Raises
    ------
    InputError
        When there is none of that id, or it is closed already.
    """
    return _set_status(found, rival_id, "closed", memo)


def _set_status(found: Study | Chain, rival_id: str, status: str, memo: Memo | None) -> WhatIf:
    chain = find_chain(found)
    at = chain.rivals.find(rival_id)
    now = chain.rivals.status[at]
    name = chain.rivals.names[at] or rival_id
    if now == status:
        raise InputError(f"rival: {name} is {status} already; choose another")
    rivals = chain.rivals.change(rival_id, place=chain.place, status=status)
    what = f"{name} {status} instead of {now}{_say_away(chain, rivals, at)}"
    return _compare_rivals(chain, rivals, f"rival {status}", what, memo)


def _say_away(chain: Chain, rivals: Rivals, at: int) -> str:
    sites = chain.request.sites
    away = float(np.hypot(rivals.x[at] - sites.x[0], rivals.y[at] - sites.y[0]))
    return f", {away / 1000:.1f} km away as the crow flies"


def _compare_rivals(
    chain: Chain, rivals: Rivals, name: str, what: str, memo: Memo | None
) -> WhatIf:
    return compare(chain, replace(chain.request, rivals=rivals), name=name, what=what, memo=memo)


def try_offer(
    found: Study | Chain,
    *,
    memo: Memo | None = None,
    name: str = "offer",
    what: str = "",
    **changes: Any,
) -> WhatIf:
    """Try an offer with some of its fields changed, such as ``closes_hour=22``.

    Raises
    ------
    InputError
        For an unknown field or a value that breaks its rule.
    """
    chain = find_chain(found)
    now = chain.request.offer
    offer = now.change(**changes)
    said = what or " and ".join(
        f"{field.replace('_', ' ')} {value} instead of {getattr(now, field)}"
        for field, value in changes.items()
    )
    request = replace(chain.request, offer=offer)
    return compare(chain, request, name=name, what=said, memo=memo)


def try_price(found: Study | Chain, ticket_price_usd: float, *, memo: Memo | None = None) -> WhatIf:
    """Try another price of a single wash, USD."""
    now = find_chain(found).request.offer
    new = now.change(ticket_price_usd=ticket_price_usd).ticket_price_usd
    what = f"a wash at {new:.2f} USD instead of {now.ticket_price_usd:.2f}"
    return try_offer(found, memo=memo, name="price", what=what, ticket_price_usd=ticket_price_usd)


def try_format(
    found: Study | Chain, format: str, *, bays: int | None = None, memo: Memo | None = None
) -> WhatIf:
    """Try the same site under another format, at the same price.

    Parameters
    ----------
    found : Study or Chain
    format : str
        One of the offer's formats.
    bays : int, optional
        Bays of in-bay and self-service formats; 2 and 4 where left out.
    memo : Memo, optional

    Raises
    ------
    InputError
        For a format that is not known or a number of bays that it cannot have.
    """
    chain = find_chain(found)
    count = _USUAL_BAYS.get(format, 1) if bays is None else bays
    changes: dict[str, Any] = {"format": format, "bays": count}
    offer = chain.request.offer.change(**changes)
    if offer.is_conveyor:
        what = FORMAT_WORDS[format]
    else:
        changes["building_limit_m"] = None
        what = f"{FORMAT_WORDS[format]} with {count} {'bay' if count == 1 else 'bays'}"
    change = try_offer(
        chain,
        memo=memo,
        name="format",
        what=f"{what} instead of {FORMAT_WORDS[chain.request.offer.format]}",
        **changes,
    )
    note = "prices are kept as they are; a format that sells dearer washes is tried with its price"
    return replace(change, notes=(note, *change.notes))


def try_formats(
    found: Study | Chain,
    *,
    bays: Mapping[str, int] | None = None,
    memo: Memo | None = None,
) -> dict[str, WhatIf]:
    """Try the same site under every other format; parameters as in :func:`try_format`."""
    chain = find_chain(found)
    given = dict(bays or {})
    return {
        str(each): try_format(chain, each, bays=given.get(each), memo=memo)
        for each in FORMATS
        if each != chain.request.offer.format
    }


def try_line_length(found: Study | Chain, length_m: float, *, memo: Memo | None = None) -> WhatIf:
    """Try a longer line than the design hour asks for, or than the building allowed.

    Parameters
    ----------
    found : Study or Chain
    length_m : float
        Conveyor that there is room for, m; the longest line that fits is taken.
    memo : Memo, optional

    Raises
    ------
    InputError
        For bays, for more than one line, or for a length that brings no longer line.
    """
    from capture.line import size_lines

    chain = find_chain(found)
    ask = chain.request
    now = float(chain.lines.length_m[0])
    if not ask.offer.is_conveyor:
        raise InputError("bays have no length; try another number of bays instead")
    if float(chain.lines.lines[0]) > 1:
        raise InputError("the site has more than one line already; raise headroom_share instead")
    offer = ask.offer.change(building_limit_m=length_m)
    bare = float(chain.design_hour_cars[0]) / (1 + ask.offer.headroom_share)
    rooms = np.append(ask.offer.headroom_share, _HEADROOMS[ask.offer.headroom_share < _HEADROOMS])
    sized = size_lines(
        bare * (1 + rooms), offer, package=ask.line.package, catalog=ask.line.catalog,
        values=ask.numbers["line"],
    )  # fmt: skip
    first = int(np.argmax(sized.length_m >= sized.length_m.max() - 1e-9))
    longest = float(sized.length_m[first])
    if not longest > now:
        fits = float(size_lines(1e5, offer, package=ask.line.package, catalog=ask.line.catalog,
                                values=ask.numbers["line"]).length_m)  # fmt: skip
        raise InputError(
            f"length_m must bring a line longer than the {now:.1f} m that it has, got "
            f"{length_m:g}; "
            + (
                "so few cars come in the busy hour that no longer line is called for"
                if fits > now
                else "give more room"
            )
        )
    return try_offer(
        chain,
        memo=memo,
        name="line",
        what=f"a line of {longest:.1f} m instead of {now:.1f} m",
        building_limit_m=length_m,
        headroom_share=float(rooms[first]),
    )


def find_hope(
    found: Study | Chain, *, share: float | None = None, cars_per_day: float | None = None
) -> Hope:
    """Say what would have to be true for a hoped share, or for hoped cars a day.

    Parameters
    ----------
    found : Study or Chain
        As it is, one site.
    share : float, optional
        Cars washed per washable vehicle passing, within 0 to 1.
    cars_per_day : float, optional
        Cars a day instead, over the median of the vehicles passing.

    Raises
    ------
    InputError
        When not exactly one of the two is given, or the share is not within 0 to 1.
    """
    from capture.share import find_needed

    chain = find_chain(found)
    if (share is None) == (cars_per_day is None):
        raise InputError("hope for a share or for cars a day; give one of the two")
    if cars_per_day is not None:
        passing = float(np.median(chain.passing[0]))
        if not 0 < cars_per_day < passing:
            raise InputError(
                f"cars_per_day must be above 0 and below the {passing:,.0f} vehicles a day that "
                f"pass, got {cars_per_day}; hope for less"
            )
        share = cars_per_day / passing
    return find_needed(chain.share, float(share or 0.0))
