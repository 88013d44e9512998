"""From a road file to a wash line: the library behind the site-to-line planner."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from capture.area import Area
    from capture.chain import Study

__version__ = "0.1.0"


def open(path: Path | str, *, area: Area | Path | str | None = None, **given: Any) -> Study:  # noqa: A001
    """Make the study of a ``study.json`` again; see :func:`capture.papers.reopen_study`.

    Parameters
    ----------
    path : Path or str
        The file.
    area : Area, Path or str, optional
        Where the area is now, when it is not where the file says.
    **given
        ``check`` and what no file holds, as for :func:`capture.papers.reopen_study`.

    Returns
    -------
    Study
    """
    from capture.papers import reopen_study

    return reopen_study(path, area=area, **given)
