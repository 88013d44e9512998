"""What becomes of a change when somebody else changed the same study meanwhile?

Three states are laid side by side: the one that was seen, the one that is kept now, and the
one that is wanted. What only one side changed is taken; what both changed, and not to the
same, is a conflict and is said.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, Final

#: stands for an entry that is not there
_GONE: Final = object()


def merge_values(seen: Any, now: Any, wanted: Any) -> Any:
    """Merge plain values; tables by name are merged entry by entry.

    Parameters
    ----------
    seen, now, wanted : plain JSON values
        As the change was begun, as it is kept, as it is wanted.

    Raises
    ------
    ValueError
        With the name of what both sides changed, "" for the whole.

    Examples
    --------
    >>> merge_values({"a": 1, "b": 1}, {"a": 2, "b": 1}, {"a": 1, "b": 3})
    {'a': 2, 'b': 3}
    """
    if now in (wanted, seen):
        return wanted
    if seen == wanted:
        return now
    if not all(isinstance(side, Mapping) for side in (seen, now, wanted)):
        raise ValueError("")
    return dict(_merge_entries(seen, now, wanted))


def _merge_entries(
    seen: Mapping[str, Any], now: Mapping[str, Any], wanted: Mapping[str, Any]
) -> Iterator[tuple[str, Any]]:
    for name in [*now, *(name for name in wanted if name not in now)]:
        sides = [side.get(name, _GONE) for side in (seen, now, wanted)]
        try:
            merged = merge_values(*sides)
        except ValueError as error:
            raise ValueError(f"{name} {error}".strip()) from None
        if merged is not _GONE:
            yield name, merged
