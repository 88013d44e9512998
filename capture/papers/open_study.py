"""How is a study made again from its file, number by number?

The file tells the area, the site, the offer, the seed, the number of worlds, the year and
the user's own numbers; from these the whole chain is walked again. The file is untrusted:
it is bounded, only plain values are read from it, and nothing in it is run. When the
area's roads have changed since, or the program gives other numbers, that is said.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from capture.area.area import AREA_FILE
from capture.basis import CaptureError, DataError, Offer, plain_text
from capture.papers.numbers import round_digits

if TYPE_CHECKING:
    from capture.area import Area
    from capture.chain import Study

MOST_BYTES: Final = 50_000_000
MOST_OWN: Final = 5_000
MOST_DRAWS: Final = 100_000
#: numbers that must come out again, as paths in the file
CHECKED: Final = (
    ("passing", "value"),
    ("capture_rate", "value"),
    ("cars_per_year", "value"),
    ("design_hour_cars",),
)
#: six digits are written, the last one rounded
_CLOSE: Final = 1e-5


def load_study_file(path: Path | str) -> dict[str, Any]:
    """Load a study file's content as plain values.

    Raises
    ------
    DataError
        When it cannot be read, is too large or is no study file.
    """
    place = Path(path)
    try:
        if place.stat().st_size > MOST_BYTES:
            raise DataError(f"{place.name}: study files take under 50 MB; is this another file?")
        told = json.loads(place.read_text(encoding="utf-8"))
    except OSError as error:
        raise DataError(f"{place}: cannot be read ({error.strerror}); check the path") from None
    except (UnicodeDecodeError, ValueError, RecursionError):
        raise DataError(f"{place.name}: is not JSON text; choose a study.json") from None
    schema = told.get("schema") if isinstance(told, dict) else None
    if not isinstance(schema, str) or not schema.startswith("urn:site-to-line:study:"):
        raise DataError(f"{place.name}: is no study file; choose a study.json of this program")
    if "request" not in told:
        raise DataError(
            f"{place.name}: does not say what it was made from, as older files did not; "
            "make the study again"
        )
    loaded: dict[str, Any] = told
    return loaded


def reopen_study(
    path: Path | str,
    *,
    area: Area | Path | str | None = None,
    check: bool = True,
    **given: Any,
) -> Study:
    """Make the study of a file again.

    Parameters
    ----------
    path : Path or str
        A ``study.json``.
    area : Area, Path or str, optional
        Where the area is now; looked for where the file says when left out, as said, beside
        the file or in the working folder.
    check : bool
        Whether to refuse when the numbers come out otherwise than in the file.
    **given
        What no file holds, as for :func:`capture.chain.study`: ``site`` (when it came from
        a file of its own), ``known``, ``driveways``, ``answers``, ``rivals``, ``ties``,
        ``frontage``, ``works``.

    Returns
    -------
    Study

    Raises
    ------
    DataError
        When the file is broken, the area is not found or has changed, a table by hand is
        missing, or the numbers come out otherwise.
    InputError
        When a value in it is one that the chain refuses.
    """
    from capture.area import open_area
    from capture.chain import study

    told = load_study_file(path)
    where = Path(path).name
    ask = told["request"]
    _refuse_missing(where, ask, given)
    opened = open_area(_find_area(Path(path), ask)) if area is None else area
    opened = open_area(opened) if isinstance(opened, str | Path) else opened
    made = study(
        opened,
        given.pop("site", None) or _find_site(opened, told, where),
        _read_offer(told, where),
        seed=_whole(told, "seed", where, most=2**63),
        draws=_whole(told, "draws", where, most=MOST_DRAWS),
        year=_whole(told, "year", where, most=3000),
        replaced=_own_numbers(ask, where),
        **given,
    )
    if check:
        _check_same(made, told, where)
    return made


def _refuse_missing(where: str, ask: Any, given: Mapping[str, Any]) -> None:
    by_hand = ask.get("by_hand", []) if isinstance(ask, dict) else None
    if not isinstance(by_hand, list) or not all(isinstance(name, str) for name in by_hand):
        raise DataError(f"{where}: request must be a table with by_hand as names; mend it")
    missing = [name for name in by_hand if given.get(name) is None]
    if missing:
        raise DataError(
            f"{where}: was made with {plain_text(', '.join(missing))} by hand, which the file does "
            "not hold; pass them along"
        )


def _find_area(path: Path, ask: Mapping[str, Any]) -> Path:
    written = ask.get("area")
    if not isinstance(written, str) or not written or "\x00" in written:
        raise DataError(f"{path.name}: does not say where its area is; pass area=")
    name = Path(written).name
    around = [Path.cwd(), path.resolve().parent, *path.resolve().parents[1:4]]
    for folder in around:
        for place in (folder / written, folder / name, folder / "data_public" / name):
            if place.exists():
                return place
    raise DataError(
        f"{path.name}: its area {plain_text(written, most=120)} is not there; pass area= with its "
        "place now"
    )


def _find_site(area: Area, told: Mapping[str, Any], where: str) -> Any:
    """Find the site as parcel of the area by its id, else as the point that it was."""
    from capture.place import find_sites, open_place

    site = _mapping(told, "site", where)
    text = told["request"].get("site")
    if not isinstance(text, str) or not text:
        raise DataError(f"{where}: request.site must be LAT,LON or parcel:ID; mend it")
    found = find_sites(area, open_place(area), text)
    if len(found.ids) != 1 or found.ids[0] != site.get("id"):
        raise DataError(
            f"{where}: its site {plain_text(site.get('id'), most=60)} is not the one found as "
            f"{plain_text(text, most=60)}; was it renamed?"
        )
    return found


def _read_offer(told: Mapping[str, Any], where: str) -> Offer:
    fields = dict(_mapping(told, "offer", where))
    for name, value in _read_exact(told["request"], "offer_exact", where).items():
        fields[name] = value
    try:
        return Offer().change(**fields)
    except CaptureError:
        raise
    except (TypeError, ValueError) as error:
        raise DataError(f"{where}: offer cannot be read ({error}); mend it") from None


def _own_numbers(ask: Mapping[str, Any], where: str) -> dict[str, float]:
    return _read_exact(ask, "replaced", where)


def _read_exact(ask: Mapping[str, Any], field: str, where: str) -> dict[str, float]:
    """Read numbers that are written as text, so that no digit is lost."""
    own = ask.get(field, {})
    if not isinstance(own, dict) or len(own) > MOST_OWN:
        raise DataError(f"{where}: request.{field} must be a table of up to {MOST_OWN:,}; mend it")
    read = {}
    for name, text in own.items():
        try:
            read[str(name)] = float(text) if isinstance(text, str) else math.nan
        except ValueError:
            read[str(name)] = math.nan
        if not math.isfinite(read[str(name)]):
            raise DataError(
                f"{where}: request.{field} {plain_text(name, most=60)} must be a number as text, "
                f"got {plain_text(text, most=40)}; mend it"
            )
    return read


def _mapping(told: Mapping[str, Any], name: str, where: str) -> dict[str, Any]:
    value = told.get(name)
    if not isinstance(value, dict):
        raise DataError(f"{where}: {name} must be a table; mend it")
    return value


def _whole(told: Mapping[str, Any], name: str, where: str, *, most: int) -> int:
    value = told.get(name)
    if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value <= most:
        raise DataError(f"{where}: {name} must be a whole number from 0 to {most:,}; mend it")
    return value


def _check_same(made: Study, told: Mapping[str, Any], where: str) -> None:
    from capture.papers.study_json import make_study_dict

    again = make_study_dict(made)
    was, now = (one["request"].get("roads_sha256") for one in (told, again))
    roads = "; the roads file has changed since" if was != now else ""
    for path in CHECKED:
        before, after = _follow(told, path), _follow(again, path)
        if not np.isclose(before, after, rtol=_CLOSE, atol=0.0):
            name = ".".join(path)
            raise DataError(
                f"{where}: {name} was {before:g} and comes out as {after:g}{roads}; the area's "
                f"files or the program have changed: pass check=False to take the new numbers"
            )


def _follow(told: Any, path: tuple[str, ...]) -> float:
    for key in path:
        told = told.get(key) if isinstance(told, dict) else None
    return float(told) if isinstance(told, int | float) else math.nan


def tell_request(made: Study) -> dict[str, Any]:
    """Tell what a study was asked for, so that it can be made again.

    Parameters
    ----------
    made : Study

    Returns
    -------
    dict
        ``area`` (its folder or file, from the working folder on when it lies below it),
        ``site`` as text, ``replaced`` with the user's own numbers and ``offer_exact`` with
        those of the offer that have more digits than the file writes, ``by_hand`` with the
        names of what no file holds, ``roads_sha256``.
    """
    from capture.chain import load_numbers

    ask = made.chain.request
    usual = load_numbers()
    replaced = {
        f"{room}.{number.name}": repr(number.value)
        for room, sheet in ask.numbers.items()
        for number in sheet.values()
        if number != usual[room][number.name]
    }
    by_hand = [
        name
        for name in ("known", "driveways", "answers", "rivals", "ties", "frontage")
        if getattr(ask, name, None) is not None
    ]
    if not ask.works.is_none:
        by_hand.append("works")
    site = _say_site(ask)
    if not site:
        by_hand.append("site")
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
        "by_hand": by_hand,
        "roads_sha256": made.place.sha256,
    }


def _say_area(area: Any) -> str:
    """Say an area by the name of its folder or file, so that no file tells of its machine."""
    folder = Path(area.folder).resolve()
    return folder.name if (folder / AREA_FILE).is_file() else Path(area.roads).name


def _say_site(ask: Any) -> str:
    """Say a site as text that finds it again; "" for one from a file of its own."""
    sites = ask.sites
    if sites.polygons[0] is None and sites.ids[0] == "site":
        return f"{float(sites.lat[0])!r},{float(sites.lon[0])!r}"
    layer = ask.area.layers.get("parcels")
    if layer is not None and layer.path is not None and sites.source == layer.path.name:
        return f"parcel:{sites.ids[0]}"
    return ""
