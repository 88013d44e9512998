"""How is a table that took a while kept for the next call, without growing for ever?

Keyed by what the table was made from (a year shape enters by the digest of its shares), so
a changed input never meets an old table. Safe for several threads.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from typing import Generic, TypeVar

Made = TypeVar("Made")


class Kept(Generic[Made]):
    """The last few tables, the longest unused one dropped first.

    Examples
    --------
    >>> kept = Kept(most=2)
    >>> [kept.recall(number, lambda: f"made {number}") for number in (1, 2, 1)]
    ['made 1', 'made 2', 'made 1']
    >>> len(kept)
    2
    """

    def __init__(self, *, most: int) -> None:
        self._most = most
        self._tables: OrderedDict[Hashable, Made] = OrderedDict()
        self._lock = threading.Lock()

    def __len__(self) -> int:
        return len(self._tables)

    def recall(self, key: Hashable, make: Callable[[], Made]) -> Made:
        """Return the table of a key, made now if it is not there."""
        with self._lock:
            if key in self._tables:
                self._tables.move_to_end(key)
                return self._tables[key]
        made = make()
        with self._lock:
            self._tables[key] = made
            while len(self._tables) > self._most:
                self._tables.popitem(last=False)
        return made
