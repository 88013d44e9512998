"""Does a plain sentence stand under every chart, and is nothing told by colour alone?"""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

SITEAPP = Path(__file__).resolve().parents[2] / "siteapp"
#: calls that put a sentence on the screen
SENTENCES = {"caption", "say", "show_cautions"}


def name_of(call: ast.Call) -> str:
    return call.func.attr if isinstance(call.func, ast.Attribute) else getattr(call.func, "id", "")


def find_calls(node: ast.AST) -> set[str]:
    return {name_of(each) for each in ast.walk(node) if isinstance(each, ast.Call)}


def find_bare_charts(tree: ast.AST) -> Iterator[int]:
    """Find the lines of charts that the same block does not follow with a sentence."""
    for node in ast.walk(tree):
        for block in ("body", "orelse"):
            lines = getattr(node, block, None)
            if not isinstance(lines, list):
                continue
            for at, line in enumerate(lines):
                shown = isinstance(line, ast.Expr) and isinstance(line.value, ast.Call)
                if shown and name_of(line.value) == "altair_chart":
                    after = lines[at + 1 :]
                    if not any(find_calls(each) & SENTENCES for each in after[:2]):
                        yield line.lineno


def test_a_chart_without_a_sentence_is_found() -> None:
    bare = ast.parse("st.altair_chart(a)\nx = 1\ny = 2\nst.caption('late')")
    assert list(find_bare_charts(bare)) == [1]
    assert list(find_bare_charts(ast.parse("st.altair_chart(a)\nst.caption('b')"))) == []


@pytest.mark.parametrize("path", sorted(SITEAPP.rglob("*.py")), ids=lambda path: path.stem)
def test_a_sentence_stands_under_every_chart(path: Path) -> None:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    assert list(find_bare_charts(tree)) == []
