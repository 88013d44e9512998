"""How does a changed input answer at once? Steps that it does not touch are remembered.

A step is remembered under its name and everything that it reads; values are compared by
content, so an undone change finds its old answer again. What was used longest ago is
forgotten when there are too many results or they weigh too much. Assumes that results are
frozen.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Collection, Hashable, Mapping
from dataclasses import fields, is_dataclass
from itertools import count
from threading import Lock
from typing import Any, Final, TypeVar, cast

import numpy as np

from capture.basis import Sheet

Result = TypeVar("Result")
MOST_REMEMBERED: Final = 240
#: what the results kept may weigh, bytes
MOST_BYTES: Final = 600_000_000
#: things numbered by identity that are kept alive for it
MOST_NUMBERED: Final = 60


class Memo:
    """A bounded store of step results, safe to share between threads.

    Examples
    --------
    >>> memo = Memo()
    >>> memo.recall("double", (4,), lambda: 8)
    8
    >>> memo.recall("double", (4,), lambda: 1 / 0)
    8
    """

    def __init__(self, most: int = MOST_REMEMBERED, *, most_bytes: int = MOST_BYTES) -> None:
        self._kept: OrderedDict[tuple[str, Hashable], tuple[object, int]] = OrderedDict()
        self._numbered: OrderedDict[int, tuple[object, int]] = OrderedDict()
        self._numbers = count(1)
        self._most = most
        self._most_bytes = most_bytes
        self._bytes = 0
        self._lock = Lock()

    def number(self, thing: object) -> int:
        """Number a thing by identity; no number is ever given to another thing.

        The thing is kept alive while it is among the last numbered; asked for again later,
        it has a new number.

        Examples
        --------
        >>> memo, first, second = Memo(), [1], [1]
        >>> memo.number(first), memo.number(second), memo.number(first), memo.number(None)
        (1, 2, 1, 0)
        """
        if thing is None:
            return 0
        with self._lock:
            held = self._numbered.get(id(thing))
            if held is None:
                held = (thing, next(self._numbers))
                self._numbered[id(thing)] = held
            self._numbered.move_to_end(id(thing))
            while len(self._numbered) > MOST_NUMBERED:
                self._numbered.popitem(last=False)
            return held[1]

    def recall(self, step: str, reads: tuple[Hashable, ...], make: Callable[[], Result]) -> Result:
        """Return the result of ``step`` for these inputs, making it only when it is new.

        Parameters
        ----------
        step : str
            Name of the step.
        reads : tuple of hashable
            Everything that the step reads.
        make : callable
            Makes the result; called without the lock held, so two threads may both make it.
        """
        key = (step, reads)
        with self._lock:
            if key in self._kept:
                self._kept.move_to_end(key)
                return cast(Result, self._kept[key][0])
        made = make()
        weight = weigh(made)
        with self._lock:
            self._bytes += weight - self._kept.pop(key, (None, 0))[1]
            self._kept[key] = made, weight
            while len(self._kept) > 1 and (
                len(self._kept) > self._most or self._bytes > self._most_bytes
            ):
                self._bytes -= self._kept.popitem(last=False)[1][1]
        return made

    def start_from(self, steps: Collection[str]) -> Memo:
        """Return a memory that knows some steps and has forgotten all others.

        Examples
        --------
        >>> memo = Memo()
        >>> memo.recall("a", (), lambda: 1), memo.recall("b", (), lambda: 2)
        (1, 2)
        >>> part = memo.start_from({"a"})
        >>> part.recall("a", (), lambda: 3), part.recall("b", (), lambda: 4)
        (1, 4)
        """
        part = Memo(self._most, most_bytes=self._most_bytes)
        with self._lock:
            part._numbered.update(self._numbered)
            part._numbers = count(1 + max((held[1] for held in self._numbered.values()), default=0))
            part._kept.update((key, held) for key, held in self._kept.items() if key[0] in steps)
            part._bytes = sum(weight for _, weight in part._kept.values())
        return part


def weigh(thing: object) -> int:
    """Return about how many bytes the arrays and tables in a result take.

    Examples
    --------
    >>> weigh((np.zeros(10), {"a": np.zeros(5)}, "text"))
    120
    """
    return _weigh(thing, set())


def _weigh(thing: Any, seen: set[int]) -> int:
    if id(thing) in seen or thing is None or isinstance(thing, str | int | float):
        return 0
    seen.add(id(thing))
    if isinstance(thing, np.ndarray):
        return int(thing.nbytes)
    if is_dataclass(thing):
        return sum(_weigh(getattr(thing, item.name), seen) for item in fields(thing))
    if isinstance(thing, Mapping):
        return sum(_weigh(each, seen) for each in thing.values())
    if isinstance(thing, tuple | list):
        return sum(_weigh(each, seen) for each in thing)
    if hasattr(thing, "memory_usage"):
        return int(np.sum(thing.memory_usage()))
    return 0


def sheet_key(sheet: Sheet) -> tuple[Hashable, ...]:
    """Return a sheet's content as a key.

    Examples
    --------
    >>> from capture.basis import practice
    >>> sheet_key(Sheet("r", [practice("a", 1, 2, 3, "m", "x")]))
    ('r', ('a', 1, 2, 3))
    """
    return (
        sheet.room,
        *((entry.name, entry.low, entry.value, entry.high) for entry in sheet.values()),
    )
