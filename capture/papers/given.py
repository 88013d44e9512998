"""How is what a user gave by hand written to a study's file, and read back to the last digit?

Each thing is written field by field as plain values and read by the kind that its field is
declared as, so that a file can bring nothing but numbers and words of the right kind. What
has no such form is named, and must then be passed along when the study is opened.
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import fields, is_dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pandas as pd
import shapely

from capture.basis import CaptureError, DataError, plain_text
from capture.papers.given_checks import check_given
from capture.papers.numbers import Exact

if TYPE_CHECKING:
    from capture.chain import Request

#: parts of a request that a user may give by hand, in the order in which they are written
GIVEN: Final = (
    "known", "driveways", "answers", "rivals", "ties", "columns", "frontage", "works", "sales",
    "line", "year_choice", "notes",
)  # fmt: skip
MOST_VALUES: Final = 2_000_000
_TIMES: Final = tuple(f"datetime64[{unit}]" for unit in ("s", "ms", "us", "ns"))
_COLUMN_KINDS: Final = ("float64", "int64", "bool", "object", "str", *_TIMES)


def tell_given(ask: Request, *, hide: Collection[str] = ()) -> tuple[dict[str, Any], list[str]]:
    """Tell what was given by hand.

    Parameters
    ----------
    ask : Request
    hide : collection of str
        Names of :data:`GIVEN` that are to stay out of the file, such as ``"known"``.

    Returns
    -------
    tuple of (dict, list of str)
        What is written, by name; and the names of what is not.
    """
    written: dict[str, Any] = {}
    left: list[str] = []
    for name in GIVEN:
        thing = getattr(ask, name)
        if thing is None or _is_usual(thing):
            continue
        packed = _Unknown if name in hide else _pack(thing)
        if packed is _Unknown:
            left.append(name)
        else:
            written[name] = packed
    return written, left


class _Unknown:
    """Stands for a thing that has no form in a file."""


def _is_usual(thing: Any) -> bool:
    """Whether a choice or list says nothing; tables always say something."""
    if isinstance(thing, tuple):
        return not thing
    kind: Any = type(thing)
    return kind.__name__ in _CHOICES and bool(thing == kind())


_CHOICES: Final = frozenset({"Works", "LineChoice", "YearChoice", "AnswerBook"})


def _pack(thing: Any) -> Any:
    """Turn a thing into what JSON knows; ``_Unknown`` when it has no form."""
    if thing is None or isinstance(thing, bool | str | int):
        return thing
    if isinstance(thing, float | np.floating):
        return Exact(thing) if math.isfinite(thing) else None
    if isinstance(thing, np.ndarray):
        return _pack(thing.tolist())
    if isinstance(thing, datetime.date):
        return thing.isoformat()
    if isinstance(thing, pd.DataFrame):
        return _pack_table(thing)
    if isinstance(thing, shapely.Geometry):
        return shapely.to_wkb(thing, hex=True)
    if is_dataclass(thing):
        return _whole({item.name: _pack(getattr(thing, item.name)) for item in fields(thing)})
    if isinstance(thing, Mapping):
        if thing and all(getattr(value, "id", None) == key for key, value in thing.items()):
            return _pack(list(thing.values()))
        if all(isinstance(key, str) for key in thing):
            return _whole({key: _pack(value) for key, value in thing.items()})
        return _pack(sorted(thing.items()))
    if isinstance(thing, Collection):
        kept = sorted(thing) if isinstance(thing, set | frozenset) else thing
        packed = [_pack(value) for value in kept]
        return _Unknown if _Unknown in packed else packed
    return _Unknown


def _whole(packed: dict[str, Any]) -> Any:
    return _Unknown if _Unknown in packed.values() else packed


def _pack_table(table: pd.DataFrame) -> Any:
    columns = []
    for name in table.columns:
        kind = str(table[name].dtype)
        if kind not in _COLUMN_KINDS or not isinstance(name, str):
            return _Unknown
        if kind in _TIMES:
            values: Any = [time.isoformat() for time in table[name]]
        else:
            values = _pack(table[name].tolist())
        columns.append({"name": name, "kind": kind, "values": values})
    return columns


def read_given(told: Mapping[str, Any], where: str) -> dict[str, Any]:
    """Read what was given by hand, each part by the kind that it must be.

    Parameters
    ----------
    told : mapping
        ``request.given`` of a study's file.
    where : str
        Name of the file, for messages.

    Returns
    -------
    dict
        Keyword arguments of :func:`capture.chain.study`.

    Raises
    ------
    DataError
        When a part is not what it must be.
    InputError
        When a value breaks the rule of its field.
    """
    if not isinstance(told, dict):
        raise DataError(f"{where}: request.given must be a table by name; mend it")
    found: dict[str, Any] = {}
    for name, packed in told.items():
        if name not in GIVEN:
            raise DataError(
                f"{where}: request.given holds {plain_text(name, most=40)!r}, known are "
                f"{', '.join(GIVEN)}; take it out"
            )
        try:
            found[name] = read_part(name, packed)
            check_given(name, found[name])
        except CaptureError:
            raise
        except (TypeError, ValueError, KeyError, AttributeError, IndexError, OverflowError):
            raise DataError(
                f"{where}: request.given.{name} is damaged; save the study again"
            ) from None
    return found


def read_part(name: str, packed: Any) -> Any:
    """Read one part by its name, such as ``"works"``.

    Examples
    --------
    >>> read_part("columns", {"aadt": "Daily count"})
    {'aadt': 'Daily count'}
    """
    from capture.around import Rivals
    from capture.chain.line_choice import LineChoice
    from capture.chain.works import Works
    from capture.chain.year_choice import YearChoice
    from capture.ground import AnswerBook
    from capture.place import Frontage
    from capture.share import KnownSites

    kinds: dict[str, Any] = {
        "known": KnownSites, "rivals": Rivals, "frontage": Frontage, "works": Works,
        "line": LineChoice, "year_choice": YearChoice, "answers": AnswerBook,
    }  # fmt: skip
    if name in kinds:
        return _read_kind(kinds[name], packed)
    if name in ("driveways", "sales"):
        return _read_table(packed)
    return _READ[name](packed)


def _read_kind(kind: Any, packed: Any) -> Any:
    """Read a frozen dataclass field by field."""
    known = {item.name: str(item.type) for item in fields(kind)}
    if not isinstance(packed, dict) or set(packed) - set(known):
        raise TypeError(kind.__name__)
    return kind(**{name: _READ[known[name]](value) for name, value in packed.items()})


def _read_table(packed: Any) -> pd.DataFrame:
    columns = {}
    for column in _list(packed):
        kind, values = column["kind"], _list(column["values"])
        if kind not in _COLUMN_KINDS:
            raise TypeError(kind)
        if kind == "object" and not all(_is_plain(value) for value in values):
            raise TypeError(kind)
        columns[_text(column["name"])] = pd.Series(values, dtype=kind)
    return pd.DataFrame(columns)


def _is_plain(value: Any) -> bool:
    return value is None or isinstance(value, str | int | float)


def _list(packed: Any) -> list[Any]:
    if not isinstance(packed, list) or len(packed) > MOST_VALUES:
        raise TypeError("list")
    return packed


def _text(packed: Any) -> str:
    if not isinstance(packed, str):
        raise TypeError("text")
    return packed


def _number(packed: Any) -> float:
    if isinstance(packed, bool) or not isinstance(packed, int | float):
        raise TypeError("number")
    return float(packed)


def _int(packed: Any) -> int:
    if isinstance(packed, bool) or not isinstance(packed, int):
        raise TypeError("whole number")
    return packed


def _flag(packed: Any) -> bool:
    if not isinstance(packed, bool):
        raise TypeError("yes or no")
    return packed


def _each(read: Callable[[Any], Any], kind: type = tuple) -> Callable[[Any], Any]:
    return lambda packed: kind(read(value) for value in _list(packed))


def _none_or(read: Callable[[Any], Any]) -> Callable[[Any], Any]:
    return lambda packed: None if packed is None else read(packed)


def _named(read: Callable[[Any], Any]) -> Callable[[Any], Any]:
    def take(packed: Any) -> dict[str, Any]:
        if not isinstance(packed, dict):
            raise TypeError("table")
        return {str(key): read(value) for key, value in packed.items()}

    return take


def _pairs(
    key: Callable[[Any], Any], value: Callable[[Any], Any]
) -> Callable[[Any], dict[Any, Any]]:
    return lambda packed: {key(at): value(held) for at, held in _list(packed or [])}


def _two(read: Callable[[Any], Any]) -> Callable[[Any], Any]:
    def take(packed: Any) -> tuple[Any, Any]:
        first, second = _list(packed)
        return read(first), read(second)

    return take


def _array(dtype: str, read: Callable[[Any], Any]) -> Callable[[Any], Any]:
    def one(value: Any) -> Any:
        return [one(part) for part in value] if isinstance(value, list) else read(value)

    def take(packed: Any) -> np.ndarray[Any, Any]:
        return np.array(one(_list(packed)), dtype=dtype)

    return take


def _gap_or_number(packed: Any) -> float:
    return math.nan if packed is None else _number(packed)


def _lazy(module: str, name: str) -> Callable[[Any], Any]:
    def take(packed: Any) -> Any:
        from importlib import import_module

        return _read_kind(getattr(import_module(module), name), packed)

    return take


def _by_id(read: Callable[[Any], Any]) -> Callable[[Any], Any]:
    """Read what is named by its own id; JSON sorts names, so the order is written apart."""

    def take(packed: Any) -> dict[str, Any]:
        return {one.id: one for one in map(read, _list(packed or []))}

    return take


def _day(packed: Any) -> datetime.date:
    return datetime.date.fromisoformat(_text(packed))


def _heading(packed: Any) -> Any:
    """Read a heading, or the headings of one file by role."""
    return _text(packed) if isinstance(packed, str) else _named(_text)(packed)


_floats: Final = _array("f8", _gap_or_number)
_flags: Final = _array("?", _flag)
_texts: Final = _each(_text)
_driveway: Final = _two(_text)
_answer: Final = _lazy("capture.ground", "Answer")
#: how a field is read, by what it is declared as; and parts of a request by their name
_READ: Final[Mapping[str, Callable[[Any], Any]]] = {
    "str": _text,
    "Status": _text,
    "float": _gap_or_number,
    "int": _int,
    "bool": _flag,
    "str | None": _none_or(_text),
    "float | None": _none_or(_number),
    "tuple[str, ...]": _texts,
    "tuple[tuple[str, ...], ...]": _each(_texts),
    "FloatArray": _floats,
    "FloatArray | None": _none_or(_floats),
    "Floats": _floats,
    "Ints": _array("i4", _int),
    "Bytes": _array("i1", _int),
    "NDArray[np.int64]": _array("i8", _int),
    "Bools": _flags,
    "NDArray[np.bool_]": _flags,
    "FactorTable": _lazy("capture.share", "FactorTable"),
    "Collection[Driveway]": _each(_driveway, frozenset),
    "Mapping[Driveway, float]": _pairs(_driveway, _number),
    "Mapping[Driveway, tuple[float, float]]": _pairs(_driveway, _two(_number)),
    "Mapping[int, float]": _pairs(_int, _number),
    "columns": _named(_heading),
    "ties": _named(_named(_number)),
    "notes": _each(_lazy("capture.passing", "RoadNote")),
    "Mapping[str, Mapping[str, Answer]]": _named(_named(_answer)),
    "Catalog | None": _none_or(_lazy("capture.line", "Catalog")),
    "Mapping[str, Station]": _by_id(_lazy("capture.line", "Station")),
    "Mapping[str, Package]": _by_id(_lazy("capture.line", "Package")),
    "tuple[MonthNormal, ...]": _each(_lazy("capture.chain.year_choice", "MonthNormal")),
    "tuple[datetime.date, ...]": _each(_day),
    "date": _day,
    "date | None": _none_or(_day),
}


def list_kinds(kind: Any) -> Sequence[str]:
    """List how a dataclass's fields are declared that no reader knows; for a test."""
    return [str(item.type) for item in fields(kind) if str(item.type) not in _READ]
