"""How the library refuses: which faults exist, and how are several of them said at once?

Assumes that a message is read by a person who can act on it: it names what was
wrong, the rule with its unit, the value got, where it stood and what to do.
"""

from __future__ import annotations

from collections.abc import Iterable


class CaptureError(Exception):
    """Base of every error that the library raises on purpose.

    A command or screen shows ``str(error)`` to its user and nothing else.
    """


class InputError(CaptureError, ValueError):
    """A value that the user typed or passed is not usable."""


class DataError(CaptureError, ValueError):
    """A file or table does not hold what it should."""


class FitError(CaptureError, ValueError):
    """An estimate cannot be made from the rows at hand."""


class CaptureWarning(UserWarning):
    """Something was assumed or stretched beyond the range it was made for."""


def raise_gathered(
    faults: Iterable[str], *, where: str, kind: type[CaptureError] = DataError, most: int = 8
) -> None:
    """Raise one error that names every fault, or do nothing when there is none.

    Parameters
    ----------
    faults : iterable of str
        One clear sentence each, without the file name.
    where : str
        The file or table that the faults stand in.
    kind : type of CaptureError
        Which error to raise.
    most : int
        How many faults are spelt out; the rest are counted.

    Raises
    ------
    CaptureError
        Of the given kind, when there is at least one fault.

    Examples
    --------
    >>> raise_gathered([], where="counts.csv")
    >>> raise_gathered(["row 3: aadt is -5, must be 0 or more"], where="counts.csv")
    Traceback (most recent call last):
    ...
    capture.basis.errors.DataError: counts.csv: row 3: aadt is -5, must be 0 or more
    """
    found = list(faults)
    if not found:
        return
    said = "; ".join(found[:most])
    if len(found) > most:
        said += f"; and {len(found) - most} more like these"
    raise kind(f"{where}: {said}")
