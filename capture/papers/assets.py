"""Where do the scripts and styles of a map come from when there is no network?

Leaflet and jQuery are read from the Python packages that ship them, so nothing of theirs
is copied into this project and nothing is fetched. Assumes that those packages are
installed, which the project's own requirements see to.
"""

from __future__ import annotations

import base64
import re
from functools import cache
from importlib.util import find_spec
from pathlib import Path
from typing import Final

from capture.basis import DataError

#: name in a page -> (package, files of which the first that exists is taken)
_FILES: Final = {
    "leaflet.js": ("js_lib_leaflet", ("static/js_lib_leaflet/leaflet.js",)),
    "leaflet.css": ("js_lib_leaflet", ("static/js_lib_leaflet/leaflet.css",)),
    "jquery.js": (
        "xstatic.pkg.jquery",
        ("data/jquery.slim.min.js", "data/jquery.min.js", "data/jquery.js"),
    ),
    "sitemap.js": ("capture.papers", ("sitemap.js",)),
    "drive.js": ("capture.papers", ("drive.js",)),
}
_MEDIA: Final = {".js": "text/javascript", ".css": "text/css", ".png": "image/png"}


def _locate(name: str) -> Path:
    package, choices = _FILES[name]
    try:
        spec = find_spec(package)
    except ModuleNotFoundError:
        spec = None
    folders = list(spec.submodule_search_locations or []) if spec else []
    for folder in folders:
        for choice in choices:
            if (path := Path(folder) / choice).is_file():
                return path
    raise DataError(f"{name}: the package {package} that ships it is not installed; reinstall it")


def encode_uri(content: bytes, media: str) -> str:
    """Turn bytes into a ``data:`` address that a page reads without any request.

    Examples
    --------
    >>> encode_uri(b"a", "text/css")
    'data:text/css;base64,YQ=='
    """
    return f"data:{media};base64,{base64.b64encode(content).decode('ascii')}"


@cache
def read_asset(name: str) -> str:
    """Read a script or style as text that may stand inside a page.

    Images that a style names are put into it; a closing script tag is broken up and the
    pointer to a source map is dropped, since neither may end up in a page.

    Parameters
    ----------
    name : {"leaflet.js", "leaflet.css", "jquery.js", "sitemap.js", "drive.js"}

    Raises
    ------
    DataError
        When the package that ships the file is not installed.

    Examples
    --------
    >>> "L.version" in read_asset("leaflet.js") or "1.9" in read_asset("leaflet.js")
    True
    >>> "url(images" in read_asset("leaflet.css")
    False
    """
    path = _locate(name)
    text = path.read_text(encoding="utf-8")
    text = re.sub(r"\n?(//|/\*)# sourceMappingURL=[^\n]*", "\n", text)
    if name.endswith(".css"):
        return re.sub(r"url\((images/[\w.-]+)\)", lambda hit: _image(path, hit[1]), text)
    return re.sub(r"</(script)", r"<\\/\1", text, flags=re.IGNORECASE)


def _image(style: Path, name: str) -> str:
    image = style.parent / name
    return f"url({encode_uri(image.read_bytes(), _MEDIA[image.suffix])})"


@cache
def read_asset_uri(name: str) -> str:
    """Read a script or style as a ``data:`` address; see :func:`read_asset`."""
    return encode_uri(read_asset(name).encode(), _MEDIA[Path(name).suffix])
