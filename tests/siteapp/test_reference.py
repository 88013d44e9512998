"""Does the reference name every public thing, lead nowhere into nothing, and need no network?"""

from __future__ import annotations

import dataclasses
import importlib
import inspect
import io
import re
import zipfile
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path
from typing import Any
from urllib.parse import unquote

import pytest

import capture
from siteapp.reference import PAGES, main, pack_reference, read_field_words, write_reference

ROLE = re.compile(r":(?:func|class|meth|data|mod|attr|exc):`~?([\w.]+)`")


def list_public() -> Iterator[tuple[str, str, Any]]:
    for page in PAGES:
        module = importlib.import_module(page)
        names = getattr(module, "__all__", [name for name in vars(module) if name == "open"])
        for name in names:
            yield page, name, getattr(module, name)


#: parameters that are called what they are, each of a kind with words of its own
PLAIN = {"values", "worlds", "offer", "place", "area", "network", "memo", "say"}
PUBLIC = list(list_public())
CALLED = [(page, name, thing) for page, name, thing in PUBLIC if inspect.isfunction(thing)]
KINDS = [(page, name, thing) for page, name, thing in PUBLIC if inspect.isclass(thing)]


def test_every_room_has_a_page_that_says_what_it_is_for() -> None:
    root = Path(capture.__file__).parent
    rooms = {f"capture.{path.parent.name}" for path in root.glob("*/__init__.py")}
    assert set(PAGES) == rooms | {"capture"}
    for page in PAGES:
        assert len(importlib.import_module(page).__doc__ or "") > 30, page


def test_every_public_name_says_what_it_is() -> None:
    silent = [f"{page}.{name}" for page, name, thing in [*CALLED, *KINDS] if not thing.__doc__]
    assert silent == []


def test_every_parameter_is_told() -> None:
    missing = []
    for page, name, thing in CALLED:
        told = thing.__doc__ or ""
        wanted = set(inspect.signature(thing).parameters) - PLAIN
        if wanted and "Parameters\n" in told:
            listed = told.split("Parameters\n", 1)[1].split("\n\n    Returns")[0]
            told_elsewhere = re.search(r"[Aa]s (for|in|to) |parameters as in", told)
            missing += [
                f"{page}.{name}: {one}"
                for one in sorted(wanted)
                if not told_elsewhere and not re.search(rf"\b{one}\b", listed)
            ]
    assert missing == []


def test_every_field_is_told() -> None:
    missing = []
    for page, name, kind in KINDS:
        if dataclasses.is_dataclass(kind):
            words = read_field_words(kind)
            shown = [item.name for item in dataclasses.fields(kind) if item.name[0] != "_"]
            missing += [f"{page}.{name}.{field}" for field in shown if field not in words]
    assert missing == []


def find(dotted: str, page: str, owner: Any) -> bool:
    """Whether a name in a docstring leads to something, from the root or from where it stands."""
    if hasattr(owner, dotted.partition(".")[0]) and "." not in dotted:
        return True
    for start in ("", f"{page}.", f"{owner.__module__}."):
        parts = f"{start}{dotted}".split(".")
        for cut in range(len(parts), 0, -1):
            try:
                thing: Any = importlib.import_module(".".join(parts[:cut]))
            except ImportError:
                continue
            try:
                for part in parts[cut:]:
                    thing = getattr(thing, part)
            except AttributeError:
                break
            return True
    return False


def test_every_reference_in_a_docstring_leads_to_something() -> None:
    lost, seen = [], 0
    for page, name, thing in [*CALLED, *KINDS]:
        members = [thing, *(vars(thing).values() if inspect.isclass(thing) else ())]
        for member in members:
            for dotted in ROLE.findall(getattr(member, "__doc__", None) or ""):
                seen += 1
                if not find(dotted, page, thing):
                    lost.append(f"{page}.{name}: {dotted}")
    assert lost == []
    assert seen > 20


class Links(HTMLParser):
    """Gathers what a page links to, what it loads and which places it has."""

    def __init__(self) -> None:
        super().__init__()
        self.links: list[str] = []
        self.loads: list[str] = []
        self.ids: set[str] = set()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        told = dict(attrs)
        if told.get("id"):
            self.ids.add(str(told["id"]))
        if tag == "a" and told.get("href"):
            self.links.append(str(told["href"]))
        source = told.get("src") or (told.get("href") if tag == "link" else None)
        if source:
            self.loads.append(str(source))


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("reference")
    write_reference(folder)
    return folder


def test_no_link_leads_into_nothing_and_nothing_is_loaded_from_the_network(site) -> None:
    pages = {}
    for path in site.rglob("*.html"):
        pages[path.resolve()] = links = Links()
        links.feed(path.read_text("utf-8"))
    broken, inside = [], 0
    for path, links in pages.items():
        assert [one for one in links.loads if not one.startswith("data:")] == [], path.name
        for link in links.links:
            where, _, place = link.partition("#")
            if where.startswith("https://"):
                continue
            inside += 1
            target = (path.parent / where).resolve() if where else path
            known = target in pages and (not place or unquote(place) in pages[target].ids)
            if not known and not (target == path and place):
                broken.append(f"{path.name}: {link}")
    assert broken == []
    assert inside > 1000


def test_docstrings_come_through_whole(site) -> None:
    text = "\n".join(path.read_text("utf-8") for path in site.rglob("*.html"))
    docs = "".join(re.findall(r'<div class="docstring">.*?</div>', text, re.DOTALL))
    plain = re.sub(r"<[^>]+>", "", docs)
    assert not ROLE.search(plain)
    assert "numpy._typing" not in re.sub(r"<[^>]+>", "", text)
    assert "5th percentile" in text
    for section in ("Parameters", "Returns", "Raises", "Notes", "References", "Examples"):
        assert plain.count(section) > 10, section


def test_an_equation_reads_as_it_was_written(site) -> None:
    """No star or underscore of a formula is taken for a mark of emphasis."""
    for path in site.rglob("*.html"):
        docs = re.findall(r'<div class="docstring">(.*?)</div>', path.read_text("utf-8"), re.DOTALL)
        for words in re.findall(r"<em>(.*?)</em>", "".join(docs)):
            assert not re.search(r"[=+/()0-9]", words), (path.name, words)


def test_packed_it_is_one_file(site) -> None:
    with zipfile.ZipFile(io.BytesIO(pack_reference())) as packed:
        names = {name.removeprefix("reference/") for name in packed.namelist()}
        assert names == {path.relative_to(site).as_posix() for path in site.rglob("*.*")}
        assert b"capture.html" in packed.read("reference/index.html")


def test_the_command_says_where_it_wrote(tmp_path, capsys) -> None:
    assert main([]) == 2
    assert main([str(tmp_path / "out")]) == 0
    assert "index.html" in capsys.readouterr().out
    assert (tmp_path / "out" / "capture" / "share.html").stat().st_size > 10_000
