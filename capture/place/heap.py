"""A binary heap on plain arrays, for compiled searches.

Keys may be whole numbers or not; whoever holds the arrays takes those handed back.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit


@njit(cache=True, nogil=True)
def push(keys: Any, items: Any, size: int, key: Any, item: Any) -> Any:
    """Add to a heap, growing it when full: keys, items and size."""
    if size == keys.size:
        more_keys = np.empty(2 * keys.size, keys.dtype)
        more_items = np.empty(2 * items.size, items.dtype)
        more_keys[:size] = keys
        more_items[:size] = items
        keys, items = more_keys, more_items
    at = size
    while at > 0:
        up = (at - 1) >> 1
        if keys[up] <= key:
            break
        keys[at], items[at] = keys[up], items[up]
        at = up
    keys[at], items[at] = key, item
    return keys, items, size + 1


@njit(cache=True, nogil=True)
def pop(keys: Any, items: Any, size: int) -> Any:
    """Take the least from a heap: key, item and size."""
    key, item = keys[0], items[0]
    size -= 1
    last_key, last_item = keys[size], items[size]
    at = 0
    while True:
        down = 2 * at + 1
        if down >= size:
            break
        if down + 1 < size and keys[down + 1] < keys[down]:
            down += 1
        if keys[down] >= last_key:
            break
        keys[at], items[at] = keys[down], items[down]
        at = down
    keys[at], items[at] = last_key, last_item
    return key, item, size
