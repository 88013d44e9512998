"""How does a changed input answer at once? Steps that it does not touch are remembered.

A step is remembered under its name and everything that it reads; values are compared by
content, so an undone change finds its old answer again. Assumes that results are frozen.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Hashable
from threading import Lock
from typing import TypeVar, cast

from capture.basis import Sheet

Result = TypeVar("Result")
MOST_REMEMBERED = 240


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

    def __init__(self, most: int = MOST_REMEMBERED) -> None:
        self._kept: OrderedDict[Hashable, object] = OrderedDict()
        self._numbered: dict[int, tuple[object, int]] = {}
        self._most = most
        self._lock = Lock()

    def number(self, thing: object) -> int:
        """Number a thing by identity; it is kept alive, so its number is never given again.

        Examples
        --------
        >>> memo, first, second = Memo(), [1], [1]
        >>> memo.number(first), memo.number(second), memo.number(first), memo.number(None)
        (1, 2, 1, 0)
        """
        if thing is None:
            return 0
        with self._lock:
            return self._numbered.setdefault(id(thing), (thing, len(self._numbered) + 1))[1]

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
                return cast(Result, self._kept[key])
        made = make()
        with self._lock:
            self._kept[key] = made
            while len(self._kept) > self._most:
                self._kept.popitem(last=False)
        return made


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
