"""How is the library's reference made from its docstrings? ``python -m siteapp.reference DIR``.

One page a room, with a search, readable with no network. The pages are made by pdoc from
what stands in the code; the lines ``#:`` above fields, which it does not read, are handed
to it. Made when somebody asks for it, so that the app starts no later for it.
"""

from __future__ import annotations

import importlib
import inspect
import io
import re
import sys
import warnings
import zipfile
from collections.abc import Mapping, Sequence
from functools import cache
from pathlib import Path
from typing import Any, Final

from numpy.typing import ArrayLike

import capture
from capture.chain.assumptions import ROOMS

#: pages, in the order in which data walks through the rooms
PAGES: Final = (
    "capture", "capture.basis", "capture.area", *(f"capture.{room}" for room in ROOMS),
    "capture.chain", "capture.papers",
)  # fmt: skip
_FIELD: Final = re.compile(r"^    (\w+): ", re.MULTILINE)
_ARRAY: Final = re.compile(
    r"numpy\.ndarray\[tuple\[(?:typing\.)?Any, \.\.\.\], numpy\.dtype\[(?:numpy\.)?(\w+)\]\]"
)
#: what numpy's own name for anything like an array unfolds to
_ARRAY_LIKE: Final = repr(ArrayLike).removesuffix("]")
#: fixed, so that the same code gives the same bytes
_ZIP_TIME: Final = (2000, 1, 1, 0, 0, 0)


def read_field_words(kind: type) -> dict[str, str]:
    """Read what the lines ``#:`` say of a class's fields.

    Parameters
    ----------
    kind : type
        A class whose source can be read.

    Returns
    -------
    dict of str to str
        By field; one sentence each.

    Examples
    --------
    >>> from capture.basis import Range
    >>> read_field_words(Range)["low"]
    '5th percentile'
    """
    words: dict[str, str] = {}
    for base in reversed(kind.__mro__):
        if base.__module__.startswith("capture"):
            words |= _read_own_words(base)
    return words


def _read_own_words(kind: type) -> dict[str, str]:
    words: dict[str, str] = {}
    held: list[str] = []
    fresh = True
    for line in inspect.getsource(kind).splitlines():
        text, field = line.strip(), _FIELD.match(line)
        if text.startswith("#:"):
            held = [*([] if fresh else held), text.removeprefix("#:").strip()]
            fresh = False
        elif field and held:
            # fields that follow at once share what is said above them
            words[field[1]], fresh = " ".join(held), True
        else:
            held, fresh = [], True
    return words


@cache
def render_reference() -> Mapping[str, str]:
    """Render the pages; text by file name."""
    from pdoc import doc, render

    render.configure(
        docformat="numpy", show_source=False, footer_text=f"site-to-line {capture.__version__}"
    )
    modules = {name: doc.Module(importlib.import_module(name)) for name in PAGES}
    with warnings.catch_warnings():
        # names that only a type checker imports stay as they are written
        warnings.simplefilter("ignore", UserWarning)
        for module in modules.values():
            _hand_over_words(module)
        pages = {
            f"{name.replace('.', '/')}.html": render.html_module(module, modules)
            for name, module in modules.items()
        }
        pages["index.html"] = render.html_index(modules)
        pages["search.js"] = render.search_index(modules)
    return pages


def _hand_over_words(module: Any) -> None:
    """Give a module's fields their words, and shorten what the reader would stumble over."""
    from pdoc import doc

    functions = list(module.functions)
    for kind in module.classes:
        words = read_field_words(kind.obj)
        functions += [one for one in kind.own_members if isinstance(one, doc.Function)]
        for member in kind.own_members:
            if isinstance(member, doc.Variable):
                member.__dict__["annotation_str"] = shorten(member.annotation_str)
                if not member.docstring:
                    member.__dict__["docstring"] = words.get(member.name, "")
    for function in functions:
        told = function.signature
        told = told.replace(
            parameters=[_plain(one) for one in told.parameters.values()],
            return_annotation=_Words.of(told.return_annotation),
        )
        function.__dict__["signature"] = told


def _plain(parameter: inspect.Parameter) -> inspect.Parameter:
    return parameter.replace(annotation=_Words.of(parameter.annotation))


class _Words:
    """An annotation that is shown as words."""

    def __init__(self, said: str) -> None:
        self._said = said

    def __repr__(self) -> str:
        return self._said

    @classmethod
    def of(cls, annotation: Any) -> Any:
        """Return an annotation as it is, or as words where it would be long."""
        said = shorten(repr(annotation))
        return annotation if said == repr(annotation) else cls(said)


def shorten(annotation: str) -> str:
    """Shorten how arrays are written.

    Examples
    --------
    >>> shorten("numpy.ndarray[tuple[typing.Any, ...], numpy.dtype[numpy.float64]] | None")
    'array of float64 | None'
    """
    short = annotation.replace(f"{_ARRAY_LIKE}]", "array_like")
    short = short.replace(f"{_ARRAY_LIKE}, NoneType]", "array_like | None")
    return _ARRAY.sub(lambda found: f"array of {found[1].rstrip('_')}", short)


def write_reference(folder: Path) -> list[Path]:
    """Write the pages into a folder, made when it is not there."""
    written = []
    for name, text in render_reference().items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
        written.append(path)
    return written


def pack_reference() -> bytes:
    """Pack the pages into one ZIP file, to be opened at ``index.html``."""
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as file:
        for name, text in render_reference().items():
            file.writestr(zipfile.ZipInfo(f"reference/{name}", _ZIP_TIME), text)
    return packed.getvalue()


def main(arguments: Sequence[str] | None = None) -> int:
    """Write the reference into the folder named; returns the exit status."""
    words = sys.argv[1:] if arguments is None else list(arguments)
    if len(words) != 1:
        print("usage: python -m siteapp.reference DIR", file=sys.stderr)
        return 2
    written = write_reference(Path(words[0]))
    print(f"wrote {len(written)} files; open {Path(words[0]) / 'index.html'}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
