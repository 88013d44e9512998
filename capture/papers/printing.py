"""How is a report set in type: which faces, which template, always the same bytes?

The sans face comes with an installed package under the SIL Open Font License; the machine's
own faces are left out, so that the same report is the same everywhere. Text reaches the
template as data, where markup stays literal.
"""

from __future__ import annotations

import json
import tempfile
from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from importlib.util import find_spec
from pathlib import Path
from typing import Any, Final

from capture.basis import DataError, plain_text

FONT_PACKAGE: Final = "font_source_sans_pro"
FAMILY: Final = "Source Sans Pro"
#: files of the face that are used; the package holds each in two forms
_FACES: Final = ("Light", "Regular", "It", "Semibold", "Bold")
#: what the printed file keeps to, so that a screen reader can read it
STANDARD: Final = "ua-1"


@cache
def find_fonts() -> tuple[Path, ...]:
    """Find the files of the report's face.

    Raises
    ------
    DataError
        When the package that ships them is not installed.

    Examples
    --------
    >>> [path.name for path in find_fonts()][1]
    'SourceSansPro-Regular.ttf'
    """
    spec = find_spec(FONT_PACKAGE)
    folders = list(spec.submodule_search_locations or []) if spec else []
    found = tuple(
        path
        for folder in folders
        for face in _FACES
        if (path := Path(folder) / "files" / f"SourceSansPro-{face}.ttf").is_file()
    )
    if len(found) < len(_FACES):
        raise DataError(
            f"report: the package {FONT_PACKAGE} that ships its face is not installed; reinstall it"
        )
    return found


def print_pdf(content: Mapping[str, Any], pictures: Mapping[str, bytes] | None = None) -> bytes:
    """Set a report's content in type as a PDF.

    Parameters
    ----------
    content : mapping
        What the template reads, as JSON knows it.
    pictures : mapping of str to bytes, optional
        Pictures by file name, for the template to read.

    Raises
    ------
    DataError
        When it cannot be set in type.
    """
    import typst

    with tempfile.TemporaryDirectory() as folder:
        root = Path(folder)
        faces = root / "faces"
        faces.mkdir()
        for path in find_fonts():
            (faces / path.name).write_bytes(path.read_bytes())
        for name, picture in (pictures or {}).items():
            (root / name).write_bytes(picture)
        page = root / "report.typ"
        page.write_bytes((files("capture.papers") / "report.typ").read_bytes())
        fonts = typst.Fonts(
            include_system_fonts=False, include_embedded_fonts=True, font_paths=[str(faces)]
        )
        try:
            made: bytes = typst.compile(
                str(page),
                root=str(root),
                font_paths=fonts,
                format="pdf",
                pdf_standards=STANDARD,
                timestamp=0,
                sys_inputs={"data": json.dumps(content, allow_nan=False)},
            )
        except RuntimeError as error:
            raise DataError(
                f"report: it cannot be set in type ({plain_text(error)}); please report it"
            ) from None
    return made
