"""Is a picture that a user gives as a logo safe and small enough to print?

PNG, JPEG or SVG of bounded size. An SVG may draw, but may not run, fetch or hold another
document; what is outside that is refused in one sentence, never mended silently.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from typing import Final, Literal
from xml.etree import ElementTree

from capture.basis import InputError
from capture.papers.assets import encode_uri

MOST_BYTES: Final = 1_000_000
MOST_SIDE: Final = 6_000
MOST_NODES: Final = 20_000
_PNG: Final = b"\x89PNG\r\n\x1a\n"
_JPEG: Final = b"\xff\xd8\xff"
_BARRED: Final = frozenset(
    {"script", "foreignobject", "image", "feimage", "iframe", "object", "embed", "audio", "video",
     "animate", "set", "handler", "listener", "html", "body", "a"}
)  # fmt: skip
_SVG: Final = "{http://www.w3.org/2000/svg}svg"

Kind = Literal["png", "jpg", "svg"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Logo:
    """A checked picture."""

    #: the file's bytes
    content: bytes
    #: what it is
    kind: Kind

    @property
    def uri(self) -> str:
        """The picture as an address that a page reads without any request."""
        media = {"png": "image/png", "jpg": "image/jpeg", "svg": "image/svg+xml"}[self.kind]
        return encode_uri(self.content, media)


def check_logo(content: bytes) -> Logo:
    """Check a user's logo.

    Parameters
    ----------
    content : bytes
        Of a PNG, JPEG or SVG file.

    Raises
    ------
    InputError
        When it is none of these, too large, or an SVG that does more than draw.

    Examples
    --------
    >>> check_logo(b'<svg xmlns="http://www.w3.org/2000/svg" width="9" height="9"/>').kind
    'svg'
    """
    if not 0 < len(content) <= MOST_BYTES:
        raise InputError(
            f"logo: must be up to {MOST_BYTES / 1e6:g} MB, got {len(content) / 1e6:.2f} MB; "
            "save it smaller"
        )
    if content.startswith(_PNG):
        _check_side(*_measure_png(content))
        return Logo(content=content, kind="png")
    if content.startswith(_JPEG):
        _check_side(*_measure_jpeg(content))
        return Logo(content=content, kind="jpg")
    if b"<svg" in content[:4000].lower():
        _check_svg(content)
        return Logo(content=content, kind="svg")
    raise InputError("logo: must be a PNG, JPEG or SVG picture; save it as one of these")


def _check_side(width: int, height: int) -> None:
    if not (0 < width <= MOST_SIDE and 0 < height <= MOST_SIDE):
        raise InputError(
            f"logo: must be 1 to {MOST_SIDE:,} pixels a side, got {width:,} by {height:,}; "
            "save it smaller"
        )


def _measure_png(content: bytes) -> tuple[int, int]:
    if len(content) < 33 or content[12:16] != b"IHDR":
        raise InputError("logo: the PNG file is broken at its head; save it again")
    width, height = struct.unpack(">II", content[16:24])
    return int(width), int(height)


def _measure_jpeg(content: bytes) -> tuple[int, int]:
    """Walk the file's markers to the frame that tells its size."""
    at = 2
    while at + 9 < len(content) and content[at] == 0xFF:
        marker = content[at + 1]
        if 0xC0 <= marker <= 0xCF and marker not in (0xC4, 0xC8, 0xCC):
            height, width = struct.unpack(">HH", content[at + 5 : at + 9])
            return int(width), int(height)
        at += 2 + int.from_bytes(content[at + 2 : at + 4], "big")
    raise InputError("logo: the JPEG file is broken at its head; save it again")


def _check_svg(content: bytes) -> None:
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise InputError("logo: the SVG must be text in UTF-8; save it as such") from None
    if "<!doctype" in text.lower() or "<!entity" in text.lower():
        raise InputError("logo: the SVG may hold no DOCTYPE or ENTITY; save it as plain SVG")
    if "<?xml-stylesheet" in text.lower():
        raise InputError("logo: the SVG may fetch no style sheet; save it as plain SVG")
    try:
        root = ElementTree.fromstring(text)  # noqa: S314 (no entities, bounded size)
    except ElementTree.ParseError as error:
        raise InputError(f"logo: the SVG is not well-formed ({error}); save it again") from None
    if root.tag != _SVG:
        raise InputError("logo: the file's outermost element must be an SVG's; save it again")
    for count, node in enumerate(root.iter()):
        if count > MOST_NODES:
            raise InputError(f"logo: the SVG must have up to {MOST_NODES:,} parts; simplify it")
        _check_node(node)


def _check_node(node: ElementTree.Element) -> None:
    name = str(node.tag).rpartition("}")[2].lower()
    if name in _BARRED:
        raise InputError(f"logo: the SVG may only draw, but holds <{name}>; remove that part")
    for key, value in node.attrib.items():
        bare = key.rpartition("}")[2].lower()
        if bare.startswith("on"):
            raise InputError(f"logo: the SVG may not run anything, but has {bare}; remove it")
        if bare == "href" and not value.startswith("#"):
            raise InputError("logo: the SVG may only point into itself; remove its links")
        _check_style(value)
    if name == "style":
        _check_style(node.text or "")


def _check_style(said: str) -> None:
    low = said.lower().replace(" ", "")
    if "@import" in low or "url(" in low.replace("url(#", "").replace("url('#", ""):
        raise InputError("logo: the SVG's style may fetch nothing; remove its url() and @import")
