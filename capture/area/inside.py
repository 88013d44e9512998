"""Which files may an area read? Those in its own folder, and in folders that the user allows.

An area may come from somebody else. Its ``area.toml`` must not reach files of the machine
that it is opened on: not by ``..``, not by a path from the root, not by a link. Who keeps
a large roads file elsewhere allows that folder, on the command line or from Python.
"""

from __future__ import annotations

import os
from collections.abc import Iterable
from pathlib import Path
from typing import Final

#: folders that may be read besides an area's own, as PATH lists them
MAY_READ_VARIABLE: Final = "CAPTURE_MAY_READ"


def list_allowed(folder: Path, may_read: Iterable[Path | str] = ()) -> tuple[Path, ...]:
    """List the folders that an area may read from, links followed.

    Parameters
    ----------
    folder : Path
        The area's own.
    may_read : iterable of Path or str
        Folders that the user allows; those of the variable ``CAPTURE_MAY_READ`` are added.
    """
    told = os.environ.get(MAY_READ_VARIABLE, "").split(os.pathsep)
    allowed = [folder, *map(Path, may_read), *(Path(name) for name in told if name)]
    return tuple(place.expanduser().resolve() for place in allowed)


def is_allowed(file: Path, allowed: Iterable[Path]) -> bool:
    """Whether a file, links followed, lies in one of the folders.

    Examples
    --------
    >>> is_allowed(Path("/data/town/../secret.csv"), [Path("/data/town")])
    False
    """
    try:
        found = file.resolve()
    except (OSError, RuntimeError, ValueError):
        return False
    return any(found.is_relative_to(folder) for folder in allowed)
