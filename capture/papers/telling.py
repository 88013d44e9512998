"""How does a room's result become plain values for a file, whatever its fields are?

Draws become objects with value, range, mean, unit and source; the unit is read from the
end of the field's name. Long tables (hour by hour, month by month) stay out, since a file
tells results, not workings.
"""

from __future__ import annotations

import dataclasses
import datetime
import math
from collections.abc import Mapping
from types import MappingProxyType
from typing import Any, Final

import numpy as np

from capture.basis import Range, plain_text
from capture.papers.numbers import sum_draws, write_number

#: end of a field's name -> unit, the longest first
_UNITS: Final = (
    ("_usd_per_year", "USD/year"),
    ("_usd_month", "USD/month"),
    ("_usd_year", "USD/year"),
    ("_usd_per_car", "USD/car"),
    ("_usd_car", "USD/car"),
    ("_usd_kwh", "USD/kWh"),
    ("_usd_m2", "USD/m2"),
    ("_usd_h", "USD/h"),
    ("_kwh_car", "kWh/car"),
    ("_usd", "USD"),
    ("_cars_day", "cars/day"),
    ("cars_per_day", "cars/day"),
    ("cars_per_year", "cars/year"),
    ("cars_per_hour", "cars/h"),
    ("_veh_day", "vehicles/day"),
    ("vehicles_per_day", "vehicles/day"),
    ("_veh_h", "veh/h"),
    ("_per_day_m3", "m3/day"),
    ("_m3_day", "m3/day"),
    ("_m3s", "m3s"),
    ("_m3", "m3"),
    ("_m2", "m2"),
    ("chain_speed_mps", "chain_mps"),
    ("_mps", "mps"),
    ("_pa", "Pa"),
    ("_va", "VA"),
    ("_w", "W"),
    ("_j", "J"),
    ("_kwh", "kWh"),
    ("_a", "A"),
    ("_k", "K"),
    ("_db", "dB"),
    ("_kg", "kg"),
    ("_deg", "deg"),
    ("_years", "years"),
    ("_months", "months"),
    ("_share", "share"),
    ("_minutes", "min"),
    ("_s", "s"),
    ("_m", "m"),
    ("dscr", "1"),
    ("irr", "share"),
    ("_cars", "cars"),
)
#: names that a study file keeps for itself
_OTHER_NAMES: Final = {"source": "source_in_words"}
MOST_ROWS: Final = 400
_MOST_DEEP: Final = 5
MOST_TEXT: Final = 2000


def guess_unit(name: str) -> str:
    """Return the unit that a field's name ends in, "count" when it names none.

    Examples
    --------
    >>> guess_unit("capital_usd"), guess_unit("chain_speed_mps"), guess_unit("lines")
    ('USD', 'chain_mps', 'count')
    """
    return next((unit for end, unit in _UNITS if name.endswith(end)), "count")


def tell_result(
    thing: Any,
    *,
    source: str,
    draws: int,
    leave: frozenset[str] = frozenset(),
    units: Mapping[str, str] = MappingProxyType({}),
) -> Any:
    """Turn a result into plain values.

    Parameters
    ----------
    thing : object
        A dataclass, mapping, table, array, text or number.
    source : str
        Id of the source that its numbers come from.
    draws : int
        Length by which draws are recognised.
    leave : frozenset of str
        Names of fields to leave out.
    units : mapping of str to str
        Units of fields that are known by name, such as those of built-in numbers; other
        names say their unit at their end.

    Returns
    -------
    object
        What JSON knows; ``None`` for what is not told.

    Examples
    --------
    >>> told = tell_result({"capital_usd": np.ones(4)}, source="step.money", draws=4)
    >>> told["capital_usd"]["value"], told["capital_usd"]["unit"]
    (1.0, 'USD')
    """
    return _Teller(source=source, draws=draws, leave=leave, units=units).tell(thing, "", 0)


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class _Teller:
    source: str
    draws: int
    leave: frozenset[str]
    units: Mapping[str, str]

    def unit(self, name: str) -> str:
        return self.units.get(name) or guess_unit(name)

    def tell(self, thing: Any, name: str, depth: int) -> Any:
        if depth > _MOST_DEEP or thing is None:
            return None
        if isinstance(thing, str):
            return plain_text(thing, most=MOST_TEXT)
        if isinstance(thing, bool | np.bool_):
            return bool(thing)
        if isinstance(thing, int | float | np.integer | np.floating):
            return self._number(float(thing), name, is_whole=isinstance(thing, int | np.integer))
        if isinstance(thing, datetime.date):
            return thing.isoformat()
        if isinstance(thing, Range):
            return write_number(thing, self.source)
        if isinstance(thing, np.ndarray):
            return self._array(thing, name, depth)
        return self._holder(thing, name, depth)

    def _holder(self, thing: Any, name: str, depth: int) -> Any:
        if dataclasses.is_dataclass(thing) and not isinstance(thing, type):
            pairs = {item.name: getattr(thing, item.name) for item in dataclasses.fields(thing)}
            return self._pairs(pairs, depth)
        if isinstance(thing, Mapping):
            return self._pairs({str(key): value for key, value in thing.items()}, depth)
        if hasattr(thing, "to_dict") and hasattr(thing, "columns"):
            rows = thing.head(MOST_ROWS).to_dict("records")
            return [self._pairs(row, depth + 1) for row in rows]
        if isinstance(thing, list | tuple | frozenset):
            kept = sorted(thing) if isinstance(thing, frozenset) else list(thing)
            told = [self.tell(item, name, depth + 1) for item in kept[:MOST_ROWS]]
            return [item for item in told if item is not None]
        return None

    def _pairs(self, pairs: Mapping[str, Any], depth: int) -> dict[str, Any]:
        told = {
            _OTHER_NAMES.get(key, plain_text(key)): self.tell(value, key, depth + 1)
            for key, value in pairs.items()
            if not key.startswith("_") and key not in self.leave
        }
        return {key: value for key, value in told.items() if value is not None}

    def _number(self, value: float, name: str, *, is_whole: bool) -> Any:
        if math.isfinite(value):
            return int(value) if is_whole else value
        return write_number(sum_draws(value, self.unit(name)), self.source)

    def _array(self, array: Any, name: str, depth: int) -> Any:
        if array.dtype.kind not in "fiub":
            return None
        if array.shape in {(self.draws,), (1, self.draws)}:
            return write_number(sum_draws(array, self.unit(name)), self.source)
        if array.size == 1:
            return self.tell(array.reshape(-1)[0].item(), name, depth)
        if array.ndim == 1 and array.size <= 48:
            return [self.tell(value.item(), name, depth + 1) for value in array]
        return None
