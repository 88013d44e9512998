"""How is work that only the place and the rivals decide done once for many pieces of sites?

A screening walks the sites piece by piece; what does not depend on them is kept beside the
place for as long as the place lives. A few results are kept, the oldest goes first.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Hashable
from threading import Lock
from typing import Any, Final, TypeVar
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import NDArray

from capture.place import Place

Made = TypeVar("Made")
#: results kept for one place
MOST_KEPT: Final = 12
_KEPT: WeakKeyDictionary[Place, OrderedDict[Hashable, Any]] = WeakKeyDictionary()
_LOCK: Final = Lock()


def recall(place: Place, key: Hashable, make: Callable[[], Made]) -> Made:
    """Return what was made for a place under this key, making it when it is not there.

    Parameters
    ----------
    place : Place
    key : hashable
        Everything but the place that the result depends on.
    make : callable
        Makes it; what it returns must never be changed.
    """
    with _LOCK:
        kept = _KEPT.setdefault(place, OrderedDict())
        if key in kept:
            kept.move_to_end(key)
            found: Made = kept[key]
            return found
    made = make()
    with _LOCK:
        kept[key] = made
        while len(kept) > MOST_KEPT:
            kept.popitem(last=False)
    return made


def mark(*arrays: NDArray[Any]) -> bytes:
    """Turn arrays into a key: their bytes, shapes included.

    Examples
    --------
    >>> mark(np.zeros(2)) == mark(np.zeros(2)), mark(np.zeros(2)) == mark(np.ones(2))
    (True, False)
    """
    return b"|".join(
        repr((array.shape, array.dtype.str)).encode() + np.ascontiguousarray(array).tobytes()
        for array in arrays
    )
