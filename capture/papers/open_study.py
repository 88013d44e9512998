"""How is a study made again from its file, number by number?

The file tells the area, the site, the offer, the seed, the number of worlds, the year, the
user's own numbers and tables; from these the whole chain is walked again. The file is
untrusted: it is bounded, only plain values are read from it, and nothing in it is run. When
the area's files have changed since, or the program gives other numbers, that is said.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from capture.basis import CaptureError, DataError, Offer, Sourced, plain_text
from capture.papers.asked import LEARNED_FIELDS
from capture.papers.given import read_given
from capture.papers.given_checks import check_frontage

if TYPE_CHECKING:
    from capture.area import Area
    from capture.chain import Study

MOST_BYTES: Final = 50_000_000
MOST_OWN: Final = 5_000
MOST_DRAWS: Final = 100_000
#: parts of the file that must come out again, the foremost first
CHECKED: Final = (
    "passing", "capture_rate", "cars_per_year", "design_hour_cars", "streams", "rivals", "people",
    "busy_hour_cars", "line", "queue", "utilities", "ground", "money",
)  # fmt: skip
#: six digits are written, the last one rounded; another machine's last bits differ
_CLOSE: Final = 1e-4


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
        Where the area is now. Left out, a folder or file of the name that the study's file
        says is looked for in the working folder, beside the file and above it.
    check : bool
        Whether to refuse when a number comes out otherwise than in the file.
    **given
        What the file names in ``by_hand`` without holding it, as for
        :func:`capture.chain.study`: ``site`` when it came from a file of its own, and tables
        that were left out. What is passed goes before what the file holds.

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
    from capture.place import open_place

    told = load_study_file(path)
    where = Path(path).name
    ask = told["request"]
    if told.get("withheld"):
        raise DataError(
            f"{where}: the client's own figures are withheld in it, so it cannot be made again; "
            "ask for the file that holds them"
        )
    _refuse_missing(where, ask, given)
    held = {**read_given(ask.get("given", {}), where), **given}
    opened = open_area(_find_area(Path(path), ask)) if area is None else area
    opened = open_area(opened) if isinstance(opened, str | Path) else opened
    if "frontage" in held:
        check_frontage(held["frontage"], open_place(opened))
    made = study(
        opened,
        held.pop("site", None) or _find_site(opened, told, where),
        _read_offer(told, where),
        seed=_whole(told, "seed", where, most=2**63),
        draws=_whole(told, "draws", where, most=MOST_DRAWS),
        year=_whole(told, "year", where, most=3000),
        replaced={**_read_learned(ask, where), **_read_exact(ask, "replaced", where)},
        **held,
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
            f"{where}: was made with {plain_text(', '.join(missing))} of its maker's own, which "
            "the file does not hold; pass them along"
        )


def _find_area(path: Path, ask: Mapping[str, Any]) -> Path:
    name = ask.get("area")
    if not isinstance(name, str) or name in ("", ".", "..") or Path(name).name != name:
        raise DataError(f"{path.name}: does not name its area's folder or file; pass area=")
    around = [Path.cwd(), path.resolve().parent, *path.resolve().parents[1:4]]
    for folder in around:
        for place in (folder / name, folder / "data_public" / name):
            if _is_there(place):
                return place
    raise DataError(
        f"{path.name}: its area {plain_text(name, most=120)} is neither in the working folder nor "
        "beside the file; pass area= with its place now"
    )


def _is_there(place: Path) -> bool:
    try:
        return place.exists()
    except (OSError, ValueError):
        return False


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


def _read_learned(ask: Mapping[str, Any], where: str) -> dict[str, Sourced]:
    """Read numbers that learned from the user's own months, each with its spread."""
    from capture.chain import load_numbers

    usual = load_numbers()
    told = ask.get("learned", {})
    if not isinstance(told, dict) or len(told) > MOST_OWN:
        raise DataError(f"{where}: request.learned must be a table of up to {MOST_OWN:,}; mend it")
    read = {}
    for name, fields in told.items():
        room, _, key = name.partition(".")
        if room not in usual or key not in usual[room]:
            raise DataError(f"{where}: request.learned has an unknown {plain_text(name, most=60)}")
        try:
            kept = {field: fields[field] for field in LEARNED_FIELDS}
            kept |= {field: float(kept[field]) for field in ("value", "low", "high")}
            kept |= {field: plain_text(kept[field], most=400) for field in LEARNED_FIELDS[3:]}
            read[name] = replace(usual[room][key], **kept)
        except (TypeError, KeyError, ValueError):
            raise DataError(
                f"{where}: request.learned {plain_text(name, most=60)} is damaged; mend it"
            ) from None
    return read


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
    for part in CHECKED:
        before, after = dict(_walk(told.get(part), part)), dict(_walk(again[part], part))
        for name in [*before, *(name for name in after if name not in before)]:
            if not _is_same(before.get(name), after.get(name)):
                raise DataError(
                    f"{where}: {name} was {_say(before.get(name))} and comes out as "
                    f"{_say(after.get(name))}{roads}; the area's files or the program have "
                    "changed: pass check=False to take the new numbers"
                )


def _walk(thing: Any, name: str) -> Iterator[tuple[str, Any]]:
    """Yield the name and value of every number in a part of the file."""
    if isinstance(thing, dict):
        for key, value in thing.items():
            yield from _walk(value, f"{name}.{plain_text(key, most=60)}")
    elif isinstance(thing, list):
        for index, value in enumerate(thing):
            yield from _walk(value, f"{name}.{index + 1}")
    elif isinstance(thing, int | float):
        yield name, float(thing)


def _is_same(before: float | None, after: float | None) -> bool:
    if before is None or after is None:
        return False
    return math.isclose(before, after, rel_tol=_CLOSE, abs_tol=1e-9)


def _say(number: float | None) -> str:
    return "no number" if number is None else f"{number:g}"
